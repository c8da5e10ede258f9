//! Rules that bound what is used: one around several used parts.

use std::cmp::{Ordering, Reverse};
use std::collections::{BTreeSet, BinaryHeap};

use num_bigint::BigUint;
use rustc_hash::FxHashMap;

use boundwalk_forwarding::Network;
use boundwalk_model::PerFamily;
use boundwalk_packet::ClassSet;

use super::found::Piece;
use super::measure::{Projection, all_services, triples, widen};
use super::part::InterfacePair;

/// Used parts that are joined before anything else is tried.
pub(super) const MOST_PIECES: usize = 80;
/// Groups of which any two are weighed against each other.
const MOST_GROUPS: usize = 500;

/// A group of used parts, to become one rule: what it names is the product of its fields.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct BoundingRule {
    pub(super) interface_pair: Vec<InterfacePair>,
    pub(super) projections: PerFamily<Projection>,
}

pub(super) fn bounding_rules(network: &Network<'_>, pieces: &[Piece]) -> Vec<BoundingRule> {
    let mut bounding_rules: Vec<BoundingRule> = Vec::new();
    for piece in pieces {
        let mut projections = Projection::none(network);
        projections[piece.family].add(&piece.packets);
        let bounding_rule = BoundingRule {
            interface_pair: vec![piece.interface_pair],
            projections,
        };
        // Past the bound what has the same pairs of interfaces is joined at once.
        let same = bounding_rules
            .iter_mut()
            .find(|known| known.interface_pair == bounding_rule.interface_pair);
        match same {
            Some(known) if bounds_full(pieces) => known.take(&bounding_rule),
            _ => bounding_rules.push(bounding_rule),
        }
    }
    bounding_rules
}

pub(super) fn bounds_full(pieces: &[Piece]) -> bool {
    pieces.len() > MOST_PIECES
}

impl BoundingRule {
    fn take(&mut self, other: &Self) {
        for interface_pair in &other.interface_pair {
            if !self.interface_pair.contains(interface_pair) {
                self.interface_pair.push(*interface_pair);
            }
        }
        widen(&mut self.projections, &other.projections);
    }
}

/// Sizes of what groups name. Many groups name the same services: those are sized once.
struct Sizes<'n> {
    network: &'n Network<'n>,
    services: FxHashMap<ClassSet, BigUint>,
}

impl Sizes<'_> {
    /// Packets that the rule of a group names, over all pairs of interfaces that it names.
    fn of(&mut self, group: &BoundingRule) -> BigUint {
        let network = self.network;
        let services = all_services(&group.projections);
        let services = self
            .services
            .entry(services)
            .or_insert_with_key(|services| triples(network, services));
        let addresses: BigUint = group
            .projections
            .as_slice()
            .iter()
            .map(|projection| projection.source.size() * projection.destination.size())
            .sum();
        let from: BTreeSet<_> = group.interface_pair.iter().map(|pair| pair.from).collect();
        let to: BTreeSet<_> = group.interface_pair.iter().map(|pair| pair.to).collect();
        addresses * &*services * BigUint::from(from.len() * to.len())
    }
}

/// How many more packets two groups name when joined than apart; their numbers; their versions when this was computed.
type Growth = Reverse<(BigUint, [usize; 2], [usize; 2])>;

/// Groups that are joined two by two.
struct Groups<'n> {
    sizes: Sizes<'n>,
    /// Each with its size; `None`: it was joined to another.
    all: Vec<Option<(BoundingRule, BigUint)>>,
    /// How often each group was joined with another: older growths of it no longer hold.
    versions: Vec<usize>,
    growths: BinaryHeap<Growth>,
}

impl Groups<'_> {
    /// Notes how much two groups grow when they are joined.
    fn weigh(&mut self, one: usize, other: usize) {
        let (Some((first, first_size)), Some((second, second_size))) =
            (&self.all[one], &self.all[other])
        else {
            return;
        };
        let mut both = first.clone();
        both.take(second);
        let joined = self.sizes.of(&both);
        let apart = first_size + second_size;
        let growth = joined.clone() - apart.min(joined);
        let versions = [self.versions[one], self.versions[other]];
        self.growths.push(Reverse((growth, [one, other], versions)));
    }

    /// The two groups whose product grows least, and by how much.
    fn least(&mut self) -> Option<(BigUint, [usize; 2])> {
        while let Some(Reverse((growth, pair, versions))) = self.growths.pop() {
            let there = pair.iter().all(|&at| self.all[at].is_some());
            if there && pair.map(|at| self.versions[at]) == versions {
                return Some((growth, pair));
            }
        }
        None
    }

    /// Joins two groups.
    fn join(&mut self, [one, other]: [usize; 2]) {
        let (Some((mut first, _)), Some((second, _))) =
            (self.all[one].take(), self.all[other].take())
        else {
            return;
        };
        first.take(&second);
        let size = self.sizes.of(&first);
        self.all[one] = Some((first, size));
        self.versions[one] += 1;
        for at in 0..self.all.len() {
            match at.cmp(&one) {
                Ordering::Less => self.weigh(at, one),
                Ordering::Greater => self.weigh(one, at),
                Ordering::Equal => {}
            }
        }
    }
}

/// Joins groups until there are at most so many: each time the two whose product grows least, those that grow by nothing
/// in any case. Of `n` groups O(n² log n).
pub(super) fn join(
    network: &Network<'_>,
    bounding_rules: Vec<BoundingRule>,
    most: usize,
) -> Vec<BoundingRule> {
    let mut sizes = Sizes {
        network,
        services: FxHashMap::default(),
    };
    let all: Vec<_> = bounded(bounding_rules)
        .into_iter()
        .map(|group| {
            let size = sizes.of(&group);
            Some((group, size))
        })
        .collect();
    let mut left = all.len();
    let mut groups = Groups {
        sizes,
        versions: vec![0; all.len()],
        growths: BinaryHeap::new(),
        all,
    };
    for one in 0..left {
        (one + 1..left).for_each(|other| groups.weigh(one, other));
    }
    while let Some((growth, pair)) = groups.least() {
        if growth != BigUint::ZERO && left <= most {
            break;
        }
        groups.join(pair);
        left -= 1;
    }
    groups
        .all
        .into_iter()
        .flatten()
        .map(|(group, _)| group)
        .collect()
}

/// At most [`MOST_GROUPS`]: if there are more, those from the same segment are joined, and if that is not enough, all.
fn bounded(groups: Vec<BoundingRule>) -> Vec<BoundingRule> {
    let from = |group: &BoundingRule| group.interface_pair.first().map(|pair| pair.from);
    let groups = at_most(groups, |one, other| from(one) == from(other));
    at_most(groups, |_, _| true)
}

/// Joins what is alike where there are too many groups.
fn at_most(
    groups: Vec<BoundingRule>,
    alike: impl Fn(&BoundingRule, &BoundingRule) -> bool,
) -> Vec<BoundingRule> {
    if groups.len() <= MOST_GROUPS {
        return groups;
    }
    let mut joined: Vec<BoundingRule> = Vec::new();
    for group in groups {
        match joined.iter_mut().find(|known| alike(known, &group)) {
            Some(known) => known.take(&group),
            None => joined.push(group),
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use boundwalk_forwarding::Network;
    use boundwalk_model::{Date, Family, SegmentId};
    use boundwalk_packet::IntervalSet;

    use super::*;

    fn group(network: &Network<'_>, from: usize, source: u128, services: &[usize]) -> BoundingRule {
        let mut projections = Projection::none(network);
        let own = &mut projections[Family::V4];
        own.source = IntervalSet::range(source, source + 3);
        own.destination = IntervalSet::point(source % 5);
        services
            .iter()
            .for_each(|&class| own.services.insert(class));
        BoundingRule {
            interface_pair: vec![InterfacePair {
                from: SegmentId(from),
                to: None,
            }],
            projections,
        }
    }

    /// From the definition: all pairs are weighed anew in each round.
    fn joined_by_rounds(
        network: &Network<'_>,
        mut groups: Vec<BoundingRule>,
        most: usize,
    ) -> Vec<BoundingRule> {
        let size = |group: &BoundingRule| {
            let services = group.projections[Family::V4].services.clone();
            let own = &group.projections[Family::V4];
            let mut from: Vec<SegmentId> =
                group.interface_pair.iter().map(|pair| pair.from).collect();
            from.sort_unstable();
            from.dedup();
            own.source.size() * own.destination.size() * triples(network, &services) * from.len()
        };
        loop {
            let pairs = (0..groups.len())
                .flat_map(|one| (one + 1..groups.len()).map(move |two| (one, two)));
            let growth = |&(one, two): &(usize, usize)| {
                let mut both = groups[one].clone();
                both.take(&groups[two]);
                let apart = size(&groups[one]) + size(&groups[two]);
                size(&both) - apart.min(size(&both))
            };
            let Some(best) = pairs.min_by_key(growth) else {
                return groups;
            };
            if growth(&best) != BigUint::ZERO && groups.len() <= most {
                return groups;
            }
            let taken = groups.remove(best.1);
            groups[best.0].take(&taken);
        }
    }

    #[test]
    fn groups_are_joined_where_they_grow_least() {
        let text = "[zones.a]\ntrust = 5\n[segments.s]\nzone = \"a\"\nprefixes = [\"10.44.10.0/24\"]\n\
            [services]\none = [\"tcp/1-9\"]\ntwo = [\"tcp/5-20\", \"udp/7\"]\n\
            [[needs]]\nfrom = \"s\"\nto = \"s\"\nservices = [\"one\", \"two\"]\n";
        let site = boundwalk_load::load_text("site.toml", text)
            .site
            .expect("it loads");
        let network = Network::new(&site, Date::constant(2026, 11, 29));
        let classes = network.classes.len();
        assert!(classes > 3, "the services tell classes apart");
        let mut joins = 0;
        for seed in 0..40usize {
            let draw = |at: usize, of: usize| (seed * 31 + at * 17 + seed * at * 7) % of;
            let groups: Vec<BoundingRule> = (0..3 + seed % 9)
                .map(|at| {
                    let services = [draw(at, classes), draw(at + 3, classes)];
                    group(
                        &network,
                        draw(at + 1, 3),
                        draw(at + 2, 12) as u128,
                        &services,
                    )
                })
                .collect();
            for most in 1..4 {
                let found = join(&network, groups.clone(), most);
                joins += groups.len() - found.len();
                assert_eq!(found, joined_by_rounds(&network, groups.clone(), most));
            }
        }
        assert!(joins > 100, "{joins}");
        // Past the bound those from one segment are joined first, then all.
        let many = |segments: usize| {
            let group = |at: usize| group(&network, at % segments, at as u128, &[0]);
            bounded((0..=MOST_GROUPS).map(group).collect()).len()
        };
        assert_eq!([many(7), many(MOST_GROUPS + 1)], [7, 1]);
    }
}
