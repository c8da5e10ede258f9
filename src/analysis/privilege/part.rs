//! A permitted part of one pair, and how each rule on its way sees it.

use boundwalk_forwarding::{DeviceId, Hop};
use boundwalk_model::SegmentId;
use boundwalk_packet::Region;

use super::super::deciders::DecidedBy;
use super::super::intent::{Ground, Passed};

/// Where a packet comes in and goes out at a gateway, for `from` and `to` of a rule.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct InterfacePair {
    /// Segment of the interface of arrival.
    pub from: SegmentId,
    /// Segment of the interface of departure; `None`: the gateway itself.
    pub to: Option<SegmentId>,
}

/// A rule that decides a part.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Decision {
    pub decider: DecidedBy,
    pub interface_pair: InterfacePair,
    /// Whether the rule sees sources as they are sent, and destinations as they arrive.
    pub seen_plainly: bool,
}

/// The decisions about a part, in order.
pub(super) fn decisions(ground: &Ground<'_>, passed: &Passed) -> Vec<Decision> {
    let hops = &passed.flow.hops;
    let mut decisions = Vec::new();
    for (number, hop) in hops.iter().enumerate().filter(|(_, hop)| hop.filtered) {
        let device = ground.plan.device(hop.device);
        let DeviceId::Router(router) = device.id else {
            continue;
        };
        let segment = |interface: usize| device.interfaces[interface].segment;
        let source_before = hops[..number].iter().any(|hop| rewrites(hop, false));
        let destination_after = hops[number + 1..].iter().any(|hop| rewrites(hop, true));
        decisions.push(Decision {
            decider: (router, hop.rule),
            interface_pair: InterfacePair {
                from: segment(hop.ingress),
                to: hop.egress.map(segment),
            },
            seen_plainly: !source_before && !destination_after,
        });
    }
    decisions
}

fn rewrites(hop: &Hop, destination: bool) -> bool {
    hop.translated.as_ref().is_some_and(|written| {
        if destination {
            written.destination.is_some() || written.services.is_some()
        } else {
            written.source.is_some()
        }
    })
}

/// A part of what passed, as a rule sees it that sees it plainly: sources as sent, destinations and services as they
/// arrive. `sent` must be a part of what passed.
pub(super) fn seen(ground: &Ground<'_>, passed: &Passed, sent: &Region) -> Region {
    let (now, before) = (&passed.flow.now, passed.flow.sent());
    let destination = if now.destination == before.destination {
        sent.destination.clone()
    } else {
        passed.arrived.destination.clone()
    };
    let services = match now.services == before.services {
        true => sent.services.clone(),
        false => {
            // All that is sent on these services arrives on the port that was written.
            let mut services = ground.network.classes.none();
            services.union_with(&now.services);
            services
        }
    };
    Region {
        source: sent.source.clone(),
        destination,
        services,
    }
}
