//! Pairs of zones between which a permit lets something through.

use crate::model::{Family, SegmentId};
use crate::packet::Region;

use super::permits::{Met, Permit, zone_of};
use super::view::View;

/// Pieces that a walk through the rules may hold open before it is given up.
const OPEN_PIECES: usize = 20_000;

/// Pairs of different zones, as `guest -> cards`, of whose segments a permit really decides packets, among those that
/// are wanted. What earlier rules take is left out; where that takes too long to say, the pair stays.
pub(super) fn zone_pairs(
    view: &View<'_>,
    permit: &Permit<'_>,
    wanted: impl Fn(SegmentId, SegmentId) -> bool,
) -> Vec<String> {
    let mut pairs: Vec<String> = Vec::new();
    for &from in &permit.senders {
        for &to in &permit.targets {
            let (low, high) = (
                zone_of(view.site, from.segment),
                zone_of(view.site, to.segment),
            );
            // What lies behind the same router is carried there, not here.
            let crosses = !(from.behind && to.behind && from.interface == to.interface);
            if low.name == high.name || !crosses || !wanted(from.segment, to.segment) {
                continue;
            }
            let pair = format!("{} -> {}", low.name.value, high.name.value);
            if !pairs.contains(&pair) && decides(view, permit, from, to) {
                pairs.push(pair);
            }
        }
    }
    pairs
}

/// Whether earlier rules leave a permit anything between two segments.
fn decides(view: &View<'_>, permit: &Permit<'_>, from: Met, to: Met) -> bool {
    Family::ALL
        .iter()
        .any(|&family| decides_in(view, permit, from, to, family))
}

fn decides_in(view: &View<'_>, permit: &Permit<'_>, from: Met, to: Met, family: Family) -> bool {
    let plan = view.network.plan(family);
    let device = plan.device(plan.router_index(permit.gateway.id));
    let Some(filter) = &device.filter else {
        return false;
    };
    let Ok(own) = filter.rules.binary_search(&permit.number) else {
        return false;
    };
    let line = &filter.lines.lines()[own];
    let within = |segment: SegmentId, field: &Option<crate::packet::IntervalSet>| {
        let addresses = &plan.segment(segment).addresses;
        match field {
            Some(field) => addresses.intersection(field),
            None => addresses.clone(),
        }
    };
    let start = Region {
        source: within(from.segment, &line.source),
        destination: within(to.segment, &line.destination),
        services: match &line.services {
            Some(services) => services.as_ref().clone(),
            None => view.network.classes.all(),
        },
    };
    let mut candidates = filter.between(from.interface, to.interface);
    candidates.and_assign(&filter.lines.from_source(&start.source));
    candidates.and_assign(&filter.lines.to_destination(&start.destination));
    let mut decides = false;
    let walked = filter
        .lines
        .walk(&candidates, start, OPEN_PIECES, &mut |line, _| {
            decides |= line == Some(own);
        });
    decides || walked.is_err()
}
