//! How far a segment is from not being isolated: the smallest sets of single faults that would end it.

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use boundwalk_forwarding::Network;
use boundwalk_forwarding::layer2::{Fabric, Flood, Frame, InterfaceOf, NodeKind, PortName};
use boundwalk_model::{Forwards, HostId, RouterId, SegmentId, Site, SwitchId, VlanId};

use super::closing::stripped;
use super::fault::{Fault, Form, Forwarding, excludes};
use super::isolation::{IsolationVerdict, isolated_floods, isolation};
use super::setting::{PortKey, end_key};

/// Ports and interfaces that one search builds at most, over all the sites that it looks at: some seconds.
pub const EFFORT: usize = 6_000_000;

/// The faults that would end isolation.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
#[non_exhaustive]
pub struct Distance {
    /// Single faults.
    pub one: Vec<Fault>,
    /// Pairs of which neither is enough.
    pub two: Vec<[Fault; 2]>,
    /// How many single faults there are to try.
    pub faults: usize,
    /// How many of them were tried; fewer only on a site too large for the effort allowed.
    pub tried: usize,
    /// Whether all single faults were tried, and all pairs that may matter; else lists may lack some.
    pub complete: bool,
}

/// The smallest sets of faults, up to two, that would end the isolation of a segment: by design where it is
/// isolated by design, else by rule. Empty where it is not isolated at all.
///
/// Looks at a copy of the site for each fault, and for each pair of which one fault brings frames further, as
/// long as `effort` lasts: ports and interfaces built in all ([`EFFORT`] is a good measure). Copies are looked at
/// on all processors; the answer does not depend on how many there are.
#[must_use]
pub fn distance(
    network: &Network<'_>,
    segment: SegmentId,
    verdict: &IsolationVerdict,
    effort: usize,
) -> Distance {
    match verdict {
        IsolationVerdict::ByDesign(_) => Search::new(network, segment, effort).run(),
        IsolationVerdict::ByRule { denied_by, .. } => by_rule(network, segment, denied_by, effort),
        IsolationVerdict::Reachable { .. } | IsolationVerdict::Unknown { .. } => {
            Distance::default()
        }
    }
}

/// How many sites an effort is enough for.
fn tries(network: &Network<'_>, effort: usize) -> usize {
    let size = network.fabric.ports.len() + network.fabric.interfaces.len();
    (effort / size.max(1)).max(1)
}

/// Faults that open what only rules close: a rule that permits, or a way round.
fn by_rule(
    network: &Network<'_>,
    segment: SegmentId,
    denied_by: &[(RouterId, Option<usize>)],
    effort: usize,
) -> Distance {
    let faults: Vec<Fault> = denied_by
        .iter()
        .map(|&(router, rule)| Fault::Flipped(router, rule))
        .chain(candidates(network.site, segment))
        .collect();
    let opens = |fault: &&Fault| {
        let mut site = network.site.clone();
        fault.apply(&mut site);
        let changed = Network::new(&site, network.today).limited_to(network.open_pieces());
        matches!(
            isolation(&changed, segment),
            IsolationVerdict::Reachable { .. }
        )
    };
    // A whole network is prepared each time, rules and all.
    let tried = faults.len().min(tries(network, effort / 10));
    Distance {
        faults: faults.len(),
        tried,
        one: faults[..tried].par_iter().filter(opens).copied().collect(),
        two: Vec::new(),
        complete: false,
    }
}

/// How far frames get, out of the segment and into it.
struct FaultExtent {
    inside: FxHashSet<(NodeKind, Option<VlanId>, Frame)>,
    stopped: FxHashSet<(Option<PortName>, Frame)>,
    taken: FxHashSet<InterfaceOf>,
}

/// Places that frames newly reach: only here can a second fault matter.
#[derive(Default)]
struct Frontier {
    switches: FxHashSet<SwitchId>,
    ports: FxHashSet<PortKey>,
    hosts: FxHashSet<HostId>,
}

impl FaultExtent {
    fn new(fabric: &Fabric, floods: &[Flood; 2]) -> Self {
        let mut extent = Self {
            inside: FxHashSet::default(),
            stopped: FxHashSet::default(),
            taken: FxHashSet::default(),
        };
        for flood in floods {
            let visits = flood.visits.iter();
            extent.inside.extend(
                visits.map(|visit| (fabric.node(visit.node).kind, visit.vlan, visit.below)),
            );
            let stopped = flood.stopped.iter();
            extent
                .stopped
                .extend(stopped.map(|end| (end.at.map(|at| fabric.port(at).name), end.frame)));
            extent.taken.extend(
                flood
                    .interfaces()
                    .map(|interface| fabric.interface(interface).of),
            );
        }
        extent
    }

    /// What is here and not in `usual`.
    fn beyond(&self, usual: &Self, site: &Site) -> Frontier {
        let mut frontier = Frontier::default();
        for (kind, ..) in self.inside.difference(&usual.inside) {
            match *kind {
                NodeKind::Aware(switch) | NodeKind::Unaware(switch) => {
                    frontier.switches.insert(switch);
                }
                NodeKind::Bridge(host) => {
                    frontier.hosts.insert(host);
                }
                NodeKind::Neighbours(_) | NodeKind::Assumed(_) => {}
            }
        }
        let stopped = self.stopped.difference(&usual.stopped);
        let ports = stopped.filter_map(|(name, _)| PortKey::of(site, (*name)?));
        frontier.ports.extend(ports);
        for interface in self.taken.difference(&usual.taken) {
            if let InterfaceOf::Host(host, _) = interface {
                frontier.hosts.insert(*host);
            }
        }
        frontier
    }
}

impl Frontier {
    /// Whether a fault may take frames further from here.
    fn meets(&self, site: &Site, fault: Fault) -> bool {
        let port =
            |port: PortKey| self.ports.contains(&port) || self.switches.contains(&port.switch());
        match fault {
            Fault::Pvid(at, _) | Fault::Joins(at, ..) | Fault::FilterOff(at) => port(at),
            Fault::Moved(link, _, to) => {
                let mut ends = site.links[link].ends.iter();
                port(to) || ends.any(|end| end_key(site, &end.value).is_some_and(port))
            }
            Fault::Forwards(host, _) => self.hosts.contains(&host),
            Fault::Flipped(..) => false,
        }
    }
}

struct Search {
    bare: Site,
    segment: SegmentId,
    faults: Vec<Fault>,
    /// Sites that may be looked at.
    tries: usize,
}

impl Search {
    fn new(network: &Network<'_>, segment: SegmentId, effort: usize) -> Self {
        let bare = stripped(network.site);
        let faults = candidates(&bare, segment);
        Self {
            bare,
            segment,
            faults,
            tries: tries(network, effort),
        }
    }

    fn run(&self) -> Distance {
        let fabric = Fabric::new(&self.bare);
        // Asked only of a segment that is isolated by design.
        let Some(floods) = isolated_floods(&self.bare, &fabric, self.segment) else {
            return Distance::default();
        };
        let usual = FaultExtent::new(&fabric, &floods);
        let tried = self.faults.len().min(self.tries);
        let mut distance = Distance {
            faults: self.faults.len(),
            tried,
            complete: tried == self.faults.len(),
            ..Distance::default()
        };
        let tries = self.faults[..tried].par_iter();
        let found: Vec<(Fault, Option<Frontier>)> = tries
            .map(|&fault| (fault, self.frontier(fault, &usual)))
            .collect();
        let mut fronts: Vec<(Fault, Frontier)> = Vec::new();
        for (fault, frontier) in found {
            match frontier {
                Some(frontier) => fronts.push((fault, frontier)),
                None => distance.one.push(fault),
            }
        }
        let (pairs, all) = self.pairs(&fronts, tried);
        distance.complete &= all;
        distance.two = pairs
            .into_par_iter()
            .filter(|pair| self.floods(pair).is_none())
            .collect();
        distance
    }

    /// Where one fault takes frames that did not get there before; `None` if it ends isolation.
    fn frontier(&self, fault: Fault, usual: &FaultExtent) -> Option<Frontier> {
        let (fabric, floods) = self.floods(&[fault])?;
        Some(FaultExtent::new(&fabric, &floods).beyond(usual, &self.bare))
    }

    /// Where frames get with some faults, if the segment stays isolated.
    fn floods(&self, faults: &[Fault]) -> Option<(Fabric, [Flood; 2])> {
        let mut site = self.bare.clone();
        faults.iter().for_each(|fault| fault.apply(&mut site));
        let fabric = Fabric::new(&site);
        let floods = isolated_floods(&site, &fabric, self.segment)?;
        Some((fabric, floods))
    }

    /// Pairs of which the second may take further what the first lets through, as far as the effort lasts, and
    /// whether these are all.
    fn pairs(&self, fronts: &[(Fault, Frontier)], tried: usize) -> (Vec<[Fault; 2]>, bool) {
        let mut pairs = Vec::new();
        let mut seen: FxHashSet<[Fault; 2]> = FxHashSet::default();
        for (one, frontier) in fronts {
            let harmless = fronts.iter().map(|&(fault, _)| fault);
            for other in harmless.filter(|&other| frontier.meets(&self.bare, other)) {
                let pair = [(*one).min(other), (*one).max(other)];
                if *one == other || excludes(*one, other) || !seen.insert(pair) {
                    continue;
                }
                if tried + seen.len() > self.tries {
                    return (pairs, false);
                }
                pairs.push(pair);
            }
        }
        (pairs, true)
    }
}

/// Single faults that may matter to a segment: those of hosts with several interfaces, and those of ports and
/// cables that touch its VLAN.
fn candidates(site: &Site, segment: SegmentId) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (number, host) in site.hosts.iter().enumerate() {
        if host.interfaces.len() > 1 && host.forwards.value == Forwards::No {
            let host = HostId(number);
            faults.push(Fault::Forwards(host, Forwarding::Routes));
            faults.push(Fault::Forwards(host, Forwarding::Bridges));
        }
    }
    let Some(vlan) = site.segment(segment).vlan.map(|vlan| vlan.value) else {
        return faults;
    };
    let ports = live_ports(site);
    faults.extend(moves(site, vlan, &ports));
    for &port in &ports {
        port_faults(site, port, vlan, &mut faults);
    }
    faults
}

/// Ports and LAGs of aware switches; the members of a LAG through it, disabled ports not.
fn live_ports(site: &Site) -> Vec<PortKey> {
    let mut ports = Vec::new();
    for (number, switch) in site.switches.iter().enumerate() {
        if !switch.vlan_aware {
            continue;
        }
        let id = SwitchId(number);
        for (at, port) in switch.ports.iter().enumerate() {
            if port.enabled && port.vlans.is_some() {
                ports.push(PortKey::Port(id, at));
            }
        }
        ports.extend((0..switch.lags.len()).map(|lag| PortKey::Lag(id, lag)));
    }
    ports
}

fn port_faults(site: &Site, port: PortKey, vlan: VlanId, faults: &mut Vec<Fault>) {
    let Some(vlans) = port.vlans(site) else {
        return;
    };
    let others = site.segments.iter().filter_map(|segment| segment.vlan);
    let mine = vlans.carries(vlan) || vlans.pvid == Some(vlan);
    // A port of the segment may get any other VLAN, and any other port the segment's.
    let wanted: Vec<VlanId> = if mine {
        others
            .map(|other| other.value)
            .filter(|&other| other != vlan)
            .collect()
    } else {
        vec![vlan]
    };
    for other in wanted {
        if vlans.pvid != Some(other) {
            faults.push(Fault::Pvid(port, other));
        }
        if !vlans.carries(other) {
            faults.push(Fault::Joins(port, other, Form::Untagged));
            faults.push(Fault::Joins(port, other, Form::Tagged));
        }
    }
    if vlans.ingress_filter {
        faults.push(Fault::FilterOff(port));
    }
}

/// Cables moved into a port of the VLAN, or out of one into any free port.
fn moves(site: &Site, vlan: VlanId, ports: &[PortKey]) -> Vec<Fault> {
    let used: FxHashSet<PortKey> = site
        .links
        .iter()
        .flat_map(|link| &link.ends)
        .filter_map(|end| end_key(site, &end.value))
        .collect();
    let carries = |port: PortKey| {
        let vlans = port.vlans(site);
        vlans.is_some_and(|vlans| vlans.carries(vlan) || vlans.pvid == Some(vlan))
    };
    let single = |port: &&PortKey| matches!(port, PortKey::Port(..)) && !used.contains(port);
    let free: Vec<PortKey> = ports.iter().filter(single).copied().collect();
    let mut moves = Vec::new();
    for (number, link) in site.links.iter().enumerate() {
        for (at, end) in link.ends.iter().enumerate() {
            let Some(from @ PortKey::Port(..)) = end_key(site, &end.value) else {
                continue;
            };
            let fitting = free.iter().filter(|&&to| carries(from) || carries(to));
            moves.extend(fitting.map(|&to| Fault::Moved(number, at, to)));
        }
    }
    moves
}
