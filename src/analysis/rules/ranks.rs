//! Addresses as short numbers, in an order that keeps what belongs together in a row.
//!
//! The addresses of both families are cut wherever a rule, a route or a translation tells neighbours apart. The
//! pieces are numbered by the interface that they lie behind, so that a segment, a zone and most lists of hosts
//! are a single run of numbers. Sets of addresses then are short, whatever they looked like before.

use rustc_hash::FxHashMap;

use boundwalk_model::{Family, PerFamily};
use boundwalk_packet::{Interval, IntervalSet};

/// Addresses that nothing looked at tells apart.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Piece {
    /// Their family.
    pub(super) family: Family,
    /// The addresses.
    pub(super) addresses: Interval,
    /// Which of the ways that packets with these addresses may take: each has a piece of its own.
    pub(super) copy: usize,
}

/// All addresses of both families in pieces, IPv4 first, ascending within a family.
#[derive(Debug)]
pub(super) struct Pieces {
    pieces: Vec<Piece>,
    /// Where the pieces of IPv6 begin.
    second: usize,
}

impl Pieces {
    /// Cuts the addresses at both ends of every interval of the given sets, IPv4 and IPv6. O(n log n).
    pub(super) fn new(sets: PerFamily<Vec<Interval>>) -> Self {
        let mut pieces = Vec::new();
        let mut second = 0;
        for family in Family::ALL {
            let mut starts: Vec<u128> = vec![0];
            for interval in &sets[family] {
                starts.push(interval.low());
                starts.extend(interval.high().checked_add(1));
            }
            starts.retain(|&start| start <= family.top());
            starts.sort_unstable();
            starts.dedup();
            let ends = starts
                .iter()
                .skip(1)
                .map(|&next| next - 1)
                .chain([family.top()]);
            if family == Family::V6 {
                second = pieces.len();
            }
            pieces.extend(starts.iter().zip(ends).map(|(&low, high)| Piece {
                family,
                addresses: Interval::new(low, high).expect("starts ascend"),
                copy: 0,
            }));
        }
        Self { pieces, second }
    }

    /// The same with each piece as often as `count` says, at least once.
    pub(super) fn repeated(self, count: impl Fn(&Piece) -> usize) -> Self {
        let mut second = 0;
        let mut pieces = Vec::with_capacity(self.pieces.len());
        for (at, piece) in self.pieces.into_iter().enumerate() {
            if at == self.second {
                second = pieces.len();
            }
            let copies = 0..count(&piece).max(1);
            pieces.extend(copies.map(|copy| Piece { copy, ..piece }));
        }
        Self { pieces, second }
    }

    pub(super) fn all(&self) -> &[Piece] {
        &self.pieces
    }

    /// The pieces of an interval of addresses, which must be a union of pieces; O(log n).
    fn places(&self, family: Family, addresses: Interval) -> std::ops::Range<usize> {
        let (base, own) = match family {
            Family::V4 => (0, &self.pieces[..self.second]),
            Family::V6 => (self.second, &self.pieces[self.second..]),
        };
        let first = own.partition_point(|piece| piece.addresses.high() < addresses.low());
        let end = own.partition_point(|piece| piece.addresses.low() <= addresses.high());
        base + first..base + end
    }
}

/// Pieces numbered in an order of their own.
#[derive(Debug)]
pub(super) struct Ranks {
    /// Rank of each piece.
    ranks: Vec<u32>,
    /// Piece of each rank.
    pieces: Vec<u32>,
    /// For each piece the first one after it whose rank is not the next: the end of its run.
    run_ends: Vec<u32>,
}

impl Ranks {
    /// Numbers pieces by a key; pieces of equal keys stay in order. O(n log n).
    pub(super) fn new<K: Ord>(pieces: &Pieces, key: impl Fn(usize, &Piece) -> K) -> Self {
        let count = u32::try_from(pieces.all().len()).expect("fewer than 2^32 pieces");
        let mut keyed: Vec<(K, u32)> = (0..count)
            .map(|at| (key(at as usize, &pieces.all()[at as usize]), at))
            .collect();
        keyed.sort_unstable();
        let order: Vec<u32> = keyed.into_iter().map(|(_, piece)| piece).collect();
        let mut ranks = vec![0; order.len()];
        for (rank, &piece) in (0u32..).zip(&order) {
            ranks[piece as usize] = rank;
        }
        let mut run_ends = vec![count; order.len()];
        for at in (0..order.len().saturating_sub(1)).rev() {
            run_ends[at] = if ranks[at + 1] == ranks[at] + 1 {
                run_ends[at + 1]
            } else {
                at as u32 + 1
            };
        }
        Self {
            ranks,
            pieces: order,
            run_ends,
        }
    }

    /// How many ranks there are.
    pub(super) fn len(&self) -> usize {
        self.pieces.len()
    }

    /// The piece of a rank.
    pub(super) fn piece(&self, rank: u128) -> usize {
        self.pieces[rank as usize] as usize
    }

    /// The ranks of the pieces for which a condition holds.
    pub(super) fn of(&self, wanted: impl Fn(usize) -> bool) -> IntervalSet {
        self.pieces
            .iter()
            .enumerate()
            .filter(|(_, piece)| wanted(**piece as usize))
            .map(|(rank, _)| Interval::point(rank as u128))
            .collect()
    }

    /// The ranks of a set of addresses, which must be a union of pieces. One step for each run.
    pub(super) fn of_addresses(
        &self,
        pieces: &Pieces,
        family: Family,
        set: &IntervalSet,
    ) -> IntervalSet {
        let mut runs = Vec::new();
        for interval in set.intervals() {
            let std::ops::Range { start: mut at, end } = pieces.places(family, *interval);
            while at < end {
                let next = (self.run_ends[at] as usize).min(end);
                let low = u128::from(self.ranks[at]);
                let run = Interval::new(low, low + (next - at) as u128 - 1);
                runs.push(run.expect("a run has a piece"));
                at = next;
            }
        }
        runs.into_iter().collect()
    }
}

/// Sets of addresses turned into ranks, each only once.
pub(super) struct Known<'a> {
    pieces: &'a Pieces,
    ranks: &'a Ranks,
    known: PerFamily<FxHashMap<&'a IntervalSet, IntervalSet>>,
    everything: PerFamily<Option<IntervalSet>>,
}

impl<'a> Known<'a> {
    pub(super) fn new(pieces: &'a Pieces, ranks: &'a Ranks) -> Self {
        Self {
            pieces,
            ranks,
            known: Default::default(),
            everything: PerFamily::default(),
        }
    }

    /// The ranks of all addresses of a family.
    pub(super) fn all(&mut self, family: Family) -> &IntervalSet {
        let (pieces, ranks) = (self.pieces, self.ranks);
        self.everything[family]
            .get_or_insert_with(|| ranks.of_addresses(pieces, family, &family.full()))
    }

    /// The ranks of a set of addresses of a family, which must be a union of pieces.
    pub(super) fn of(&mut self, family: Family, set: &'a IntervalSet) -> &IntervalSet {
        let (pieces, ranks) = (self.pieces, self.ranks);
        let known = &mut self.known[family];
        known
            .entry(set)
            .or_insert_with(|| ranks.of_addresses(pieces, family, set))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranks_follow_the_key_and_sets_keep_their_addresses() {
        let cuts = [10, 20, 30, 40].map(|low| Interval::new(low, low + 4).expect("ordered"));
        let pieces = Pieces::new(PerFamily::new(|family| match family {
            Family::V4 => cuts.to_vec(),
            Family::V6 => Vec::new(),
        }));
        assert_eq!(pieces.all().len(), 10);
        // The pieces at 10 and 30 first: they become neighbours.
        let behind = |piece: &Piece| ![10, 30].contains(&piece.addresses.low());
        let ranks = Ranks::new(&pieces, |_, piece| (piece.family, behind(piece)));
        let both: IntervalSet = [cuts[0], cuts[2]].into_iter().collect();
        let set = ranks.of_addresses(&pieces, Family::V4, &both);
        assert_eq!(set, IntervalSet::range(0, 1));
        let all = ranks.of_addresses(&pieces, Family::V4, &Family::V4.full());
        assert_eq!(all, IntervalSet::range(0, 8));
        for rank in 0..ranks.len() as u128 {
            let piece = pieces.all()[ranks.piece(rank)];
            let one = IntervalSet::from(piece.addresses);
            let back = ranks.of_addresses(&pieces, piece.family, &one);
            assert_eq!(back, IntervalSet::point(rank));
        }
        assert_eq!(
            ranks.of(|piece| pieces.all()[piece].addresses == cuts[2]),
            IntervalSet::point(1)
        );
    }
}
