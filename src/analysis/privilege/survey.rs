//! Goes over every pair: what is permitted, by which rules, and what of it is used.

use num_bigint::BigUint;
use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_forwarding::{Network, Sender, class_of};
use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::{ClassSet, Interval, IntervalSet, Region};

use super::super::deciders::DecidedBy;
use super::super::intent::{Ground, Passed, Scope, judge_needs, need_scope, passing};
use super::super::matrix::messages;
use super::super::replies::left_over;
use super::found::{NeedUse, Observed, PairUse, Privilege, follow};
use super::gathered::Gathered;
use super::measure::{Axis, Projection, triples};
use super::part::{decisions, seen};

/// Impossible flows that are followed.
const MOST_FOLLOWED: usize = 100;

/// Goes over every pair of a network that tells the services of the observed flows apart
/// ([`Network::asking`]). Cost: about that of a matrix, and for each observed flow the permitted parts that start in
/// its segment.
#[must_use]
pub fn privilege(network: &Network<'_>, observed: &[Observed]) -> Privilege {
    let mut survey = Survey::new(network, observed);
    for family in Family::ALL {
        survey.family(family);
    }
    survey.finish()
}

/// An observed flow as a point.
#[derive(Clone, Copy)]
struct Point {
    number: usize,
    source: u128,
    destination: u128,
    class: usize,
}

struct Survey<'n> {
    network: &'n Network<'n>,
    observed: &'n [Observed],
    rules: FxHashMap<DecidedBy, Gathered>,
    pairs: Vec<PairUse>,
    explained: Vec<bool>,
    inside: Vec<bool>,
    need_hits: Vec<usize>,
    complete: bool,
    /// Sizes of sets of services: many parts have the same.
    sizes: FxHashMap<ClassSet, BigUint>,
    /// Messages, which tell of what people use and are not used by themselves.
    messages: ClassSet,
}

impl<'n> Survey<'n> {
    fn new(network: &'n Network<'n>, observed: &'n [Observed]) -> Self {
        Self {
            network,
            observed,
            rules: FxHashMap::default(),
            pairs: Vec::new(),
            explained: vec![false; observed.len()],
            inside: vec![false; observed.len()],
            need_hits: vec![0; network.site.needs.len()],
            complete: true,
            sizes: FxHashMap::default(),
            messages: messages(network),
        }
    }

    fn family(&mut self, family: Family) {
        let ground = Ground::new(self.network, family);
        let scopes: Vec<Scope> = self
            .network
            .site
            .needs
            .iter()
            .map(|need| need_scope(&ground, need))
            .collect();
        let points = self.points(&ground);
        for from in self.network.site.segment_ids() {
            for to in 0..ground.columns.len() {
                if to != from.0 {
                    self.pair(&ground, &scopes, (from, to), &points[from.0]);
                }
            }
        }
    }

    /// Observed flows of a family by the segment that they start in.
    fn points(&mut self, ground: &Ground<'_>) -> Vec<Vec<Point>> {
        let family = ground.family();
        let segments = &ground.plan.segments;
        let mut points: Vec<Vec<Point>> = vec![Vec::new(); segments.len()];
        for (number, observed) in self.observed.iter().enumerate() {
            if Family::of(observed.source) != family {
                continue;
            }
            let source = Family::value(observed.source);
            let destination = Family::value(observed.destination);
            let class = class_of(self.network, &observed.packet());
            for (at, segment) in segments.iter().enumerate() {
                if !segment.addresses.contains(source) {
                    continue;
                }
                if segment.on_link.contains(destination)
                    && !ground.plan.routers_own.contains(destination)
                {
                    self.inside[number] = true;
                }
                points[at].push(Point {
                    number,
                    source,
                    destination,
                    class,
                });
            }
        }
        points
    }

    fn pair(
        &mut self,
        ground: &Ground<'_>,
        scopes: &[Scope],
        (from, to): (SegmentId, usize),
        points: &[Point],
    ) {
        let everything = Scope {
            from: vec![from],
            to: vec![to],
            source: None,
            destination: None,
            services: None,
        };
        let sender = Sender::Segment(from);
        let mut parts: Vec<Passed> = Vec::new();
        let walked = passing(ground, &everything, sender, to, None, &mut |part| {
            parts.push(part);
        });
        self.complete &= walked.is_complete();
        if parts.is_empty() {
            return;
        }
        let needed = self.needed(ground, scopes, (from, to));
        let mut total = Axis::default();
        let parts: Vec<_> = parts.iter().flat_map(|part| self.parted(part)).collect();
        for (part, counts) in parts {
            let used = self.part(ground, &part, &needed, points);
            if counts {
                total.permitted += &used.permitted;
                total.used += &used.used;
            }
        }
        if total.permitted == BigUint::ZERO {
            return;
        }
        self.pairs.push(PairUse {
            from,
            to: ground.columns[to].party,
            family: ground.family(),
            packets: total,
        });
    }

    /// A part without the messages of ICMP and ICMPv6, and those: only the former counts for a pair.
    fn parted(&self, part: &Passed) -> Vec<(Passed, bool)> {
        let of = |set: &ClassSet, counts: bool| {
            let one = if counts {
                set.difference(&self.messages)
            } else {
                set.intersection(&self.messages)
            };
            (!one.is_empty()).then_some(one)
        };
        let parts = [true, false].into_iter().filter_map(|counts| {
            let mut part = part.clone();
            part.sent.services = of(&part.sent.services, counts)?;
            Some((part, counts))
        });
        parts.collect()
    }

    /// What needs take of a pair, as it is sent, with the number of the need.
    fn needed(
        &mut self,
        ground: &Ground<'_>,
        scopes: &[Scope],
        (from, to): (SegmentId, usize),
    ) -> Vec<(usize, Region)> {
        let mut needed = Vec::new();
        for (number, scope) in scopes.iter().enumerate() {
            if !scope.from.contains(&from) || !scope.to.contains(&to) {
                continue;
            }
            let limit = scope.services.as_ref();
            let mut collect = |passed: Passed| {
                let parts = passed.named(ground, limit).into_iter();
                needed.extend(parts.map(|part| (number, part)));
            };
            let sender = Sender::Segment(from);
            let walked = passing(ground, scope, sender, to, limit, &mut collect);
            self.complete &= walked.is_complete();
        }
        needed
    }

    /// Measures one permitted part and tells its rules.
    fn part(
        &mut self,
        ground: &Ground<'_>,
        part: &Passed,
        needed: &[(usize, Region)],
        points: &[Point],
    ) -> Axis {
        let mut used: Vec<Region> = needed
            .iter()
            .map(|(_, region)| region.intersection(&part.sent))
            .filter(|both| !both.is_empty())
            .collect();
        let left = left_over(part.sent.clone(), &used);
        let permitted = self.packets(&part.sent);
        let mut excess: BigUint = left.iter().map(|piece| self.packets(piece)).sum();
        let mut seen_points: FxHashSet<(u128, u128, usize)> = FxHashSet::default();
        let mut by_class: FxHashMap<usize, (Vec<u128>, Vec<u128>)> = FxHashMap::default();
        let mut count = 0;
        for point in points {
            let Point {
                source,
                destination,
                class,
                number,
            } = *point;
            if !part.sent.contains(source, destination, class) {
                continue;
            }
            count += 1;
            self.explained[number] = true;
            for need in distinct(needed, source, destination, class) {
                self.need_hits[need] += 1;
            }
            let free = left
                .iter()
                .any(|piece| piece.contains(source, destination, class));
            if free && seen_points.insert((source, destination, class)) {
                excess -= self.class_size(class);
                let (sources, destinations) = by_class.entry(class).or_default();
                sources.push(source);
                destinations.push(destination);
            }
        }
        let mut classes: Vec<_> = by_class.into_iter().collect();
        classes.sort_by_key(|(class, _)| *class);
        used.extend(classes.into_iter().map(|(class, (sources, destinations))| {
            let mut services = self.network.classes.none();
            services.insert(class);
            Region {
                source: set_of(sources),
                destination: set_of(destinations),
                services,
            }
        }));
        let axis = Axis {
            used: &permitted - &excess,
            permitted,
        };
        self.tell(ground, part, (&used, &axis, count));
        axis
    }

    /// Packets of a region, as [`super::Measure::packets`] counts them.
    fn packets(&mut self, region: &Region) -> BigUint {
        region.source.size() * region.destination.size() * self.triples(&region.services)
    }

    fn triples(&mut self, services: &ClassSet) -> &BigUint {
        let network = self.network;
        let sizes = self.sizes.entry(services.clone());
        sizes.or_insert_with(|| triples(network, services))
    }

    fn class_size(&mut self, class: usize) -> &BigUint {
        let mut one = self.network.classes.none();
        one.insert(class);
        self.triples(&one)
    }

    fn tell(
        &mut self,
        ground: &Ground<'_>,
        part: &Passed,
        (used, axis, observed): (&[Region], &Axis, usize),
    ) {
        let family = ground.family();
        let network = self.network;
        for decision in decisions(ground, part) {
            let rule = self
                .rules
                .entry(decision.decider)
                .or_insert_with(|| Gathered::new(network));
            rule.sent[family].add(&part.sent);
            rule.packets.permitted += &axis.permitted;
            rule.packets.used += &axis.used;
            rule.observed += observed;
            let interface_pair = rule.permitted.entry(decision.interface_pair);
            let projections = interface_pair.or_insert_with(|| Projection::none(network));
            projections[family].add(&seen(ground, part, &part.sent));
            for region in used {
                rule.used[family].add(region);
            }
            rule.add_pieces(ground, part, &decision, used);
        }
    }

    fn finish(mut self) -> Privilege {
        let mut rules: Vec<(DecidedBy, Gathered)> = self.rules.drain().collect();
        rules.sort_by_key(|((router, rule), _)| (*router, rule.unwrap_or(usize::MAX)));
        let rules = rules
            .into_iter()
            .map(|(decider, gathered)| gathered.finish(self.network, decider))
            .collect();
        let needs = judge_needs(self.network)
            .into_iter()
            .zip(&self.need_hits)
            .enumerate()
            .map(|(need, (judged, &observed))| NeedUse {
                need,
                status: judged.status,
                observed,
            });
        let needs = needs.collect();
        let lost: Vec<usize> = (0..self.observed.len())
            .filter(|&number| !self.explained[number] && !self.inside[number])
            .collect();
        let followed = lost.iter().take(MOST_FOLLOWED);
        Privilege {
            rules,
            needs,
            observed: self.observed.len(),
            impossible: followed
                .map(|&number| follow(self.network, self.observed[number]))
                .collect(),
            impossible_count: lost.len(),
            inside: self.inside.iter().filter(|inside| **inside).count(),
            pairs: self.pairs,
            complete: self.complete,
        }
    }
}

/// Needs that hold a packet, each once.
fn distinct(
    needed: &[(usize, Region)],
    source: u128,
    destination: u128,
    class: usize,
) -> Vec<usize> {
    let mut needs: Vec<usize> = needed
        .iter()
        .filter(|(_, region)| region.contains(source, destination, class))
        .map(|(need, _)| *need)
        .collect();
    needs.dedup();
    needs
}

fn set_of(values: Vec<u128>) -> IntervalSet {
    values.into_iter().map(Interval::point).collect()
}
