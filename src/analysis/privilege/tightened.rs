//! Is a tightened site what it should be: nothing opens, and nothing that is used closes?

use crate::forwarding::{Network, Packet, Sender};
use crate::model::{Family, SegmentId};
use crate::packet::Region;

use super::super::change::{PairChange, Spot, reach_change};
use super::super::intent::{Ground, Passed, Scope, need_scope, passing};
use super::super::witness::witness;
use super::survey::Observed;

/// What the comparison came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Proof {
    /// Nothing opens, and no packet of a need or an observed flow that passed before is denied now.
    Holds,
    /// This packet passes now and did not before.
    Opens(Packet),
    /// This packet is used and does not pass any more.
    Closes(Packet),
    /// A limit was met.
    Unknown,
}

/// Compares two versions that were prepared together ([`Network::versions`]).
pub fn prove(old: &Network<'_>, new: &Network<'_>, observed: &[Observed]) -> Proof {
    let change = reach_change(old, new, &mut |_, _| {});
    let grounds = Family::ALL.map(|family| Ground::new(old, family));
    for pair in &change.pairs {
        if let Some(packet) = pair.opened.iter().find_map(|opened| opened.packet) {
            return Proof::Opens(packet);
        }
        if let Some(packet) = used_and_closed(&grounds[pair.family as usize], pair, observed) {
            return Proof::Closes(packet);
        }
        if !pair.complete {
            return Proof::Unknown;
        }
    }
    Proof::Holds
}

/// A packet of a need, or an observed one, among what a pair loses.
fn used_and_closed(
    ground: &Ground<'_>,
    pair: &PairChange,
    observed: &[Observed],
) -> Option<Packet> {
    let (network, plan) = (ground.network, ground.plan);
    let from = pair.from.old?;
    let segments = network.site.segments.len();
    let to = match pair.to {
        Spot::Segment(twin) => twin.old?.0,
        Spot::Router(twin) => segments + twin.old?.0,
    };
    for need in &network.site.needs {
        let scope = need_scope(ground, need);
        if !scope.from.contains(&from) || !scope.to.contains(&to) {
            continue;
        }
        for region in needed(ground, &scope, from, to) {
            for closed in &pair.closed {
                let both = region.intersection(&closed.packets);
                if !both.is_empty() {
                    return witness(network, plan, &both);
                }
            }
        }
    }
    observed.iter().find_map(|flow| {
        if Family::of(flow.source) != ground.family() {
            return None;
        }
        let service = flow.service;
        let port = if service.protocol.has_ports() {
            49_152
        } else {
            0
        };
        let class = network
            .classes
            .class_of(service.protocol.0, port, service.port);
        let (source, destination) = (Family::value(flow.source), Family::value(flow.destination));
        let mut closed = pair.closed.iter();
        closed
            .any(|closed| closed.packets.contains(source, destination, class))
            .then_some(Packet {
                source: flow.source,
                destination: flow.destination,
                protocol: service.protocol,
                source_port: port,
                destination_port: service.port,
            })
    })
}

fn needed(ground: &Ground<'_>, scope: &Scope, from: SegmentId, to: usize) -> Vec<Region> {
    let mut regions = Vec::new();
    let mut collect = |passed: Passed| match &scope.services {
        Some(services) => regions.extend(passed.with(ground, services)),
        None => regions.push(passed.sent),
    };
    let services = scope.services.as_ref();
    passing(
        ground,
        scope,
        Sender::Segment(from),
        to,
        services,
        &mut collect,
    );
    regions
}
