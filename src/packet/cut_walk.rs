//! The walk through a rule list within two fixed sets of addresses, on bits instead of intervals.
//!
//! Who asks about all pairs of some sets meets the same addresses again and again. Cut once where the lines cut it
//! ([`CutSet`]), a set of addresses is a few bits, and a piece of the walk is three rows of bits in one array.

use rustc_hash::FxHashMap;

use super::class_set::ClassSet;
use super::interval::Interval;
use super::interval_set::IntervalSet;
use super::mask::{Mask, ones};
use super::walk::{Line, LineList, TooManyPieces};

/// A set of addresses, cut where the lines of a list cut it: no line holds a part of one of its parts.
#[derive(Clone, Debug)]
pub struct CutSet {
    /// Sorted and disjoint; neighbours may touch.
    parts: Vec<Interval>,
    /// Lines that hold some of the set.
    meeting: Mask,
    /// Lines that hold some and not all of it, ascending, each with the number of its row.
    partial: Vec<(u32, u32)>,
    /// Rows of bits, a bit a part.
    rows: Vec<u64>,
    words: usize,
}

/// Which addresses of a line are meant.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum CutSide {
    /// Those that packets come from.
    Source,
    /// Those that they go to.
    Destination,
}

impl CutSide {
    fn of(self, line: &Line) -> Option<&IntervalSet> {
        match self {
            Self::Source => line.source.as_ref(),
            Self::Destination => line.destination.as_ref(),
        }
    }
}

impl CutSet {
    /// Cuts a set for all lines. O(lines that meet it x their intervals there).
    #[must_use]
    pub fn new(list: &LineList, side: CutSide, set: &IntervalSet) -> Self {
        Self::within(list, side, set, &Mask::all(list.len()))
    }

    /// Cuts a set for some lines: it serves walks of which they are all the candidates.
    #[must_use]
    pub fn within(list: &LineList, side: CutSide, set: &IntervalSet, lines: &Mask) -> Self {
        let mut meeting = match side {
            CutSide::Source => list.from_source(set),
            CutSide::Destination => list.to_destination(set),
        };
        meeting.and_assign(lines);
        // Lines name the same groups again and again.
        let mut numbers: FxHashMap<&IntervalSet, u32> = FxHashMap::default();
        let mut held: Vec<IntervalSet> = Vec::new();
        let mut partial: Vec<(u32, u32)> = Vec::new();
        for number in meeting.iter() {
            // Most lines name whole zones, or more.
            let own = side.of(&list.lines()[number]);
            let Some(own) = own.filter(|own| !set.is_subset(own)) else {
                continue;
            };
            let row = *numbers.entry(own).or_insert_with(|| {
                held.push(set.intersection(own));
                held.len() as u32 - 1
            });
            partial.push((number as u32, row));
        }
        let parts = parts(set, held.iter());
        let words = parts.len().div_ceil(64);
        let mut rows = vec![0; held.len() * words];
        for (own, held) in rows.chunks_exact_mut(words.max(1)).zip(&held) {
            for interval in held.intervals() {
                let first = parts.partition_point(|part| part.low() < interval.low());
                let inside = parts[first..].iter();
                let inside = inside.take_while(|part| part.high() <= interval.high());
                (first..first + inside.count()).for_each(|at| own[at / 64] |= 1 << (at % 64));
            }
        }
        Self {
            partial,
            parts,
            meeting,
            rows,
            words,
        }
    }

    /// The addresses of some parts, by their bits.
    #[must_use]
    pub fn addresses(&self, bits: &[u64]) -> IntervalSet {
        ones(bits).map(|at| self.parts[at]).collect()
    }

    /// The row of a line; `None`: it holds all of the set. `at` is the place in `partial` that was reached: lines are
    /// asked about in ascending order.
    fn row(&self, number: usize, at: &mut usize) -> Option<&[u64]> {
        while self.partial.get(*at)?.0 < number as u32 {
            *at += 1;
        }
        let (line, row) = self.partial[*at];
        let start = row as usize * self.words;
        (line == number as u32).then(|| &self.rows[start..start + self.words])
    }
}

/// The parts of a set between all the ends of some sets within it.
fn parts<'h>(set: &IntervalSet, held: impl Iterator<Item = &'h IntervalSet>) -> Vec<Interval> {
    // Where a part begins, above the lowest address of all.
    let mut starts: Vec<u128> = held
        .flat_map(IntervalSet::intervals)
        .flat_map(|interval| [Some(interval.low()), interval.high().checked_add(1)])
        .flatten()
        .collect();
    starts.sort_unstable();
    starts.dedup();
    let mut parts = Vec::new();
    for interval in set.intervals() {
        let mut low = interval.low();
        let first = starts.partition_point(|&start| start <= low);
        for &start in starts[first..]
            .iter()
            .take_while(|&&start| start <= interval.high())
        {
            parts.push(Interval::between(low, start - 1));
            low = start;
        }
        parts.push(Interval::between(low, interval.high()));
    }
    parts
}

/// A piece of a walk: bits of the parts of its two sets, and of its classes of services.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct CutPiece<'a> {
    /// Parts of the set of sources.
    pub source: &'a [u64],
    /// Parts of the set of destinations.
    pub destination: &'a [u64],
    /// Classes, as in a [`ClassSet`].
    pub services: &'a [u64],
}

impl CutPiece<'_> {
    /// Whether all of its destinations and services are among these, whatever its sources.
    #[must_use]
    pub fn goes_within(&self, destination: &[u64], services: &[u64]) -> bool {
        // The shorter ones first.
        is_subset(self.destination, destination) && is_subset(self.services, services)
    }
}

/// A walk within two sets that were cut for a list, with its memory: to be used again and again.
#[derive(Debug, Default)]
pub struct CutWalk {
    /// The open pieces, one behind the other.
    open: Vec<u64>,
    /// The piece that a line decides.
    taken: Vec<u64>,
}

/// How many words the rows of a piece have.
#[derive(Clone, Copy)]
struct Shape {
    source: usize,
    destination: usize,
    all: usize,
}

impl Shape {
    fn piece(self, words: &[u64]) -> CutPiece<'_> {
        let (source, rest) = words.split_at(self.source);
        let (destination, services) = rest.split_at(self.destination);
        CutPiece {
            source,
            destination,
            services,
        }
    }
}

impl CutWalk {
    /// Does as [`LineList::walk`] does: the same pieces in the same order, from all addresses of one set to all of the
    /// other, which were cut for the same list.
    ///
    /// # Errors
    /// As there.
    pub fn walk(
        &mut self,
        list: &LineList,
        candidates: &Mask,
        (source, destination): (&CutSet, &CutSet),
        services: &ClassSet,
        limit: usize,
        decided: &mut impl FnMut(Option<usize>, CutPiece<'_>),
    ) -> Result<(), TooManyPieces> {
        if source.parts.is_empty() || destination.parts.is_empty() || services.is_empty() {
            return Ok(());
        }
        let shape = Shape {
            source: source.words,
            destination: destination.words,
            all: source.words + destination.words + services.bits().len(),
        };
        self.open.clear();
        push_ones(&mut self.open, source.parts.len());
        push_ones(&mut self.open, destination.parts.len());
        self.open.extend_from_slice(services.bits());
        let mut candidates = candidates.and(&source.meeting);
        candidates.and_assign(&destination.meeting);
        let (mut source_at, mut destination_at) = (0, 0);
        for number in candidates.iter() {
            let line = [
                source.row(number, &mut source_at),
                destination.row(number, &mut destination_at),
                list.lines()[number].services.as_ref().map(|set| set.bits()),
            ];
            let all = shape.all;
            for at in (0..self.open.len() / all).rev() {
                if meets(&line, shape.piece(&self.open[at * all..(at + 1) * all])) {
                    self.take(&line, at, shape);
                    decided(Some(number), shape.piece(&self.taken));
                }
            }
            if self.open.is_empty() {
                return Ok(());
            }
            if self.open.len() / all > limit {
                return Err(TooManyPieces { limit });
            }
        }
        for piece in self.open.chunks_exact(shape.all) {
            decided(None, shape.piece(piece));
        }
        Ok(())
    }

    /// Takes the part of an open piece inside a line; what lies outside stays open, cut by source, then destination,
    /// then services.
    fn take(&mut self, line: &[Option<&[u64]>; 3], at: usize, shape: Shape) {
        let all = shape.all;
        let start = at * all;
        self.taken.clear();
        self.taken.extend_from_slice(&self.open[start..start + all]);
        // The last piece takes its place.
        let last = self.open.len() - all;
        self.open.copy_within(last.., start);
        self.open.truncate(last);
        let ends = [shape.source, shape.source + shape.destination, all];
        let mut begin = 0;
        for (own, end) in line.iter().zip(ends) {
            if let Some(own) = own
                && !is_subset(&self.taken[begin..end], own)
            {
                let rest = self.open.len() + begin;
                self.open.extend_from_slice(&self.taken);
                for (number, word) in own.iter().enumerate() {
                    self.open[rest + number] &= !word;
                    self.taken[begin + number] &= word;
                }
            }
            begin = end;
        }
    }
}

fn push_ones(words: &mut Vec<u64>, count: usize) {
    words.extend(std::iter::repeat_n(u64::MAX, count / 64));
    if !count.is_multiple_of(64) {
        words.push((1 << (count % 64)) - 1);
    }
}

fn meets(line: &[Option<&[u64]>; 3], piece: CutPiece<'_>) -> bool {
    let rows = [piece.source, piece.destination, piece.services];
    let mut pairs = line.iter().zip(rows);
    pairs.all(|(own, row)| own.is_none_or(|own| overlaps(own, row)))
}

fn overlaps(one: &[u64], other: &[u64]) -> bool {
    one.iter().zip(other).any(|(one, other)| one & other != 0)
}

fn is_subset(one: &[u64], other: &[u64]) -> bool {
    one.iter().zip(other).all(|(one, other)| one & !other == 0)
}
