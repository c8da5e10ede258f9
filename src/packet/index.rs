//! First match in long lists of boxes, by bit vectors.
//!
//! A scheme known from packet classification: in each
//! field, one row of bits per elementary interval says which boxes hold its
//! values; the AND of a packet's rows says which boxes hold the packet, and the
//! lowest set bit is the first of them. Rows are kept as lists of interned
//! 512-bit lines, since most neighbouring rows share most of them and most lines
//! are zero.

use super::field::{Field, Point, Space};
use super::interval_set::IntervalSet;
use super::mask::{Mask, ones};
use super::packet_box::PacketBox;
use super::rows::{BitLine, FieldRows, LINE_BITS, LINE_WORDS, LinePool, Lines};

/// A list of boxes, numbered from 0, made ready for look-ups.
///
/// Points and sets asked for must lie in the space given when it was built.
#[derive(Clone, Debug)]
pub struct RuleIndex {
    pub(super) rows: [FieldRows; Field::COUNT],
    pub(super) lines: Lines,
    /// Fields a look-up must read, emptiest rows first. Invariant: at least
    /// one; all others have a single row with every box.
    pub(super) read: Vec<Field>,
    len: usize,
}

impl RuleIndex {
    /// Indexes `boxes`, all within `space`.
    ///
    /// With `n` boxes and `c` distinct cuts in a field: `n + c log c + c n /
    /// 512` steps for each field, and as much memory in the worst case.
    ///
    /// # Panics
    /// From 2^32 boxes or cuts in a field upwards.
    #[must_use]
    pub fn new(space: &Space, boxes: &[PacketBox]) -> Self {
        let mut pool = LinePool::new();
        let rows = Field::ALL.map(|field| {
            let sets = boxes.iter().map(|packets| Some(packets.field(field)));
            FieldRows::new(sets, space.top(field), &mut pool)
        });
        let lines = pool.finish();
        let read = fields_to_read(&rows, &lines);
        Self {
            rows,
            lines,
            read,
            len: boxes.len(),
        }
    }

    /// How many boxes were indexed.
    #[must_use]
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether no box was indexed.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The lowest number of a box that holds `point`.
    ///
    /// A binary search per field, then at most `n / 512` lines of each.
    #[must_use]
    pub fn first_match(&self, point: &Point) -> Option<usize> {
        let rows = self.rows_of(point);
        let rows = &rows[..self.read.len()];
        let blocks = self.len.div_ceil(LINE_BITS);
        (0..blocks).find_map(|block| {
            let line = self.common(rows, block)?;
            let bit = ones(&line).next()?;
            Some(block * LINE_BITS + bit)
        })
    }

    /// The numbers of all boxes that hold `point`, ascending.
    #[must_use]
    pub fn holders(&self, point: &Point) -> Vec<usize> {
        self.holders_below(point, self.len)
    }

    /// The boxes whose `field` overlaps `set`, whatever their other fields hold.
    ///
    /// One row per elementary interval in `set`, of which neighbours cost only
    /// where they differ.
    #[must_use]
    pub fn overlapping(&self, field: Field, set: &IntervalSet) -> Mask {
        self.rows[field.index()].overlapping(set, &self.lines)
    }

    /// Bytes kept on the heap.
    #[must_use]
    pub fn memory(&self) -> usize {
        self.lines.memory() + self.rows.iter().map(FieldRows::memory).sum::<usize>()
    }

    /// The boxes numbered below `before` that hold `point`, ascending.
    pub(super) fn holders_below(&self, point: &Point, before: usize) -> Vec<usize> {
        let rows = self.rows_of(point);
        let rows = &rows[..self.read.len()];
        let mut holders = Vec::new();
        for block in 0..before.min(self.len).div_ceil(LINE_BITS) {
            if let Some(line) = self.common(rows, block) {
                let numbers = ones(&line).map(|bit| block * LINE_BITS + bit);
                holders.extend(numbers.take_while(|number| *number < before));
            }
        }
        holders
    }

    /// The rows of `point` in the fields to read.
    fn rows_of(&self, point: &Point) -> [&[u32]; Field::COUNT] {
        let mut rows: [&[u32]; Field::COUNT] = [&[]; Field::COUNT];
        for (row, field) in rows.iter_mut().zip(&self.read) {
            *row = self.rows[field.index()].row(point.get(*field));
        }
        rows
    }

    /// The boxes of one block that are in all rows; `None` when there are none.
    fn common(&self, rows: &[&[u32]], block: usize) -> Option<BitLine> {
        // Ids alone tell most empty blocks, before any line is fetched.
        if rows.iter().any(|row| row[block] == 0) {
            return None;
        }
        let mut common: BitLine = [u64::MAX; LINE_WORDS];
        for row in rows {
            for (word, other) in common.iter_mut().zip(self.lines.get(row[block])) {
                *word &= other;
            }
        }
        common.iter().any(|word| *word != 0).then_some(common)
    }
}

/// All fields but those where every box holds every value; emptiest rows first,
/// because one zero line is enough to skip a block.
fn fields_to_read(rows: &[FieldRows; Field::COUNT], lines: &Lines) -> Vec<Field> {
    let mut read = Field::ALL.to_vec();
    read.retain(|field| !rows[field.index()].is_trivial(lines));
    if read.is_empty() {
        read.push(Field::Source);
    }
    read.sort_by_key(|field| std::cmp::Reverse(rows[field.index()].sparseness()));
    read
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(low: u128, high: u128) -> PacketBox {
        PacketBox::full(&Space::ipv4(2)).with(Field::DestinationPort, IntervalSet::range(low, high))
    }

    fn at_port(value: u128) -> Point {
        Point::default().with(Field::DestinationPort, value)
    }

    #[test]
    fn the_first_of_several_holders_matches() {
        let boxes = [port(80, 80), port(0, 1023), port(443, 443), port(79, 81)];
        let index = RuleIndex::new(&Space::ipv4(2), &boxes);
        assert_eq!(index.first_match(&at_port(80)), Some(0));
        assert_eq!(index.first_match(&at_port(443)), Some(1));
        assert_eq!(index.first_match(&at_port(1024)), None);
        assert_eq!(index.holders(&at_port(80)), [0, 1, 3]);
        assert_eq!(index.holders_below(&at_port(80), 3), [0, 1]);
    }

    #[test]
    fn only_fields_that_tell_boxes_apart_are_read() {
        let index = RuleIndex::new(&Space::ipv4(2), &[port(80, 80), port(0, 1023)]);
        assert_eq!(index.read, [Field::DestinationPort]);
        let index = RuleIndex::new(&Space::ipv4(2), &[port(0, 65_535), port(0, 65_535)]);
        assert_eq!(index.read.len(), 1);
        assert_eq!(index.holders(&at_port(5)), [0, 1]);
    }

    #[test]
    fn an_empty_list_and_an_empty_box_match_nothing() {
        let index = RuleIndex::new(&Space::ipv4(2), &[]);
        assert_eq!(index.first_match(&at_port(1)), None);
        let empty = port(0, 65_535).with(Field::Source, IntervalSet::empty());
        let index = RuleIndex::new(&Space::ipv4(2), &[empty]);
        assert_eq!(index.first_match(&at_port(1)), None);
    }
}
