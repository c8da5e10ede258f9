//! Settings: the single facts of a configuration that let frames and packets pass, and sites without them.

use boundwalk_diagnostic::{Span, Spanned};
use boundwalk_forwarding::layer2::PortName;
use boundwalk_model::{
    Action, Filter, Forwards, HostId, LinkEnd, PortVlans, Role, RouterId, Site, SwitchId, VlanId,
};

use super::cabling::CableEnd;

/// A port of a switch, or a LAG as a whole.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum PortKey {
    /// A port, by number.
    Port(SwitchId, usize),
    /// A LAG, by number.
    Lag(SwitchId, usize),
}

/// One fact of the configuration.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Setting {
    /// Untagged frames that arrive at a port take this VLAN.
    Pvid(PortKey, VlanId),
    /// A port is in the member set of a VLAN.
    Member(PortKey, VlanId),
    /// Frames of a VLAN leave a port without their tag, which exposes a tag below.
    Untagged(PortKey, VlanId),
    /// A port lets in frames of VLANs that it is no member of.
    FilterOff(PortKey),
    /// A cable, by number, is plugged in where it is.
    Plugged(usize),
    /// A host routes or bridges.
    Forwards(HostId),
    /// A router has no rules.
    NoRules(RouterId),
    /// A host with further interfaces has an address on the segment of this one, by number.
    Home(HostId, usize),
}

impl PortKey {
    /// The port, or the LAG that it is a member of.
    pub fn of(site: &Site, name: PortName) -> Option<Self> {
        match name {
            PortName::Lag(switch, lag) => Some(Self::Lag(switch, lag)),
            PortName::Port(switch, port) => {
                let here = &site.switches[switch.0];
                let lag = here.lag_of(&here.ports[port].name.value);
                Some(lag.map_or(Self::Port(switch, port), |lag| Self::Lag(switch, lag)))
            }
            PortName::Interface(..) | PortName::Unnamed => None,
        }
    }

    /// The switch.
    pub fn switch(self) -> SwitchId {
        match self {
            Self::Port(switch, _) | Self::Lag(switch, _) => switch,
        }
    }

    /// `core:25`.
    pub fn name(self, site: &Site) -> String {
        let (switch, name) = match self {
            Self::Port(switch, port) => (switch, &site.switches[switch.0].ports[port].name),
            Self::Lag(switch, lag) => (switch, &site.switches[switch.0].lags[lag].name),
        };
        format!("{}:{}", site.switches[switch.0].name.value, name.value)
    }

    /// Where its VLANs are described.
    pub fn place(self, site: &Site) -> Span {
        match self {
            Self::Port(switch, port) => site.switches[switch.0].ports[port].name.span,
            Self::Lag(switch, lag) => site.switches[switch.0].lags[lag].place,
        }
    }

    /// Its VLAN configuration.
    pub fn vlans(self, site: &Site) -> Option<&PortVlans> {
        match self {
            Self::Port(switch, port) => site.switches[switch.0].ports[port].vlans.as_ref(),
            Self::Lag(switch, lag) => Some(&site.switches[switch.0].lags[lag].vlans),
        }
    }

    /// The same, to change.
    pub(super) fn vlans_mut(self, site: &mut Site) -> Option<&mut PortVlans> {
        match self {
            Self::Port(switch, port) => site.switches[switch.0].ports[port].vlans.as_mut(),
            Self::Lag(switch, lag) => Some(&mut site.switches[switch.0].lags[lag].vlans),
        }
    }
}

impl Setting {
    /// Where it is set.
    pub fn place(self, site: &Site) -> Span {
        match self {
            Self::Pvid(port, _)
            | Self::Member(port, _)
            | Self::Untagged(port, _)
            | Self::FilterOff(port) => port.place(site),
            Self::Plugged(link) => site.links[link].place,
            Self::Forwards(host) => site.host(host).forwards.span,
            Self::NoRules(router) => site.router(router).name.span,
            Self::Home(host, at) => site.host(host).interfaces[at].name.span,
        }
    }

    /// What it is, as a sentence without a full stop.
    pub fn fact(self, site: &Site) -> String {
        let vlan = |vlan: VlanId| vlan_name(site, vlan);
        match self {
            Self::Pvid(port, v) => {
                format!("{}: untagged frames take {}", port.name(site), vlan(v))
            }
            Self::Member(port, v) => format!("{} is in {}", port.name(site), vlan(v)),
            Self::Untagged(port, v) => {
                format!("{} sends {} untagged", port.name(site), vlan(v))
            }
            Self::FilterOff(port) => format!("{} does not filter on arrival", port.name(site)),
            Self::Plugged(link) => format!("the cable {}", link_name(site, link)),
            Self::Forwards(host) => {
                let host = site.host(host);
                let verb = match host.forwards.value {
                    Forwards::Bridges => "bridges",
                    _ => "routes",
                };
                format!("{} {verb}", host.name.value)
            }
            Self::NoRules(router) => {
                format!("{} forwards without rules", site.router(router).name.value)
            }
            Self::Home(host, at) => {
                let host = site.host(host);
                let there = &site.segment(host.interfaces[at].segment).name.value;
                format!("{} has an address on {there} as well", host.name.value)
            }
        }
    }

    /// The port or LAG that is set, if one is.
    pub fn port(self) -> Option<PortKey> {
        match self {
            Self::Pvid(port, _)
            | Self::Member(port, _)
            | Self::Untagged(port, _)
            | Self::FilterOff(port) => Some(port),
            Self::Plugged(_) | Self::Forwards(_) | Self::NoRules(_) | Self::Home(..) => None,
        }
    }

    /// Whether two settings say the same of two ports.
    pub fn alike(self, other: Self) -> bool {
        match (self, other) {
            (Self::Pvid(_, one), Self::Pvid(_, other))
            | (Self::Member(_, one), Self::Member(_, other))
            | (Self::Untagged(_, one), Self::Untagged(_, other)) => one == other,
            (Self::FilterOff(_), Self::FilterOff(_)) => true,
            (one, other) => one == other,
        }
    }

    /// What to change, in the imperative.
    pub fn remedy(self, site: &Site) -> String {
        self.remedy_at(
            site,
            &self.port().map_or_else(String::new, |port| port.name(site)),
        )
    }

    /// The same for several ports: their names stand for that of the one.
    pub fn remedy_at(self, site: &Site, ports: &str) -> String {
        let vlan = |vlan: VlanId| vlan_name(site, vlan);
        match self {
            Self::Pvid(_, v) => format!(
                "give {ports} another PVID than that of {}, or none",
                vlan(v)
            ),
            Self::Member(_, v) => format!("take {} off {ports}", vlan(v)),
            Self::Untagged(_, v) => format!("carry {} tagged on {ports}, at both ends", vlan(v)),
            Self::FilterOff(_) => format!("filter on arrival at {ports}"),
            Self::Plugged(link) => format!(
                "plug the cable {} in at a port of its segment, or set that port for it",
                link_name(site, link)
            ),
            Self::Forwards(host) => {
                format!("keep {} from forwarding", site.host(host).name.value)
            }
            Self::NoRules(router) => {
                format!("give {} rules", site.router(router).name.value)
            }
            Self::Home(host, at) => {
                let host = site.host(host);
                let there = &site.segment(host.interfaces[at].segment).name.value;
                format!(
                    "take {} off {there}: one address, on one segment",
                    host.name.value
                )
            }
        }
    }

    /// Takes it out of a site.
    pub fn undo(self, site: &mut Site) {
        match self {
            Self::Pvid(port, vlan) => {
                if let Some(vlans) = port
                    .vlans_mut(site)
                    .filter(|vlans| vlans.pvid == Some(vlan))
                {
                    vlans.pvid = other_native(vlans, vlan);
                }
            }
            Self::Member(port, vlan) => {
                if let Some(vlans) = port.vlans_mut(site) {
                    vlans.untagged.remove(vlan);
                    vlans.tagged.remove(vlan);
                }
            }
            Self::Untagged(port, vlan) => carry_tagged(site, port, vlan),
            Self::FilterOff(port) => {
                if let Some(vlans) = port.vlans_mut(site) {
                    vlans.ingress_filter = true;
                }
            }
            Self::Plugged(link) => site.links[link].pulled = true,
            Self::Forwards(host) => site.hosts[host.0].forwards.value = Forwards::No,
            Self::NoRules(router) => site.routers[router.0].role = deny_everything(),
            Self::Home(host, at) => take_off(site, host, at),
        }
    }
}

/// A gateway that lets nothing pass.
fn deny_everything() -> Role {
    Role::Gateway(Box::new(Filter {
        default: Spanned::new(Action::Deny, Span::default()),
        stateful: true,
        rules: Vec::new(),
        destination_translations: Vec::new(),
        source_translations: Vec::new(),
    }))
}

/// The PVID that a port should have instead of a VLAN: the only other one that leaves it untagged, if there is one.
fn other_native(vlans: &PortVlans, vlan: VlanId) -> Option<VlanId> {
    let mut others = vlans.untagged.iter().filter(|&other| other != vlan);
    let first = others.next();
    first.filter(|_| others.next().is_none())
}

/// Unplugs an interface of a host and takes its addresses.
fn take_off(site: &mut Site, host: HostId, at: usize) {
    let interface = &mut site.hosts[host.0].interfaces[at];
    interface.addresses.clear();
    let name = interface.name.value.clone();
    for link in &mut site.links {
        let here =
            |end: &LinkEnd| matches!(end, LinkEnd::Host(id, port) if *id == host && *port == name);
        link.pulled |= link.ends.iter().any(|end| here(&end.value));
    }
}

/// Both ends of a cable carry a VLAN tagged.
fn carry_tagged(site: &mut Site, port: PortKey, vlan: VlanId) {
    let far = far_ends(site, port);
    let ports = std::iter::once(port).chain(far.iter().filter_map(|end| match end {
        FarEnd::Port(port) => Some(*port),
        FarEnd::Router(..) => None,
    }));
    for port in ports.collect::<Vec<_>>() {
        let Some(vlans) = port.vlans_mut(site) else {
            continue;
        };
        if vlans.untagged.remove(vlan) {
            vlans.tagged.insert(vlan);
        }
        if vlans.pvid == Some(vlan) {
            vlans.pvid = None;
        }
    }
    for end in far {
        if let FarEnd::Router(router, name) = end {
            let router = &mut site.routers[router.0];
            let there: Vec<usize> = router.interfaces_on(&name).map(|(at, _)| at).collect();
            for at in there {
                router.interfaces[at].vlan.get_or_insert(vlan);
            }
        }
    }
}

enum FarEnd {
    Port(PortKey),
    Router(RouterId, String),
}

/// What the cables of a port or LAG lead to.
fn far_ends(site: &Site, port: PortKey) -> Vec<FarEnd> {
    let mut ends = Vec::new();
    for link in &site.links {
        let [one, other] = &link.ends;
        for (near, far) in [(one, other), (other, one)] {
            if end_key(site, &near.value) != Some(port) {
                continue;
            }
            match &far.value {
                LinkEnd::Router(router, name) => {
                    let here = site.router(*router);
                    let name = here
                        .lag_of(name)
                        .map(|lag| &here.lags[lag].name.value)
                        .unwrap_or(name);
                    ends.push(FarEnd::Router(*router, name.clone()));
                }
                end => ends.extend(end_key(site, end).map(FarEnd::Port)),
            }
        }
    }
    ends
}

/// The port or LAG of a switch that an end of a cable is.
pub fn end_key(site: &Site, end: &LinkEnd) -> Option<PortKey> {
    let LinkEnd::Switch(switch, name) = end else {
        return None;
    };
    let here = &site.switches[switch.0];
    if let Some(lag) = here.lag(name) {
        return Some(PortKey::Lag(*switch, lag));
    }
    let port = here.port(name)?;
    PortKey::of(site, PortName::Port(*switch, port))
}

/// `VLAN 90 (management)`.
pub fn vlan_name(site: &Site, vlan: VlanId) -> String {
    format!("VLAN {}", numbered_vlan(site, vlan))
}

/// `90 (management)`, or just the number where no segment has it. Where several have it, in parts of layer 2 that no
/// cable joins, all are named; [`numbered_vlan_at`](super::numbered_vlan_at) tells which one it is at a switch.
pub fn numbered_vlan(site: &Site, vlan: VlanId) -> String {
    let own = site.segments.iter().filter(|segment| {
        let number = segment.vlan.map(|number| number.value);
        number == Some(vlan)
    });
    let names: Vec<&str> = own.map(|segment| segment.name.value.as_str()).collect();
    if names.is_empty() {
        vlan.to_string()
    } else {
        format!("{vlan} ({})", names.join(" or "))
    }
}

/// `core:25 - taproom:8`.
pub fn link_name(site: &Site, link: usize) -> String {
    let ends = &site.links[link].ends;
    [&ends[0], &ends[1]]
        .map(|end| end_name(site, &end.value))
        .join(" - ")
}

/// `core:25`.
pub fn end_name(site: &Site, end: &LinkEnd) -> String {
    CableEnd::of(end).name(site)
}

#[cfg(test)]
mod tests {
    use boundwalk_model::SwitchId;

    use super::*;

    #[test]
    fn settings_are_alike_whatever_their_port() {
        let port = |at| PortKey::Port(SwitchId(0), at);
        let vlan = |number| VlanId::new(number).expect("a VLAN");
        for of in [Setting::Pvid, Setting::Member, Setting::Untagged] {
            assert!(of(port(1), vlan(10)).alike(of(port(2), vlan(10))));
            assert!(!of(port(1), vlan(10)).alike(of(port(1), vlan(20))));
        }
        assert!(Setting::FilterOff(port(1)).alike(Setting::FilterOff(port(2))));
        let (pvid, member) = (
            Setting::Pvid(port(1), vlan(10)),
            Setting::Member(port(1), vlan(10)),
        );
        assert!(!pvid.alike(member) && !member.alike(Setting::FilterOff(port(1))));
    }
}
