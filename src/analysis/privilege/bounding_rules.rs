//! Rules that bound what is used: one around several used parts.

use num_bigint::BigUint;

use boundwalk_forwarding::Network;
use boundwalk_model::PerFamily;

use super::found::Piece;
use super::measure::{Projection, all_services, triples, widen};
use super::part::InterfacePair;

/// Used parts that are joined before anything else is tried.
pub(super) const MOST_PIECES: usize = 80;

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

    /// Packets that a rule of it names, over all pairs of interfaces that it names.
    fn size(&self, network: &Network<'_>) -> BigUint {
        let services = all_services(&self.projections);
        let addresses = self.projections.as_slice().iter();
        let addresses =
            addresses.map(|projection| projection.source.size() * projection.destination.size());
        let mut interface_pair = [self.interface_pair.clone(), self.interface_pair.clone()];
        interface_pair[0].sort_by_key(|interface_pair| interface_pair.from);
        interface_pair[0].dedup_by_key(|interface_pair| interface_pair.from);
        interface_pair[1].sort_by_key(|interface_pair| interface_pair.to);
        interface_pair[1].dedup_by_key(|interface_pair| interface_pair.to);
        let interface_pair =
            BigUint::from(interface_pair[0].len()) * BigUint::from(interface_pair[1].len());
        addresses.sum::<BigUint>() * triples(network, &services) * interface_pair
    }
}

/// Joins groups until there are at most so many: each time the two whose product grows least.
pub(super) fn join(
    network: &Network<'_>,
    mut bounding_rules: Vec<BoundingRule>,
    most: usize,
) -> Vec<BoundingRule> {
    loop {
        let mut best: Option<(bool, BigUint, usize, usize)> = None;
        for one in 0..bounding_rules.len() {
            for other in one + 1..bounding_rules.len() {
                let mut both = bounding_rules[one].clone();
                both.take(&bounding_rules[other]);
                let apart = bounding_rules[one].size(network) + bounding_rules[other].size(network);
                let joined = both.size(network);
                let growth = joined.clone() - apart.clone().min(joined);
                let free = growth == BigUint::ZERO;
                if best.as_ref().is_none_or(|(_, least, ..)| growth < *least) {
                    best = Some((free, growth, one, other));
                }
            }
        }
        match best {
            Some((free, _, one, other)) if free || bounding_rules.len() > most => {
                let taken = bounding_rules.remove(other);
                bounding_rules[one].take(&taken);
            }
            _ => return bounding_rules,
        }
    }
}
