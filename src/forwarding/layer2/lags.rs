//! Which LAGs form, and what every cable then joins.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_model::{HostId, Lacp, LinkEnd, RouterId, Site, SwitchId};

/// A LAG of a device.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum LagId {
    /// Of a switch, by number.
    Switch(SwitchId, usize),
    /// Of a gateway or router, by number.
    Router(RouterId, usize),
}

/// One end of a cable.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub(super) enum Plug {
    /// A port of a switch, by number.
    Port(SwitchId, usize),
    /// A LAG of a switch that forms.
    Lag(SwitchId, usize),
    /// A port of a gateway or router, by the position of an interface on it; `None`: no interface there.
    Router(RouterId, RouterPort),
    /// An interface of a host, by number.
    Host(HostId, usize),
}

/// What stands on a port of a gateway or router.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub(super) enum RouterPort {
    /// The interfaces that share their port with this one.
    Like(usize),
    /// The interfaces on this LAG.
    Lag(usize),
    /// No interface.
    Bare,
}

/// A cable between two plugs, or the bundle of a LAG that forms.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Cable {
    pub ends: [Plug; 2],
    /// Its number in the site.
    pub link: usize,
}

/// Whether two ends of a LAG agree (IEEE 802.1AX): one end at least must be active, and a static one needs a
/// static one.
#[must_use]
pub fn lacp_forms(one: Lacp, other: Lacp) -> bool {
    match (one, other) {
        (Lacp::Static, Lacp::Static) => true,
        (Lacp::Static, _) | (_, Lacp::Static) | (Lacp::Passive, Lacp::Passive) => false,
        _ => true,
    }
}

/// One end of a link as it is described: a LAG as a whole, or a single plug that may be a LAG's member.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum End {
    Whole(LagId),
    Single(Plug, Option<LagId>),
}

/// All cables, LAGs joined where they form and apart where they do not.
pub(super) fn cables(site: &Site) -> Vec<Cable> {
    let ends: Vec<[End; 2]> = site
        .links
        .iter()
        .map(|link| {
            [
                end(site, &link.ends[0].value),
                end(site, &link.ends[1].value),
            ]
        })
        .collect();
    let partners = partners(site, &ends);
    let mut cables: Vec<Cable> = Vec::new();
    let mut joined: Vec<[LagId; 2]> = Vec::new();
    for (link, &[one, other]) in ends.iter().enumerate() {
        match (one, other) {
            (End::Whole(one), End::Whole(other)) => whole(site, [one, other], link, &mut cables),
            (End::Whole(lag), End::Single(plug, _)) | (End::Single(plug, _), End::Whole(lag)) => {
                let member = members(site, lag).into_iter().next();
                cables.extend(member.map(|member| Cable {
                    ends: [member, plug],
                    link,
                }));
            }
            (End::Single(near, one), End::Single(far, other)) => {
                let pair = one.zip(other).map(|(one, other)| [one, other]);
                match pair.filter(|pair| partners.contains(pair)) {
                    Some(pair) if joined.contains(&pair) => {}
                    Some(pair) => {
                        // The next cable may be described from its other end.
                        joined.extend([pair, [pair[1], pair[0]]]);
                        whole(site, pair, link, &mut cables);
                    }
                    None => cables.push(Cable {
                        ends: [near, far],
                        link,
                    }),
                }
            }
        }
    }
    cables
}

/// LAGs whose cables, described one by one, all lead from the one to the other, where one at least carries.
fn partners(site: &Site, ends: &[[End; 2]]) -> Vec<[LagId; 2]> {
    let mut far_of: FxHashMap<LagId, Vec<Option<LagId>>> = FxHashMap::default();
    let mut seen: Vec<[LagId; 2]> = Vec::new();
    for &[one, other] in ends {
        let carries = live(site, one) && live(site, other);
        let [one, other] = [one, other].map(|end| match end {
            End::Single(_, lag) => lag,
            // The bundle of another LAG ends at one port: no partner.
            End::Whole(_) => None,
        });
        for (near, far) in [(one, other), (other, one)] {
            if let Some(near) = near {
                far_of.entry(near).or_default().push(far);
            }
        }
        if let (Some(one), Some(other)) = (one, other)
            && carries
        {
            // Their other cables may be described from the other end.
            let new: Vec<_> = [[one, other], [other, one]]
                .into_iter()
                .filter(|pair| !seen.contains(pair))
                .collect();
            seen.extend(new);
        }
    }
    let only = |near: LagId, far: LagId| {
        let fars = far_of.get(&near);
        fars.is_some_and(|fars| fars.iter().all(|&other| other == Some(far)))
    };
    seen.retain(|&[one, other]| {
        let forms = lacp_forms(lacp(site, one), lacp(site, other));
        one != other && forms && only(one, other) && only(other, one)
    });
    seen
}

/// Whether an end of a link is no disabled port.
fn live(site: &Site, end: End) -> bool {
    match end {
        End::Single(Plug::Port(switch, port), _) => site.switches[switch.0].ports[port].enabled,
        _ => true,
    }
}

/// Member ports of LAGs that have no cable though others of their LAG have: places to plug in like any other.
/// Of a bundle there are as many cables as the shorter LAG has ports.
pub(super) fn spares(site: &Site) -> FxHashSet<Plug> {
    let mut spares: FxHashSet<Plug> = FxHashSet::default();
    let mut cabled: Vec<(LagId, Plug)> = Vec::new();
    for link in &site.links {
        let ends = [&link.ends[0], &link.ends[1]].map(|place| end(site, &place.value));
        match ends {
            [End::Whole(one), End::Whole(other)] => {
                let [one, other] = [one, other].map(|lag| members(site, lag));
                let least = one.len().min(other.len());
                spares.extend([one, other].iter().flat_map(|lag| &lag[least..]));
            }
            ends => cabled.extend(ends.iter().filter_map(|end| match *end {
                End::Single(plug, Some(lag)) => Some((lag, plug)),
                _ => None,
            })),
        }
    }
    for &(lag, _) in &cabled {
        spares.extend(members(site, lag));
    }
    for (_, plug) in &cabled {
        spares.remove(plug);
    }
    spares
}

/// The cables between two whole LAGs: one bundle, or member by member where LACP can't form it.
fn whole(site: &Site, lags: [LagId; 2], link: usize, cables: &mut Vec<Cable>) {
    if lacp_forms(lacp(site, lags[0]), lacp(site, lags[1])) && lags[0] != lags[1] {
        let ends = lags.map(|lag| match lag {
            LagId::Switch(switch, lag) => Plug::Lag(switch, lag),
            LagId::Router(router, lag) => Plug::Router(router, RouterPort::Lag(lag)),
        });
        cables.push(Cable { ends, link });
        return;
    }
    let [near, far] = lags.map(|lag| members(site, lag));
    let pairs = near.into_iter().zip(far);
    cables.extend(pairs.map(|(near, far)| Cable {
        ends: [near, far],
        link,
    }));
}

/// The member ports of a LAG, each by itself.
fn members(site: &Site, lag: LagId) -> Vec<Plug> {
    match lag {
        LagId::Switch(switch, lag) => {
            let here = &site.switches[switch.0];
            here.lags[lag]
                .ports
                .iter()
                .filter_map(|name| here.port(&name.value))
                .map(|port| Plug::Port(switch, port))
                .collect()
        }
        LagId::Router(router, lag) => {
            let count = site.router(router).lags[lag].ports.len();
            vec![Plug::Router(router, RouterPort::Lag(lag)); count]
        }
    }
}

/// How a LAG negotiates.
fn lacp(site: &Site, lag: LagId) -> Lacp {
    match lag {
        LagId::Switch(switch, lag) => site.switches[switch.0].lags[lag].lacp,
        LagId::Router(router, lag) => site.router(router).lags[lag].lacp,
    }
}

fn end(site: &Site, end: &LinkEnd) -> End {
    match end {
        LinkEnd::Switch(switch, name) => switch_end(site, *switch, name),
        LinkEnd::Router(router, name) => router_end(site, *router, name),
        LinkEnd::Host(host, name) => {
            let mut interfaces = site.host(*host).interfaces.iter();
            let at = interfaces.position(|interface| interface.name.value == *name);
            End::Single(Plug::Host(*host, at.unwrap_or_default()), None)
        }
    }
}

fn switch_end(site: &Site, id: SwitchId, name: &str) -> End {
    let switch = &site.switches[id.0];
    if let Some(lag) = switch.lag(name) {
        return End::Whole(LagId::Switch(id, lag));
    }
    End::Single(
        Plug::Port(id, switch.port(name).unwrap_or_default()),
        switch.lag_of(name).map(|lag| LagId::Switch(id, lag)),
    )
}

fn router_end(site: &Site, id: RouterId, name: &str) -> End {
    let router = site.router(id);
    if let Some(lag) = router.lag(name) {
        return End::Whole(LagId::Router(id, lag));
    }
    if let Some(lag) = router.lag_of(name) {
        let plug = Plug::Router(id, RouterPort::Lag(lag));
        return End::Single(plug, Some(LagId::Router(id, lag)));
    }
    let like = router.interfaces_on(name).next().map(|(at, _)| at);
    End::Single(
        Plug::Router(id, like.map_or(RouterPort::Bare, RouterPort::Like)),
        None,
    )
}

/// Interfaces of a gateway or router that stand on a port or LAG of it.
pub(super) fn standing(site: &Site, router: RouterId, port: RouterPort) -> Vec<usize> {
    let router = site.router(router);
    let name = match port {
        RouterPort::Like(interface) => router.interfaces[interface].port.as_ref(),
        RouterPort::Lag(lag) => Some(&router.lags[lag].name),
        RouterPort::Bare => None,
    };
    let Some(name) = name else {
        return Vec::new();
    };
    let here = router.interfaces_on(&name.value);
    here.map(|(at, _)| at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEEE 802.1AXdz-2025, module ieee802-dot1ax-types: a passive end sends LACPDUs only when its partner is active, so
    /// two of them never aggregate. Module ieee802-dot1ax-linkagg, partner-admin-state: where the partner speaks no LACP a port
    /// aggregates with no other, unless somebody sets the values of the partner by hand.
    #[test]
    fn one_end_must_speak_first() {
        use Lacp::{Active, Passive, Static};
        let pairs = [
            (Active, Active, true),
            (Active, Passive, true),
            (Passive, Passive, false),
            (Static, Static, true),
            (Static, Active, false),
            (Static, Passive, false),
        ];
        for (one, other, forms) in pairs {
            assert_eq!(lacp_forms(one, other), forms);
            assert_eq!(lacp_forms(other, one), forms);
        }
    }
}
