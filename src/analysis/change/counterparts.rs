//! Which segment, gateway and group of unclaimed ports of one version is which of the other.

use boundwalk_forwarding::Network;
use boundwalk_forwarding::layer2::{Origin, PortName, Unclaimed, UnclaimedId};
use boundwalk_model::{RouterId, SegmentId, Site, Switch, SwitchId};

/// The same thing in both versions, or a thing of one of them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Matched<T> {
    /// In the old version; `None`: it is new.
    pub old: Option<T>,
    /// In the new version; `None`: it is gone.
    pub new: Option<T>,
}

impl<T: Copy> Matched<T> {
    /// In one version: the new one or the old one.
    pub fn side(self, new: bool) -> Option<T> {
        if new { self.new } else { self.old }
    }
}

/// What corresponds to what.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Counterparts {
    /// Segments: in the order of the old version, then new ones.
    pub segments: Vec<Matched<SegmentId>>,
    /// Gateways and routers likewise.
    pub routers: Vec<Matched<RouterId>>,
    /// Groups of live ports that belong to no segment likewise.
    pub unclaimed: Vec<Matched<UnclaimedId>>,
}

impl Counterparts {
    /// By name; what has no namesake by its VLAN and prefixes, then by its prefixes, then by its VLAN; gateways by
    /// their addresses. Unclaimed ports by switch and VLAN, then by what ports they share.
    pub fn new(old: &Network<'_>, new: &Network<'_>) -> Self {
        Self {
            unclaimed: unclaimed(old, new),
            ..Self::of_sites(old.site, new.site)
        }
    }

    /// The same of two descriptions, without unclaimed ports: which ports those are, cables decide.
    pub(super) fn of_sites(old: &Site, new: &Site) -> Self {
        let prefixes = |site: &Site, at: usize| {
            let segment = &site.segments[at];
            let mut all: Vec<_> = segment.prefixes.iter().map(|prefix| prefix.value).collect();
            all.sort_unstable();
            (!all.is_empty()).then_some(all)
        };
        let vlan = |site: &Site, at: usize| site.segments[at].vlan.map(|vlan| vlan.value);
        let name = |site: &Site, at: usize| Some(site.segments[at].name.value.clone());
        let mut segments = Pairing::new(old.segments.len(), new.segments.len());
        segments.by(|at| name(old, at), |at| name(new, at));
        let both = |site, at| Some((vlan(site, at)?, prefixes(site, at)?));
        segments.by(|at| both(old, at), |at| both(new, at));
        segments.by(|at| prefixes(old, at), |at| prefixes(new, at));
        segments.by(|at| vlan(old, at), |at| vlan(new, at));
        let name = |site: &Site, at: usize| Some(site.routers[at].name.value.clone());
        let own = |site: &Site, at: usize| {
            let own = site.routers[at].own_addresses();
            (own != boundwalk_model::AddressSet::default()).then_some(own)
        };
        let mut routers = Pairing::new(old.routers.len(), new.routers.len());
        routers.by(|at| name(old, at), |at| name(new, at));
        routers.by(|at| own(old, at), |at| own(new, at));
        Self {
            segments: segments.matched_pairs(SegmentId),
            routers: routers.matched_pairs(RouterId),
            unclaimed: Vec::new(),
        }
    }

    /// Everywhere that a hostile device may be, in either version.
    pub fn origins(&self) -> impl Iterator<Item = Matched<Origin>> + '_ {
        let segments = self.segments.iter().map(|matched| Matched {
            old: matched.old.map(Origin::Segment),
            new: matched.new.map(Origin::Segment),
        });
        let unclaimed = self.unclaimed.iter().map(|matched| Matched {
            old: matched.old.map(Origin::Unclaimed),
            new: matched.new.map(Origin::Unclaimed),
        });
        segments.chain(unclaimed)
    }
}

/// Switches by name, then by their ports and LAGs.
fn switches(old: &Site, new: &Site) -> Vec<Matched<SwitchId>> {
    let mut switches = Pairing::new(old.switches.len(), new.switches.len());
    let name = |switch: &Switch| Some(switch.name.value.clone());
    switches.by(|at| name(&old.switches[at]), |at| name(&new.switches[at]));
    let face = |switch: &Switch| {
        let lags = switch
            .lags
            .iter()
            .map(|lag| (lag.name.clone(), lag.ports.clone(), lag.vlans.clone()));
        (
            switch.vlan_aware,
            switch.ports.clone(),
            lags.collect::<Vec<_>>(),
        )
    };
    switches.by(
        |at| Some(face(&old.switches[at])),
        |at| Some(face(&new.switches[at])),
    );
    switches.matched_pairs(SwitchId)
}

/// The name of the first port or LAG of a group.
fn first_port<'n>(network: &'n Network<'_>, group: &Unclaimed) -> Option<&'n str> {
    let names = group.ports.iter().filter_map(|&at| {
        let name = match network.fabric.port(at).name {
            PortName::Port(switch, at) => &network.site.switches[switch.0].ports[at].name,
            PortName::Lag(switch, at) => &network.site.switches[switch.0].lags[at].name,
            PortName::Interface(..) | PortName::Unnamed => return None,
        };
        Some(name.value.as_str())
    });
    names.min()
}

fn unclaimed(old: &Network<'_>, new: &Network<'_>) -> Vec<Matched<UnclaimedId>> {
    let switches = switches(old.site, new.site);
    // A switch of the new version by its number in the old one.
    let known = |id: SwitchId| {
        let matched = switches.iter().find(|matched| matched.new == Some(id));
        matched.and_then(|matched| matched.old)
    };
    let (one, other) = (&old.fabric.unclaimed, &new.fabric.unclaimed);
    let mut groups = Pairing::new(one.len(), other.len());
    groups.by(
        |at| Some((one[at].switch, one[at].vlan)),
        |at| Some((known(other[at].switch)?, other[at].vlan)),
    );
    // Ports that only take their untagged frames into another VLAN are the same place.
    groups.by(
        |at| Some((one[at].switch, first_port(old, &one[at])?)),
        |at| Some((known(other[at].switch)?, first_port(new, &other[at])?)),
    );
    groups.matched_pairs(|at| UnclaimedId(at as u32))
}

struct Pairing {
    /// By number in the old version.
    old: Vec<Option<usize>>,
    taken: Vec<bool>,
}

impl Pairing {
    fn new(old: usize, new: usize) -> Self {
        Self {
            old: vec![None; old],
            taken: vec![false; new],
        }
    }

    /// Pairs what is not paired yet and has the same mark.
    fn by<M: PartialEq>(
        &mut self,
        old_mark: impl Fn(usize) -> Option<M>,
        new_mark: impl Fn(usize) -> Option<M>,
    ) {
        let free: Vec<usize> = (0..self.taken.len())
            .filter(|&at| !self.taken[at])
            .collect();
        let mut free: Vec<(usize, M)> = free
            .into_iter()
            .filter_map(|at| Some((at, new_mark(at)?)))
            .collect();
        for at in 0..self.old.len() {
            if self.old[at].is_some() {
                continue;
            }
            let Some(mark) = old_mark(at) else { continue };
            // Mostly the order is the same: then the first is the one.
            if let Some(found) = free.iter().position(|(_, other)| *other == mark) {
                let (number, _) = free.remove(found);
                self.old[at] = Some(number);
                self.taken[number] = true;
            }
        }
    }

    fn matched_pairs<T>(&self, id: impl Fn(usize) -> T) -> Vec<Matched<T>> {
        let old = self.old.iter().enumerate().map(|(at, matched)| Matched {
            old: Some(id(at)),
            new: matched.map(&id),
        });
        let added = self
            .taken
            .iter()
            .enumerate()
            .filter(|(_, taken)| !**taken)
            .map(|(at, _)| Matched {
                old: None,
                new: Some(id(at)),
            });
        old.chain(added).collect()
    }
}
