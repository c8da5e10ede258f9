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

/// Sizes of what groups name. Many have the same services.
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

/// How many packets the product of two groups has more than both: then the groups by number, and how often each had
/// taken another one in.
type Growth = Reverse<(BigUint, [usize; 2], [usize; 2])>;

/// Groups that are joined two by two.
struct Groups<'n> {
    sizes: Sizes<'n>,
    /// Each with its size; `None`: another one has taken it in.
    all: Vec<Option<(BoundingRule, BigUint)>>,
    takings: Vec<usize>,
    growths: BinaryHeap<Growth>,
}

impl Groups<'_> {
    /// Notes what it costs to join two groups.
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
        let takings = [self.takings[one], self.takings[other]];
        self.growths.push(Reverse((growth, [one, other], takings)));
    }

    /// The two groups whose product grows least, and by how much.
    fn least(&mut self) -> Option<(BigUint, [usize; 2])> {
        while let Some(Reverse((growth, pair, takings))) = self.growths.pop() {
            let there = pair.iter().all(|&at| self.all[at].is_some());
            if there && pair.map(|at| self.takings[at]) == takings {
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
        self.takings[one] += 1;
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
        takings: vec![0; all.len()],
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

/// At most [`MOST_GROUPS`]: past them what comes from the same segment is one, and past them still everything.
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
