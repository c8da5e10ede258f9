//! Is there any way at all between two segments, whatever rules say?

use std::collections::VecDeque;

use rustc_hash::FxHashMap;

use boundwalk_forwarding::{DeviceId, DeviceIndex, Network, Origin, Plan, SendPoint};
use boundwalk_model::{Family, SegmentId};

use super::status::Link;

/// The shortest chain of segments and devices that forward from one segment to another; empty: there is none.
///
/// A hostile device sends from the first segment; a gateway is taken to forward everything, to what frames of its
/// interfaces reach, whichever segments the file puts these on. Cost: each segment and each device
/// once.
#[must_use]
pub fn chain(network: &Network<'_>, from: SegmentId, to: SegmentId) -> Vec<Link> {
    let goal = Link::Segment(to);
    let mut came: FxHashMap<Link, Option<Link>> = FxHashMap::default();
    let mut waiting = VecDeque::from([Link::Segment(from)]);
    came.insert(Link::Segment(from), None);
    while let Some(here) = waiting.pop_front() {
        if here == goal {
            return back(&came, here);
        }
        for next in neighbours(network, here, to) {
            came.entry(next).or_insert_with(|| {
                waiting.push_back(next);
                Some(here)
            });
        }
    }
    Vec::new()
}

fn back(came: &FxHashMap<Link, Option<Link>>, last: Link) -> Vec<Link> {
    let mut links = vec![last];
    let mut at = last;
    while let Some(&Some(before)) = came.get(&at) {
        links.push(before);
        at = before;
    }
    links.reverse();
    links
}

/// What is met from a place, in either family, in a fixed order. A host that does not forward is met only where it has
/// an address on the segment asked for: it answers for that by each of its interfaces.
fn neighbours(network: &Network<'_>, here: Link, to: SegmentId) -> Vec<Link> {
    let mut met = Vec::new();
    for family in Family::ALL {
        let plan = network.plan(family);
        let mut send_points = Vec::new();
        match here {
            Link::Segment(segment) => {
                send_points.push(SendPoint::Hostile(Origin::Segment(segment)));
            }
            Link::Router(router) => {
                stands_of(network, family, plan.router_index(router), &mut send_points);
            }
            Link::Host(host) => {
                let host = plan.host_index(host);
                met.extend(has_home(plan, host, to).then_some(Link::Segment(to)));
                stands_of(network, family, host, &mut send_points);
            }
        }
        for send_point in send_points {
            let wire = plan.wire(send_point);
            met.extend(
                wire.receivers
                    .iter()
                    .map(|(segment, _)| Link::Segment(*segment)),
            );
            let found = wire
                .attached
                .iter()
                .map(|(device, _)| *device)
                .chain(wire.learned.iter().map(|one| one.device));
            let forwards =
                found.filter(|&device| plan.device(device).forwards || has_home(plan, device, to));
            met.extend(forwards.map(|device| match plan.device(device).id {
                DeviceId::Router(router) => Link::Router(router),
                DeviceId::Host(host) => Link::Host(host),
            }));
        }
    }
    met.sort_unstable();
    met.dedup();
    met
}

/// Whether a host has an address on a segment.
fn has_home(plan: &Plan, device: DeviceIndex, segment: SegmentId) -> bool {
    let here = plan.device(device);
    let mut interfaces = here.interfaces.iter();
    matches!(here.id, DeviceId::Host(_))
        && interfaces.any(|at| at.segment == segment && !at.addresses.is_empty())
}

fn stands_of(
    network: &Network<'_>,
    family: Family,
    device: DeviceIndex,
    into: &mut Vec<SendPoint>,
) {
    let interfaces = network.plan(family).device(device).interfaces.len();
    into.extend((0..interfaces).map(|interface| SendPoint::WiredInterface(device, interface)));
}
