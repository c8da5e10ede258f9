//! One field of a list of boxes, cut into elementary intervals with a row of
//! bits each: the part that [`RuleIndex`](super::RuleIndex) and
//! [`LineList`](super::LineList) share.

use rustc_hash::FxHashMap;

use super::interval::Interval;
use super::interval_set::IntervalSet;
use super::mask::Mask;

/// Words in a line of bits.
pub(super) const LINE_WORDS: usize = 8;
/// Bits in a line.
pub(super) const LINE_BITS: usize = 64 * LINE_WORDS;

/// A stretch of 512 boxes, one bit each: eight words, one cache line.
pub(super) type BitLine = [u64; LINE_WORDS];

/// The distinct lines of many rows. Line 0 is all zero, so that a row tells
/// where it is empty without a look at the line.
#[derive(Clone, Debug)]
pub(super) struct Lines {
    /// Invariant: pairwise different, the first all zero.
    lines: Vec<BitLine>,
}

impl Lines {
    pub(super) fn get(&self, id: u32) -> &BitLine {
        &self.lines[id as usize]
    }

    pub(super) fn memory(&self) -> usize {
        self.lines.capacity() * size_of::<BitLine>()
    }
}

/// Lines being collected, with the way back from bits to their id.
pub(super) struct LinePool {
    lines: Vec<BitLine>,
    ids: FxHashMap<BitLine, u32>,
}

impl LinePool {
    pub(super) fn new() -> Self {
        let zero = [0; LINE_WORDS];
        Self {
            lines: vec![zero],
            ids: FxHashMap::from_iter([(zero, 0)]),
        }
    }

    pub(super) fn finish(mut self) -> Lines {
        self.lines.shrink_to_fit();
        Lines { lines: self.lines }
    }

    fn intern(&mut self, line: &BitLine) -> u32 {
        if *line == [0; LINE_WORDS] {
            return 0;
        }
        let next = u32::try_from(self.lines.len()).expect("fewer lines than bits in memory");
        let id = *self.ids.entry(*line).or_insert(next);
        if id == next {
            self.lines.push(*line);
        }
        id
    }
}

/// The rows of one field.
///
/// The values from 0 to `u128::MAX` are cut wherever some box's set begins or
/// ends; within an elementary interval all values belong to the same boxes. For
/// `n` intervals there are at most `2n + 1` elementary ones.
#[derive(Clone, Debug)]
pub(super) struct FieldRows {
    /// Invariant: ascending, the first is 0.
    starts: Vec<u128>,
    /// Line ids, row after row. Invariant: `starts.len() * blocks` of them.
    ids: Vec<u32>,
    /// Lines in a row.
    blocks: usize,
    /// Boxes in the list.
    len: usize,
}

impl FieldRows {
    /// The rows of a list of sets, `None` for "any value". A set that reaches
    /// `top` is taken to reach on for ever: no value above is asked for.
    pub(super) fn new<'a>(
        sets: impl ExactSizeIterator<Item = Option<&'a IntervalSet>>,
        top: u128,
        pool: &mut LinePool,
    ) -> Self {
        let len = sets.len();
        let blocks = len.div_ceil(LINE_BITS);
        let mut cuts = Cuts::new(blocks);
        for (number, set) in sets.enumerate() {
            cuts.add(number, set, top);
        }
        cuts.sweep(len, pool)
    }

    /// Line ids of the boxes whose set holds `value`; binary search.
    pub(super) fn row(&self, value: u128) -> &[u32] {
        self.row_at(self.elementary(value))
    }

    /// Whether every value has the same boxes, namely all of them.
    pub(super) fn is_trivial(&self, lines: &Lines) -> bool {
        self.starts.len() == 1 && self.mask(self.row_at(0), lines) == Mask::all(self.len)
    }

    /// The share of row entries that are zero lines, in thousandths.
    pub(super) fn sparseness(&self) -> usize {
        let zeros = self.ids.iter().filter(|id| **id == 0).count();
        1000 * zeros / self.ids.len().max(1)
    }

    /// The boxes whose set holds `value`.
    pub(super) fn holding(&self, value: u128, lines: &Lines) -> Mask {
        self.mask(self.row(value), lines)
    }

    /// The boxes whose set overlaps `set`: the rows of all elementary intervals
    /// that meet it, joined.
    pub(super) fn overlapping(&self, set: &IntervalSet, lines: &Lines) -> Mask {
        let mut words = vec![0; self.blocks * LINE_WORDS];
        let mut next = 0;
        for interval in set.intervals() {
            let first = self.elementary(interval.low()).max(next);
            let last = self.elementary(interval.high());
            for at in first..=last {
                // Neighbouring rows differ in a few lines only.
                let known: &[u32] = if at > first { self.row_at(at - 1) } else { &[] };
                join_row(&mut words, self.row_at(at), known, lines);
            }
            next = last + 1;
        }
        words.truncate(self.len.div_ceil(64));
        Mask::from_words(words, self.len)
    }

    /// The rows of the elementary intervals that meet an interval, as a range.
    pub(super) fn rows_within(&self, interval: Interval) -> std::ops::RangeInclusive<usize> {
        self.elementary(interval.low())..=self.elementary(interval.high())
    }

    /// The line id of a row in a block.
    pub(super) fn id(&self, row: usize, block: usize) -> u32 {
        self.ids[row * self.blocks + block]
    }

    pub(super) fn memory(&self) -> usize {
        self.starts.capacity() * size_of::<u128>() + self.ids.capacity() * size_of::<u32>()
    }

    fn elementary(&self, value: u128) -> usize {
        self.starts.partition_point(|start| *start <= value) - 1
    }

    fn row_at(&self, at: usize) -> &[u32] {
        &self.ids[at * self.blocks..(at + 1) * self.blocks]
    }

    fn mask(&self, row: &[u32], lines: &Lines) -> Mask {
        let mut words = vec![0; self.blocks * LINE_WORDS];
        join_row(&mut words, row, &[], lines);
        words.truncate(self.len.div_ceil(64));
        Mask::from_words(words, self.len)
    }
}

/// Adds the lines of `row` to `words`, but for those at the same place in
/// `known`, which were added before.
fn join_row(words: &mut [u64], row: &[u32], known: &[u32], lines: &Lines) {
    for (block, id) in row.iter().enumerate() {
        if *id == 0 || known.get(block) == Some(id) {
            continue;
        }
        let at = block * LINE_WORDS;
        for (word, more) in words[at..at + LINE_WORDS].iter_mut().zip(lines.get(*id)) {
            *word |= more;
        }
    }
}

/// Where the sets of a field begin and end, in no order yet.
struct Cuts {
    /// The row of value 0.
    base: Vec<BitLine>,
    slots: FxHashMap<u128, u32>,
    /// Which box changes (enters or leaves) at which slot.
    changes: Vec<(u32, u32)>,
}

impl Cuts {
    fn new(blocks: usize) -> Self {
        Self {
            base: vec![[0; LINE_WORDS]; blocks],
            slots: FxHashMap::default(),
            changes: Vec::new(),
        }
    }

    fn add(&mut self, number: usize, set: Option<&IntervalSet>, top: u128) {
        let Some(set) = set else {
            flip(&mut self.base, number);
            return;
        };
        for interval in set.intervals() {
            if interval.low() == 0 {
                flip(&mut self.base, number);
            } else {
                self.change(number, interval.low());
            }
            if interval.high() < top {
                self.change(number, interval.high() + 1);
            }
        }
    }

    fn change(&mut self, number: usize, value: u128) {
        let next = u32::try_from(self.slots.len()).expect("fewer than 2^32 cuts");
        let slot = *self.slots.entry(value).or_insert(next);
        let number = u32::try_from(number).expect("fewer than 2^32 boxes");
        self.changes.push((slot, number));
    }

    /// Walks the cuts in ascending order with one running row, of which only
    /// the lines that change are looked up anew.
    fn sweep(self, len: usize, pool: &mut LinePool) -> FieldRows {
        let blocks = self.base.len();
        let (starts, changes) = in_order(&self.slots, &self.changes);
        let mut running = self.base;
        let mut ids = Vec::with_capacity(starts.len() * blocks);
        ids.extend(running.iter().map(|line| pool.intern(line)));
        let mut rest = &changes[..];
        for rank in 1..starts.len() {
            let here = rest.partition_point(|(at, _)| *at as usize <= rank);
            let (now, later) = rest.split_at(here);
            ids.extend_from_within(ids.len() - blocks..);
            let row = ids.len() - blocks;
            for group in now.chunk_by(|a, b| a.1 as usize / LINE_BITS == b.1 as usize / LINE_BITS) {
                let block = group[0].1 as usize / LINE_BITS;
                for (_, number) in group {
                    flip(&mut running, *number as usize);
                }
                ids[row + block] = pool.intern(&running[block]);
            }
            rest = later;
        }
        FieldRows {
            starts,
            ids,
            blocks,
            len,
        }
    }
}

/// The starts of the elementary intervals, and the changes as (place in the
/// starts, box), ascending. Only the distinct cuts are sorted by comparison; the
/// changes, many more, are counted into place.
fn in_order(slots: &FxHashMap<u128, u32>, changes: &[(u32, u32)]) -> (Vec<u128>, Vec<(u32, u32)>) {
    // Hash order ends here: the cuts are sorted at once.
    let mut cuts: Vec<(u128, u32)> = slots.iter().map(|(value, slot)| (*value, *slot)).collect();
    cuts.sort_unstable();
    let mut ranks = vec![0u32; cuts.len()];
    for (rank, (_, slot)) in (1u32..).zip(&cuts) {
        ranks[*slot as usize] = rank;
    }
    // next[rank] is where the next change of that rank goes.
    let mut next = vec![0usize; cuts.len() + 2];
    for (slot, _) in changes {
        next[ranks[*slot as usize] as usize + 1] += 1;
    }
    for rank in 1..next.len() {
        next[rank] += next[rank - 1];
    }
    let mut sorted = vec![(0, 0); changes.len()];
    for (slot, number) in changes {
        let rank = ranks[*slot as usize];
        let place = &mut next[rank as usize];
        sorted[*place] = (rank, *number);
        *place += 1;
    }
    let starts = std::iter::once(0).chain(cuts.iter().map(|cut| cut.0));
    (starts.collect(), sorted)
}

fn flip(lines: &mut [BitLine], number: usize) {
    lines[number / LINE_BITS][number % LINE_BITS / 64] ^= 1 << (number % 64);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_say_who_holds_a_value_across_lines() {
        // 1,200 boxes: three lines a row, and cuts at both ends of the range.
        let sets: Vec<IntervalSet> = (0..1200u128)
            .map(|n| IntervalSet::range(n / 3, n / 2 + 5))
            .collect();
        let mut pool = LinePool::new();
        let rows = FieldRows::new(sets.iter().map(Some), 605, &mut pool);
        let lines = pool.finish();
        for value in 0..606 {
            let held: Vec<usize> = rows.holding(value, &lines).iter().collect();
            let scanned: Vec<usize> = (0..1200).filter(|n| sets[*n].contains(value)).collect();
            assert_eq!(held, scanned, "value {value}");
        }
        let asked: IntervalSet = [(3, 4), (90, 130)]
            .into_iter()
            .map(|(low, high)| IntervalSet::range(low, high).intervals()[0])
            .collect();
        let held: Vec<usize> = rows.overlapping(&asked, &lines).iter().collect();
        let scanned: Vec<usize> = (0..1200).filter(|n| sets[*n].overlaps(&asked)).collect();
        assert_eq!(held, scanned);
    }

    #[test]
    fn a_list_of_any_has_one_trivial_row() {
        let mut pool = LinePool::new();
        let any = FieldRows::new([None, None].into_iter(), 9, &mut pool);
        let full = IntervalSet::range(0, 9);
        let sets = [Some(&full), None, Some(&full)];
        let reaching = FieldRows::new(sets.into_iter(), 9, &mut pool);
        let none = IntervalSet::empty();
        let sets = [Some(&full), Some(&none)];
        let lacking = FieldRows::new(sets.into_iter(), 9, &mut pool);
        let lines = pool.finish();
        assert!(any.is_trivial(&lines) && reaching.is_trivial(&lines));
        assert!(!lacking.is_trivial(&lines));
    }

    #[test]
    fn sparseness_is_the_share_of_rows_without_boxes() {
        let mut pool = LinePool::new();
        let mut of = |sets: &[IntervalSet]| {
            FieldRows::new(sets.iter().map(Some), 99, &mut pool).sparseness()
        };
        // Cut at 10 and 20: one of three rows holds the box.
        assert_eq!(of(&[IntervalSet::range(10, 19)]), 666);
        assert_eq!(of(&[IntervalSet::range(0, 19)]), 500);
        assert_eq!(of(&[IntervalSet::range(0, 99)]), 0);
        assert_eq!(of(&[IntervalSet::empty()]), 1000);
        assert_eq!(of(&[]), 0);
    }

    #[test]
    fn boxes_of_several_lines_change_at_one_value() {
        // Boxes 511 and 512 are neighbours in two lines.
        let sets = vec![IntervalSet::range(10, 19); 1025];
        let mut pool = LinePool::new();
        let rows = FieldRows::new(sets.iter().map(Some), 99, &mut pool);
        let lines = pool.finish();
        let held = |value| rows.holding(value, &lines).iter().count();
        assert_eq!([9, 10, 19, 20].map(held), [0, 1025, 1025, 0]);
        // Cuts at 0, 10 and 20; an id for each of them in each of three blocks.
        assert!(rows.memory() >= 3 * size_of::<u128>() + 9 * size_of::<u32>());
        // The zero line, one of 512 boxes and one of the last box.
        assert!(lines.memory() >= 3 * size_of::<BitLine>());
        // Two boxes alone, of different lines.
        let mut sets = vec![IntervalSet::empty(); 1025];
        sets[1] = IntervalSet::range(10, 19);
        sets[600] = IntervalSet::range(10, 29);
        let mut pool = LinePool::new();
        let rows = FieldRows::new(sets.iter().map(Some), 99, &mut pool);
        let lines = pool.finish();
        let held = |value| Vec::from_iter(rows.holding(value, &lines).iter());
        assert_eq!(
            [9, 10, 20, 30].map(held),
            [vec![], vec![1, 600], vec![600], vec![]]
        );
    }
}
