//! What an expectation or a need comes to, packet by packet.

use std::net::IpAddr;

use boundwalk::analysis::Endpoint;
use boundwalk::model::{
    AddressMatch, Expectation, Family, Permit, RuleParty as Named, SegmentId, ServiceMatch, Site,
    Through, TranslationTarget,
};
use boundwalk::packet::ServiceClasses;

use crate::pairs::{Pairs, Sent};
use crate::simulator::{Decision, Outcome, Probe};

/// What a line demands and whether some packet fails it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Failing {
    pub seen: bool,
    pub too_much: bool,
    pub too_little: bool,
    pub undecided: bool,
    pub unlogged: bool,
    pub started_back: bool,
}

/// The addresses and services of a line in one family.
pub struct Line<'l> {
    pub family: Family,
    pub source: Option<&'l AddressMatch>,
    pub destination: Option<&'l AddressMatch>,
    pub services: Option<&'l ServiceMatch>,
    /// Whether the services are the most that may pass: then a family that the list does not name may pass nothing.
    pub bounds: bool,
}

impl Line<'_> {
    fn source(&self, address: IpAddr) -> bool {
        let set = self.source.map(|list| list.set.of(self.family));
        set.is_none_or(|set| set.contains(Family::value(address)))
    }

    fn destination(&self, address: IpAddr) -> bool {
        let set = self.destination.map(|list| list.set.of(self.family));
        set.is_none_or(|set| set.contains(Family::value(address)))
    }

    pub fn service(&self, probe: Probe) -> bool {
        let Some(list) = self.services else {
            return true;
        };
        list.services.iter().any(|service| {
            service.packets(self.family).is_some_and(|packets| {
                packets.protocols.contains(u128::from(probe.protocol))
                    && packets.source_ports.contains(u128::from(probe.source_port))
                    && packets
                        .destination_ports
                        .contains(u128::from(probe.destination_port))
            })
        })
    }

    /// Whether a packet that arrived is one that the line speaks of, by its addresses.
    fn speaks_of(&self, sent: Probe, outcome: &Outcome) -> bool {
        self.source(sent.source)
            && (self.destination(sent.destination) || self.destination(outcome.arrived.destination))
    }
}

/// The segments and columns that parties come to.
pub fn places(site: &Site, parties: &[Named]) -> Vec<Endpoint> {
    let mut all = Vec::new();
    for party in parties {
        match *party {
            Named::Segment(id) => all.push(Endpoint::Segment(id)),
            Named::Zone(zone) => all.extend(site.segments_in(zone).map(Endpoint::Segment)),
            Named::Gateway => {
                let routers = (0..site.routers.len()).map(boundwalk::model::RouterId);
                all.extend(routers.map(Endpoint::Device));
            }
        }
    }
    all.sort();
    all.dedup();
    all
}

/// Destinations that some translation turns into an address of a column.
fn other_names(pairs: &Pairs<'_>, to: Endpoint, family: Family, address: IpAddr) -> bool {
    let mut lines = pairs
        .site
        .routers
        .iter()
        .filter_map(|router| router.filter())
        .flat_map(|filter| &filter.destination_translations);
    lines.any(|line| match (line.target, &line.destination) {
        (TranslationTarget::Address(target), Some(list)) => {
            line.enabled
                && Family::of(target) == family
                && pairs.has(to, target)
                && list.set.of(family).contains(Family::value(address))
        }
        _ => false,
    })
}

/// Adds what one pair fails.
pub fn pair(
    pairs: &Pairs<'_>,
    classes: &ServiceClasses,
    (from, to): (SegmentId, Endpoint),
    line: &Line<'_>,
    through: Option<Through>,
    sent: &[Sent],
    failing: &mut Failing,
) {
    if Endpoint::Segment(from) == to {
        return;
    }
    let sources: Vec<IpAddr> = pairs.sources(Endpoint::Segment(from)).collect();
    let sources: Vec<IpAddr> = sources
        .into_iter()
        .filter(|&one| line.source(one))
        .collect();
    let wanted = |address: IpAddr| match line.destination {
        Some(_) => {
            (pairs.has(to, address) || other_names(pairs, to, line.family, address))
                && line.destination(address)
        }
        None => pairs.has(to, address),
    };
    let destinations: Vec<IpAddr> = pairs
        .destinations
        .iter()
        .copied()
        .filter(|&one| wanted(one))
        .collect();
    let services = pairs.services.iter().filter(|service| {
        line.service(
            service.probe(
                destinations
                    .first()
                    .copied()
                    .unwrap_or(IpAddr::from([0, 0, 0, 0])),
                IpAddr::from([0, 0, 0, 0]),
            ),
        )
    });
    let services: Vec<_> = services.collect();
    let speaks = !services.is_empty() || line.bounds;
    if sources.is_empty() || destinations.is_empty() || !speaks {
        return;
    }
    failing.seen = true;
    let mut met: Vec<(IpAddr, IpAddr, usize)> = Vec::new();
    for packet in sent {
        for outcome in packet.outcomes.iter().filter(|end| pairs.takes(to, end)) {
            if !line.speaks_of(packet.probe, outcome) {
                continue;
            }
            let arrived = outcome.arrived;
            let served = line.service(packet.probe) || line.service(arrived);
            failing.too_much |= served;
            let mut decided = outcome.hops.iter().filter(|hop| hop.decided.is_some());
            if served {
                let gateway = |wanted: usize| {
                    outcome
                        .hops
                        .iter()
                        .any(|hop| hop.device == wanted && hop.decided.is_some())
                };
                failing.undecided |= match through {
                    Some(Through::Gateway(router)) => !gateway(router.0),
                    _ => decided.clone().next().is_none(),
                };
                failing.unlogged |= !decided.any(|hop| {
                    let filter = pairs.site.routers.get(hop.device).and_then(|router| router.filter());
                    matches!((filter, hop.decided), (Some(filter), Some(Decision::Rule(rule))) if filter.rules[rule].log)
                });
            }
        }
    }
    // What must pass is asked of the device that has the source.
    for packet in sent {
        let ends = packet.by_owner.iter().flatten();
        for end in ends.filter(|end| pairs.takes(to, end)) {
            if line.speaks_of(packet.probe, end) {
                let arrived = end.arrived;
                met.push((packet.probe.source, packet.probe.destination, packet.class));
                let class = classes.class_of(
                    arrived.protocol,
                    arrived.source_port,
                    arrived.destination_port,
                );
                met.push((packet.probe.source, arrived.destination, class));
            }
        }
    }
    let met: std::collections::BTreeSet<_> = met.into_iter().collect();
    for &source in &sources {
        for &destination in &destinations {
            for service in &services {
                let itself = pairs.simulator.are_of_one_device(source, destination);
                let asked = || {
                    let probe = service.probe(source, destination);
                    pairs.simulator.send_from_owner(from, probe).is_some()
                };
                let missed = !met.contains(&(source, destination, service.class));
                failing.too_little |= missed && !itself && asked();
            }
        }
    }
}

/// Whether some packet that the line speaks of passes with a service that it does not name.
pub fn beyond(
    pairs: &Pairs<'_>,
    (from, to): (SegmentId, Endpoint),
    line: &Line<'_>,
    sent: &[Sent],
) -> bool {
    if Endpoint::Segment(from) == to {
        return false;
    }
    sent.iter().any(|packet| {
        let mut ends = packet.outcomes.iter().filter(|end| pairs.takes(to, end));
        ends.any(|end| {
            line.speaks_of(packet.probe, end)
                && !line.service(packet.probe)
                && !line.service(end.arrived)
        })
    })
}

/// Whether the expectation holds, by what was found.
pub fn broken(line: &Expectation, failing: &Failing, beyond: bool) -> bool {
    let demands = &line.demands;
    let permit = match demands.permit {
        Some(Permit::Nothing) => failing.too_much,
        Some(Permit::AtMost) => beyond,
        Some(Permit::AtLeast) => failing.too_little,
        Some(Permit::Exactly) => beyond || failing.too_little,
        None => false,
    };
    permit
        || (demands.through.is_some() && failing.undecided)
        || (demands.logged && failing.unlogged)
        || (demands.one_way && failing.started_back)
}
