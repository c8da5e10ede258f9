//! Which boxes of a list share packets with a box.

use std::ops::Range;

use rustc_hash::FxHashMap;

use super::field::Field;
use super::index::RuleIndex;
use super::interval_set::IntervalSet;
use super::mask::{Mask, ones};
use super::packet_box::PacketBox;
use super::rows::{BitLine, LINE_BITS, LINE_WORDS};

/// Rows of a field from which on the boxes that meet a set are worked out once and kept.
const WIDE_ROWS: usize = 48;
/// Sets that are kept.
const MOST_KEPT: usize = 2_000;

/// Finds the boxes of an indexed list that meet a given box.
///
/// A set that spans few elementary intervals is looked up anew each time, block by block, so that blocks without
/// any box cost next to nothing. What meets a wide set is kept: in a rule list the same wide sets come again and
/// again.
#[derive(Debug)]
pub struct Meetings<'i> {
    index: &'i RuleIndex,
    /// Places in `masks`.
    wide: FxHashMap<(Field, IntervalSet), usize>,
    masks: Vec<Mask>,
}

/// What is known of one field of the box asked about.
enum Reading {
    /// Rows to be joined.
    Rows(Field, Vec<Range<usize>>),
    /// Kept in this place.
    Kept(usize),
    /// Worked out for this question.
    Fresh(Mask),
}

impl<'i> Meetings<'i> {
    /// Nothing is known yet.
    #[must_use]
    pub fn new(index: &'i RuleIndex) -> Self {
        Self {
            index,
            wide: FxHashMap::default(),
            masks: Vec::new(),
        }
    }

    /// Numbers of the boxes within `numbers` that share a packet with `packets`, which must not be empty; ascending.
    ///
    /// Exact, since boxes are products: they meet where each field does. One step for each block of 512 numbers and
    /// each row that a narrow field spans, fewer where the narrowest field leaves a block empty.
    pub fn of(&mut self, packets: &PacketBox, numbers: Range<usize>) -> Vec<usize> {
        let mut readings: Vec<(usize, Reading)> = Vec::new();
        for &field in &self.index.read {
            let set = packets.field(field);
            let rows = self.rows(field, set);
            let count = rows.iter().map(ExactSizeIterator::len).sum();
            readings.push((count, self.reading(field, set, rows, count)));
        }
        readings.sort_by_key(|(count, _)| *count);
        let mut found = Vec::new();
        let end = numbers.end.min(self.index.len());
        for block in numbers.start / LINE_BITS..end.div_ceil(LINE_BITS) {
            if let Some(line) = self.common(&readings, block) {
                let held = ones(&line).map(|bit| block * LINE_BITS + bit);
                found.extend(held.filter(|number| numbers.contains(number)));
            }
        }
        found
    }

    fn rows(&self, field: Field, set: &IntervalSet) -> Vec<Range<usize>> {
        let rows = &self.index.rows[field.index()];
        set.intervals()
            .iter()
            .map(|&part| {
                let within = rows.rows_within(part);
                *within.start()..*within.end() + 1
            })
            .collect()
    }

    fn reading(
        &mut self,
        field: Field,
        set: &IntervalSet,
        rows: Vec<Range<usize>>,
        count: usize,
    ) -> Reading {
        if count <= WIDE_ROWS {
            return Reading::Rows(field, rows);
        }
        let key = (field, set.clone());
        if let Some(&place) = self.wide.get(&key) {
            return Reading::Kept(place);
        }
        let mask = self.index.overlapping(field, set);
        if self.masks.len() == MOST_KEPT {
            return Reading::Fresh(mask);
        }
        self.wide.insert(key, self.masks.len());
        self.masks.push(mask);
        Reading::Kept(self.masks.len() - 1)
    }

    /// The boxes of a block that meet in every field; `None` where there is none.
    fn common(&self, readings: &[(usize, Reading)], block: usize) -> Option<BitLine> {
        let mut common: BitLine = [u64::MAX; LINE_WORDS];
        for (_, reading) in readings {
            let line = match reading {
                Reading::Rows(field, rows) => self.joined(*field, rows, block),
                Reading::Kept(place) => of_block(&self.masks[*place], block),
                Reading::Fresh(mask) => of_block(mask, block),
            };
            let mut left = 0;
            for (word, other) in common.iter_mut().zip(line) {
                *word &= other;
                left |= *word;
            }
            if left == 0 {
                return None;
            }
        }
        Some(common)
    }

    /// The boxes of a block that hold some value of some rows.
    fn joined(&self, field: Field, rows: &[Range<usize>], block: usize) -> BitLine {
        let own = &self.index.rows[field.index()];
        let mut line: BitLine = [0; LINE_WORDS];
        let mut last = 0;
        for row in rows.iter().flat_map(|rows| rows.clone()) {
            // Neighbouring rows often share a line; line 0 is empty.
            let id = own.id(row, block);
            if id != last && id != 0 {
                for (word, more) in line.iter_mut().zip(self.index.lines.get(id)) {
                    *word |= more;
                }
            }
            last = id;
        }
        line
    }
}

fn of_block(mask: &Mask, block: usize) -> BitLine {
    let words = mask.words();
    let start = block * LINE_WORDS;
    let end = words.len().min(start + LINE_WORDS);
    let mut line: BitLine = [0; LINE_WORDS];
    line[..end - start].copy_from_slice(&words[start..end]);
    line
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Space;

    #[test]
    fn boxes_meet_as_a_comparison_of_each_pair_says() {
        let space = Space::ipv4(4);
        let range = |low: u128, high: u128| IntervalSet::range(low, high);
        let boxes: Vec<PacketBox> = (0..1500u128)
            .map(|number| {
                let low = number * 37 % 900;
                let wide = if number.is_multiple_of(11) {
                    600
                } else {
                    number % 13
                };
                PacketBox::full(&space)
                    .with(Field::Source, range(low, low + wide))
                    .with(
                        Field::Destination,
                        range(number % 50, number % 50 + number % 7),
                    )
                    .with(Field::DestinationPort, range(number % 90, number % 90 + 1))
            })
            .collect();
        let index = RuleIndex::new(&space, &boxes);
        let mut meetings = Meetings::new(&index);
        for (number, packets) in boxes.iter().enumerate().step_by(17) {
            for numbers in [0..1500, 0..number, number + 1..1500] {
                let scanned: Vec<usize> = numbers
                    .clone()
                    .filter(|other| boxes[*other].overlaps(packets))
                    .collect();
                assert_eq!(meetings.of(packets, numbers), scanned, "box {number}");
            }
        }
    }
}
