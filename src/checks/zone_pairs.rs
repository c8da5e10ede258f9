//! Pairs of zones between which a permit lets something through.

use rustc_hash::FxHashMap;

use boundwalk_forwarding::FilterPlan;
use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::{ClassSet, IntervalSet, Region};

use super::permit::{PermitRule, ReachedSegment};
use super::permits::zone_of;
use super::view::CheckContext;

/// Pieces that a walk through the rules may hold open before it is given up.
const OPEN_PIECES: usize = 20_000;

/// Pairs of different zones, as `guest -> cards`, of whose segments a permit really decides packets, among those that
/// are wanted. What earlier rules take is left out; where that takes too long to say, the pair stays.
pub(super) fn zone_pairs(
    view: &CheckContext<'_>,
    permit: &PermitRule<'_>,
    wanted: impl Fn(SegmentId, SegmentId) -> bool,
) -> Vec<String> {
    let fields = Family::ALL.map(|family| Fields::new(view, permit, family));
    let mut pairs: Vec<String> = Vec::new();
    let sends = |met: &&ReachedSegment| {
        let mut fields = fields.iter().flatten();
        fields.any(|fields| fields.sources.contains_key(&met.segment))
    };
    let receives = |met: &&ReachedSegment| {
        let mut fields = fields.iter().flatten();
        fields.any(|fields| fields.destinations.contains_key(&met.segment))
    };
    // Most rules name one or two of the segments that their zones hold.
    let senders = permit.senders.iter().filter(sends);
    let targets: Vec<&ReachedSegment> = permit.targets.iter().filter(receives).collect();
    // In the order of the segments, whatever the family.
    for &from in senders {
        for &&to in &targets {
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
            let mut fields = fields.iter().flatten();
            if !pairs.contains(&pair) && fields.any(|fields| fields.decides(from, to)) {
                pairs.push(pair);
            }
        }
    }
    pairs
}

/// What a permit names of each segment that it meets, in one family.
struct Fields<'a> {
    filter: &'a FilterPlan,
    /// Number of its line.
    own: usize,
    /// By segment, where it is not empty.
    sources: FxHashMap<SegmentId, IntervalSet>,
    destinations: FxHashMap<SegmentId, IntervalSet>,
    services: ClassSet,
}

impl<'a> Fields<'a> {
    fn new(view: &CheckContext<'a>, permit: &PermitRule<'_>, family: Family) -> Option<Self> {
        let plan = view.network.plan(family);
        let device = plan.device(plan.router_index(permit.gateway.id));
        let filter = device.filter.as_ref()?;
        let own = filter.rules.binary_search(&permit.number).ok()?;
        let line = &filter.lines.lines()[own];
        let within = |met: &[ReachedSegment], field: &Option<IntervalSet>| {
            let sets = met.iter().map(|met| {
                let addresses = &plan.segment(met.segment).addresses;
                let set = match field {
                    Some(field) => addresses.intersection(field),
                    None => addresses.clone(),
                };
                (met.segment, set)
            });
            sets.filter(|(_, set)| !set.is_empty()).collect()
        };
        Some(Self {
            filter,
            own,
            sources: within(&permit.senders, &line.source),
            destinations: within(&permit.targets, &line.destination),
            services: match &line.services {
                Some(services) => services.as_ref().clone(),
                None => view.network.classes.all(),
            },
        })
    }

    /// Whether earlier rules leave it anything between two segments.
    fn decides(&self, from: ReachedSegment, to: ReachedSegment) -> bool {
        let (Some(source), Some(destination)) = (
            self.sources.get(&from.segment),
            self.destinations.get(&to.segment),
        ) else {
            return false;
        };
        let start = Region {
            source: source.clone(),
            destination: destination.clone(),
            services: self.services.clone(),
        };
        let filter = self.filter;
        let mut candidates = filter.between(from.interface, to.interface);
        candidates.and_assign(&filter.lines.from_source(&start.source));
        candidates.and_assign(&filter.lines.to_destination(&start.destination));
        let mut decides = false;
        let walked = filter
            .lines
            .walk(&candidates, start, OPEN_PIECES, &mut |line, _| {
                decides |= line == Some(self.own);
            });
        decides || walked.is_err()
    }
}
