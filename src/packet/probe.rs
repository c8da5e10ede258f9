//! Do earlier boxes leave anything of a box over? By probing and cutting.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::field::Point;
use super::index::RuleIndex;
use super::packet_box::PacketBox;

/// What became of a box when others were taken away from it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Coverage {
    /// Something is left: this is the lowest such point of the whole target.
    Witness(Point),
    /// Nothing is left.
    Covered {
        /// The boxes cut with, ascending: these alone cover the target.
        by: Vec<usize>,
    },
    /// The limit was reached first.
    Unknown {
        /// How many cuts were made, equal to the limit.
        examined: usize,
    },
}

/// Is every point of `target` held by one of the boxes numbered below `before`
/// for which `counts` holds?
///
/// Takes the piece with the lowest point (at first the target itself). If no box
/// that counts holds that point, it is the answer. Otherwise the piece is cut by
/// the one of them that leaves the fewest pieces (the first of equals), and so
/// on. Since pieces come up by their lowest point, a witness is the lowest of
/// all uncovered points, in the order of [`Point`], whatever the cuts were.
///
/// Each cut costs one look-up and a comparison per holder. The number of cuts is
/// small for real rule lists and exponential in the number of fields at worst,
/// so `limit` bounds it. An empty target is covered by no boxes.
///
/// `index` must be the index of `boxes`, and `target` within its space.
pub fn cover(
    target: &PacketBox,
    boxes: &[PacketBox],
    index: &RuleIndex,
    before: usize,
    counts: impl Fn(usize) -> bool,
    limit: usize,
) -> Coverage {
    let mut spent = 0;
    cover_counting(target, boxes, index, before, counts, limit, &mut spent)
}

/// The same, and adds to `spent` how many boxes were looked at: one for each probe and each holder of a probed
/// point. That is what the time goes with where points have many holders.
pub fn cover_counting(
    target: &PacketBox,
    boxes: &[PacketBox],
    index: &RuleIndex,
    before: usize,
    counts: impl Fn(usize) -> bool,
    limit: usize,
    spent: &mut usize,
) -> Coverage {
    debug_assert_eq!(boxes.len(), index.len(), "the index of these boxes");
    let mut pieces = Pieces::default();
    pieces.push(target.clone());
    let mut by = Vec::new();
    let mut cuts = 0;
    while let Some((lowest, piece)) = pieces.pop() {
        let mut holders = index.holders_below(&lowest, before);
        *spent += 1 + holders.len();
        holders.retain(|number| counts(*number));
        let Some(best) = best_cut(&piece, boxes, &holders) else {
            return Coverage::Witness(lowest);
        };
        if cuts == limit {
            return Coverage::Unknown { examined: cuts };
        }
        cuts += 1;
        by.push(best);
        for rest in piece.difference(&boxes[best]) {
            pieces.push(rest);
        }
    }
    by.sort_unstable();
    by.dedup();
    Coverage::Covered { by }
}

/// The holder that leaves the fewest pieces; the first of equals.
fn best_cut(piece: &PacketBox, boxes: &[PacketBox], holders: &[usize]) -> Option<usize> {
    let mut best = None;
    for number in holders {
        let left = piece.slabs_left_by(&boxes[*number]);
        if left == 0 {
            return Some(*number);
        }
        if best.is_none_or(|(fewest, _)| left < fewest) {
            best = Some((left, *number));
        }
    }
    best.map(|(_, number)| number)
}

/// Disjoint boxes that come out by their lowest point.
#[derive(Default)]
struct Pieces {
    /// Lowest point and place in `boxes`. Points differ, so places never decide.
    queue: BinaryHeap<Reverse<(Point, usize)>>,
    boxes: Vec<Option<PacketBox>>,
    free: Vec<usize>,
}

impl Pieces {
    /// An empty box is left out.
    fn push(&mut self, piece: PacketBox) {
        let Some(lowest) = piece.lowest() else {
            return;
        };
        let place = self.free.pop().unwrap_or_else(|| {
            self.boxes.push(None);
            self.boxes.len() - 1
        });
        self.boxes[place] = Some(piece);
        self.queue.push(Reverse((lowest, place)));
    }

    fn pop(&mut self) -> Option<(Point, PacketBox)> {
        let Reverse((lowest, place)) = self.queue.pop()?;
        self.free.push(place);
        let piece = self.boxes[place].take();
        Some((lowest, piece.expect("a queued place is filled")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Field, IntervalSet, Space};

    fn ports(low: u128, high: u128) -> PacketBox {
        PacketBox::full(&Space::ipv4(1)).with(Field::DestinationPort, IntervalSet::range(low, high))
    }

    fn try_cover(target: &PacketBox, before: usize, skip: usize, limit: usize) -> Coverage {
        let boxes = [ports(0, 10), ports(11, 20), ports(5, 30), ports(0, 30)];
        let index = RuleIndex::new(&Space::ipv4(1), &boxes);
        cover(target, &boxes, &index, before, |n| n != skip, limit)
    }

    #[test]
    fn together_boxes_cover_what_none_covers_alone() {
        let by = vec![0, 2];
        assert_eq!(
            try_cover(&ports(2, 30), 3, 9, 100),
            Coverage::Covered { by }
        );
        let by = vec![3];
        assert_eq!(
            try_cover(&ports(2, 30), 4, 9, 100),
            Coverage::Covered { by }
        );
    }

    #[test]
    fn the_lowest_gap_is_the_witness() {
        let lowest = |port| Coverage::Witness(Point::default().with(Field::DestinationPort, port));
        assert_eq!(try_cover(&ports(2, 40), 4, 9, 100), lowest(31));
        assert_eq!(try_cover(&ports(2, 30), 3, 0, 100), lowest(2));
        assert_eq!(try_cover(&ports(2, 30), 2, 1, 100), lowest(11));
    }

    #[test]
    fn the_cut_that_leaves_the_fewest_pieces_is_taken() {
        // The first box holds the lowest point too, but would leave a corner.
        let corner = ports(0, 10).with(Field::SourcePort, IntervalSet::range(0, 10));
        let boxes = [corner, ports(0, 20), ports(11, 30)];
        let index = RuleIndex::new(&Space::ipv4(1), &boxes);
        let by = vec![1, 2];
        let covered = cover(&ports(0, 30), &boxes, &index, 3, |_| true, 2);
        assert_eq!(covered, Coverage::Covered { by });
    }

    #[test]
    fn the_limit_counts_cuts() {
        assert_eq!(
            try_cover(&ports(2, 30), 3, 9, 1),
            Coverage::Unknown { examined: 1 }
        );
        assert_ne!(
            try_cover(&ports(2, 30), 3, 9, 2),
            Coverage::Unknown { examined: 2 }
        );
    }

    #[test]
    fn an_empty_target_needs_no_cover() {
        let empty = ports(0, 1).with(Field::Source, IntervalSet::empty());
        let by = Vec::new();
        assert_eq!(try_cover(&empty, 4, 9, 0), Coverage::Covered { by });
    }
}
