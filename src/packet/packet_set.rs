//! Arbitrary sets of packets as lists of disjoint boxes.

use num_bigint::BigUint;
use rustc_hash::FxHashMap;

use super::field::{Field, Point};
use super::interval_set::IntervalSet;
use super::packet_box::PacketBox;

/// Any set of packets, kept as boxes no two of which share a packet.
///
/// One set has many such lists, so there is no `==`: ask [`PacketSet::equals`].
/// With `a` and `b` boxes on the two sides an operation takes about `a * b` box
/// meetings, and in the worst case seven new boxes for each of them; it is meant
/// for answers and oracles, long rule lists belong in
/// [`RuleIndex`](super::RuleIndex).
///
/// The laws of a Boolean algebra hold, read with `equals`.
#[derive(Clone, Debug, Default)]
pub struct PacketSet {
    /// Invariant: none empty, pairwise disjoint.
    boxes: Vec<PacketBox>,
}

impl PacketSet {
    /// The set that holds nothing.
    #[must_use]
    pub fn empty() -> Self {
        Self::default()
    }

    /// The packets of one box.
    #[must_use]
    pub fn from_box(packets: PacketBox) -> Self {
        Self::empty().plus(packets)
    }

    /// The packets in either set.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        let mut boxes = self.boxes.clone();
        for packets in &other.boxes {
            boxes.extend(outside(packets.clone(), &self.boxes));
        }
        Self::checked(boxes)
    }

    /// The packets in both sets.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        let meet = |mine: &PacketBox| {
            other
                .boxes
                .iter()
                .filter_map(|t| mine.intersection(t))
                .collect::<Vec<_>>()
        };
        Self::checked(self.boxes.iter().flat_map(meet).collect())
    }

    /// The packets in `self` and not in `other`.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Self {
        let left = |mine: &PacketBox| outside(mine.clone(), &other.boxes);
        Self::checked(self.boxes.iter().flat_map(left).collect())
    }

    /// Whether every packet of `self` is in `other`; stops at the first box
    /// that is not.
    #[must_use]
    pub fn is_subset(&self, other: &Self) -> bool {
        self.boxes
            .iter()
            .all(|mine| outside(mine.clone(), &other.boxes).is_empty())
    }

    /// Whether no packet is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.boxes.is_empty()
    }

    /// Whether both hold the same packets, however they are cut into boxes.
    #[must_use]
    pub fn equals(&self, other: &Self) -> bool {
        // Sizes are cheap beside inclusion, and equal ones leave one way to ask.
        self.size() == other.size() && self.is_subset(other)
    }

    /// Whether the packet is held.
    #[must_use]
    pub fn contains(&self, point: &Point) -> bool {
        self.boxes.iter().any(|packets| packets.contains(point))
    }

    /// The lowest packet held; `None` when empty.
    #[must_use]
    pub fn witness(&self) -> Option<Point> {
        self.boxes.iter().filter_map(PacketBox::lowest).min()
    }

    /// How many packets are held.
    #[must_use]
    pub fn size(&self) -> BigUint {
        self.boxes.iter().map(PacketBox::size).sum()
    }

    /// The boxes: none empty, pairwise disjoint.
    #[must_use]
    pub fn boxes(&self) -> &[PacketBox] {
        &self.boxes
    }

    /// The same packets in fewer boxes: those that differ in a single field are
    /// joined, until no two are left that do. Not the fewest possible.
    #[must_use]
    pub fn merged(&self) -> Self {
        let mut boxes = self.boxes.clone();
        let mut before = usize::MAX;
        while boxes.len() < before {
            before = boxes.len();
            // Fields at the end first: ports join before addresses do.
            for field in Field::ALL.into_iter().rev() {
                boxes = joined_along(field, boxes);
            }
        }
        Self::checked(boxes)
    }

    fn plus(mut self, packets: PacketBox) -> Self {
        let new = outside(packets, &self.boxes);
        self.boxes.extend(new);
        self
    }

    fn checked(boxes: Vec<PacketBox>) -> Self {
        debug_assert!(
            boxes.iter().all(|packets| !packets.is_empty()),
            "a packet set keeps no empty box"
        );
        Self { boxes }
    }
}

/// The union of the boxes, which may overlap and be empty.
impl FromIterator<PacketBox> for PacketSet {
    fn from_iter<T: IntoIterator<Item = PacketBox>>(boxes: T) -> Self {
        boxes.into_iter().fold(Self::empty(), Self::plus)
    }
}

/// What `holes` leave of `packets`, disjoint and without empty boxes.
fn outside(packets: PacketBox, holes: &[PacketBox]) -> Vec<PacketBox> {
    let mut pieces = vec![packets];
    pieces.retain(|piece| !piece.is_empty());
    for hole in holes {
        if pieces.is_empty() {
            break;
        }
        if pieces.iter().any(|piece| piece.overlaps(hole)) {
            pieces = pieces.iter().flat_map(|p| p.difference(hole)).collect();
        }
    }
    pieces
}

/// Joins boxes equal in all fields but `field`; first come, first kept.
fn joined_along(field: Field, boxes: Vec<PacketBox>) -> Vec<PacketBox> {
    let mut places: FxHashMap<PacketBox, usize> = FxHashMap::default();
    let mut joined: Vec<PacketBox> = Vec::with_capacity(boxes.len());
    for packets in boxes {
        let key = packets.clone().with(field, IntervalSet::empty());
        let place = *places.entry(key).or_insert(joined.len());
        if let Some(kept) = joined.get_mut(place) {
            let wider = kept.field(field).union(packets.field(field));
            *kept = packets.with(field, wider);
        } else {
            joined.push(packets);
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Space;

    fn square(x: (u128, u128), y: (u128, u128)) -> PacketBox {
        PacketBox::full(&Space::new([0, 0, 9, 9, 0, 0, 0]))
            .with(Field::Source, IntervalSet::range(x.0, x.1))
            .with(Field::Destination, IntervalSet::range(y.0, y.1))
    }

    #[test]
    fn merging_undoes_cutting() {
        let whole = PacketSet::from_box(square((0, 9), (0, 9)));
        let hole = PacketSet::from_box(square((3, 5), (4, 6)));
        let pieces = whole.difference(&hole).union(&hole);
        assert!(pieces.boxes().len() > 1 && pieces.equals(&whole));
        assert_eq!(pieces.merged().boxes(), whole.boxes());
    }

    #[test]
    fn overlapping_boxes_are_counted_once() {
        let cross: PacketSet = [square((0, 9), (4, 4)), square((4, 4), (0, 9))]
            .into_iter()
            .collect();
        assert_eq!(cross.size(), BigUint::from(19u32));
        let lowest = Point::default().with(Field::Destination, 4);
        assert_eq!(cross.witness(), Some(lowest));
    }

    #[test]
    fn empty_boxes_vanish() {
        let empty = square((0, 1), (0, 1)).with(Field::Source, IntervalSet::empty());
        assert!(PacketSet::from_box(empty).is_empty());
    }

    #[test]
    fn sets_are_equal_when_they_hold_the_same_packets() {
        let of = |x, y| PacketSet::from_box(square(x, y));
        let whole = of((0, 9), (0, 9));
        let part = of((0, 4), (0, 9));
        let other = of((5, 9), (0, 9));
        assert!(whole.equals(&part.union(&other)));
        assert!(part.is_subset(&whole) && !part.equals(&whole) && !whole.equals(&part));
        assert!(part.size() == other.size() && !part.equals(&other));
    }
}
