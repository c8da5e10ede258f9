//! Products: one set of values per field.

use num_bigint::BigUint;

use super::field::{Field, Point, Space};
use super::interval_set::IntervalSet;

/// The packets whose every field lies in that field's set.
///
/// Empty as soon as one field is. Since empty boxes have many forms, `==` is
/// equality of packets for boxes that are not empty only.
#[derive(Clone, PartialEq, Eq, Hash, Debug, PartialOrd, Ord)]
pub struct PacketBox {
    fields: [IntervalSet; Field::COUNT],
}

impl PacketBox {
    /// The box with the given sets, in the order of [`Field::ALL`].
    #[must_use]
    pub const fn new(fields: [IntervalSet; Field::COUNT]) -> Self {
        Self { fields }
    }

    /// All packets of `space`.
    #[must_use]
    pub fn full(space: &Space) -> Self {
        Self::new(Field::ALL.map(|field| space.full(field)))
    }

    /// The same box with `set` in `field`.
    #[must_use]
    pub fn with(mut self, field: Field, set: IntervalSet) -> Self {
        self.fields[field.index()] = set;
        self
    }

    /// The values `field` may take.
    #[must_use]
    pub fn field(&self, field: Field) -> &IntervalSet {
        &self.fields[field.index()]
    }

    /// Whether no packet is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.fields.iter().any(IntervalSet::is_empty)
    }

    /// Whether the packet is held; one binary search per field.
    #[must_use]
    pub fn contains(&self, point: &Point) -> bool {
        Field::ALL
            .into_iter()
            .all(|field| self.field(field).contains(point.get(field)))
    }

    /// The packets in both boxes, again a box; `None` when there are none.
    ///
    /// Commutative, associative, idempotent on boxes that are not empty.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Option<Self> {
        if !self.overlaps(other) {
            return None;
        }
        let common = |field| self.field(field).intersection(other.field(field));
        Some(Self::new(Field::ALL.map(common)))
    }

    /// Whether some packet is in both boxes; symmetric.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.pairs(other)
            .all(|(mine, theirs)| mine.overlaps(theirs))
    }

    /// Whether every packet of `self` is in `other`. An empty box is a subset
    /// of every box.
    #[must_use]
    pub fn is_subset(&self, other: &Self) -> bool {
        self.pairs(other)
            .all(|(mine, theirs)| mine.is_subset(theirs))
            || self.is_empty()
    }

    /// The lowest packet held, which is lowest in each field too; `None` when
    /// empty.
    #[must_use]
    pub fn lowest(&self) -> Option<Point> {
        let mut lowest = Point::default();
        for field in Field::ALL {
            lowest = lowest.with(field, self.field(field).lowest()?);
        }
        Some(lowest)
    }

    /// How many packets are held: the product of the fields' sizes.
    #[must_use]
    pub fn size(&self) -> BigUint {
        self.fields.iter().map(IntervalSet::size).product()
    }

    /// The packets of `self` outside `other`, as disjoint boxes, none empty.
    ///
    /// At most seven: a field holds a set, so the slab outside `other` in one
    /// field, and inside it in the fields before, is a single box. Together
    /// with the intersection they give `self` back, disjointly.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Vec<Self> {
        if self.is_empty() {
            return Vec::new();
        }
        if !self.overlaps(other) {
            return vec![self.clone()];
        }
        let mut inside = self.clone();
        let mut slabs = Vec::new();
        for field in Field::ALL {
            let outside = self.field(field).difference(other.field(field));
            if outside.is_empty() {
                continue;
            }
            slabs.push(inside.clone().with(field, outside));
            let common = self.field(field).intersection(other.field(field));
            inside = inside.with(field, common);
        }
        slabs
    }

    /// How many boxes [`PacketBox::difference`] gives, when the two overlap.
    pub(super) fn slabs_left_by(&self, other: &Self) -> usize {
        self.pairs(other)
            .filter(|(mine, theirs)| !mine.is_subset(theirs))
            .count()
    }

    fn pairs<'a>(
        &'a self,
        other: &'a Self,
    ) -> impl Iterator<Item = (&'a IntervalSet, &'a IntervalSet)> {
        self.fields.iter().zip(&other.fields)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ports(low: u128, high: u128) -> PacketBox {
        PacketBox::full(&Space::ipv4(2)).with(Field::DestinationPort, IntervalSet::range(low, high))
    }

    #[test]
    fn a_hole_in_one_field_leaves_one_slab() {
        let rest = ports(0, 99).difference(&ports(10, 19));
        assert_eq!(rest.len(), 1);
        assert_eq!(rest[0].field(Field::DestinationPort).intervals().len(), 2);
        assert_eq!(ports(0, 99).slabs_left_by(&ports(10, 19)), 1);
    }

    #[test]
    fn a_point_cut_from_everything_leaves_seven_slabs() {
        let all = PacketBox::full(&Space::ipv4(2));
        let corner = PacketBox::new(Field::ALL.map(|_| IntervalSet::point(1)));
        let slabs = all.difference(&corner);
        assert_eq!(slabs.len(), 7);
        let total: BigUint = slabs.iter().map(PacketBox::size).sum();
        assert_eq!(total + 1u32, all.size());
    }

    #[test]
    fn empty_boxes_are_inside_everything() {
        let empty = ports(0, 9).with(Field::Source, IntervalSet::empty());
        assert!(empty.is_empty() && empty.is_subset(&ports(50, 60)));
        assert_eq!(empty.lowest(), None);
        assert_eq!(empty.intersection(&ports(0, 9)), None);
        assert!(empty.difference(&ports(50, 60)).is_empty());
        assert_eq!(ports(0, 9).difference(&empty), [ports(0, 9)]);
    }
}
