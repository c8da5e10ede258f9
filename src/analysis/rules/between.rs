//! What a rule decides between some segments and others.

use std::collections::BTreeMap;

use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::{Coverage, Field, Interval, IntervalSet};

use super::judge::Judge;
use super::ranks::Ranks;
use super::space::RuleSpace;

/// Asks what the rules of a gateway decide between segments.
#[derive(Debug)]
pub struct BetweenSegments<'s, 'n> {
    judge: Judge<'s, 'n>,
    /// The addresses of each segment as numbers of sources.
    sources: Vec<IntervalSet>,
    /// The same as numbers of destinations.
    destinations: Vec<IntervalSet>,
}

/// The packets of some segments, by where they arrive at the gateway.
#[derive(Clone, Debug, Default)]
pub struct SegmentSources(BTreeMap<u128, IntervalSet>);

/// The addresses of some segments.
#[derive(Clone, Debug, Default)]
pub struct SegmentDestinations(IntervalSet);

impl<'s, 'n> BetweenSegments<'s, 'n> {
    /// Numbers the addresses of all segments.
    pub fn new(space: &'s RuleSpace<'n>) -> Self {
        let of = |ranks: &Ranks| {
            let segments = space.network.site.segment_ids();
            segments
                .map(|segment| addresses(space, ranks, segment))
                .collect()
        };
        Self {
            judge: Judge::new(space, space.effort()),
            sources: of(&space.universe.sources),
            destinations: of(&space.universe.destinations),
        }
    }

    /// What devices of segments send, each with the number of the interface by which it arrives.
    pub fn sources(&self, from: impl IntoIterator<Item = (usize, SegmentId)>) -> SegmentSources {
        let mut parts: BTreeMap<u128, Vec<Interval>> = BTreeMap::new();
        for (interface, segment) in from {
            let entry = self.judge.space.universe.entry(interface);
            let addresses = self.sources[segment.0].intervals();
            parts.entry(entry).or_default().extend_from_slice(addresses);
        }
        let joined = |(entry, parts): (u128, Vec<Interval>)| (entry, parts.into_iter().collect());
        SegmentSources(parts.into_iter().map(joined).collect())
    }

    /// What goes to segments.
    pub fn destinations(&self, to: impl IntoIterator<Item = SegmentId>) -> SegmentDestinations {
        let sets = to.into_iter().map(|segment| &self.destinations[segment.0]);
        SegmentDestinations(sets.collect())
    }

    /// Whether a rule decides some packet from these to those; `None`: a limit was met. The cost is that of asking
    /// whether a rule is dead.
    pub fn decides(
        &self,
        rule: usize,
        from: &SegmentSources,
        to: &SegmentDestinations,
    ) -> Option<bool> {
        let space = self.judge.space;
        let own = space.of_rule(rule);
        let mut unknown = false;
        for packets in &space.boxes[own.clone()] {
            let destinations = packets.field(Field::Destination).intersection(&to.0);
            if destinations.is_empty() {
                continue;
            }
            for (&entry, sources) in &from.0 {
                let sources = packets.field(Field::Source).intersection(sources);
                if sources.is_empty() || !packets.field(Field::Ingress).contains(entry) {
                    continue;
                }
                let part = space.universe.product(
                    IntervalSet::point(entry),
                    sources,
                    destinations.clone(),
                    packets.field(Field::DestinationPort).clone(),
                );
                match self.judge.cover(&part, own.start, |_| true) {
                    Coverage::Witness(_) => return Some(true),
                    Coverage::Covered { .. } => {}
                    Coverage::Unknown { .. } => unknown = true,
                }
            }
        }
        (!unknown).then_some(false)
    }
}

fn addresses(space: &RuleSpace<'_>, ranks: &Ranks, segment: SegmentId) -> IntervalSet {
    let sets = Family::ALL.map(|family| {
        let addresses = &space.network.plan(family).segment(segment).addresses;
        ranks.of_addresses(&space.universe.pieces, family, addresses)
    });
    sets.iter().collect()
}
