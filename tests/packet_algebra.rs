//! The algebra of intervals, boxes and packet sets: every case of a tiny
//! universe, and the laws on large random ones.

#[path = "oracles/small.rs"]
mod small;

use boundwalk::packet::{Field, Interval, IntervalSet, PacketBox, PacketSet, Point, Space};
use num_bigint::BigUint;
use proptest::prelude::*;

// ---- every pair of boxes with three fields of three, two and three values

const TINY: Space = Space::new([0, 0, 2, 1, 0, 0, 2]);

/// All boxes of the tiny universe, empty ones too, with their packets as bits.
fn tiny_boxes(points: &[Point]) -> Vec<(PacketBox, u32)> {
    let mut boxes = Vec::new();
    for source in 0..8 {
        for destination in 0..4 {
            for port in 0..8 {
                let packets = PacketBox::full(&TINY)
                    .with(Field::Source, small::values(source))
                    .with(Field::Destination, small::values(destination))
                    .with(Field::DestinationPort, small::values(port));
                // By the arguments alone: nothing of the box is asked.
                let held = |point: &Point| {
                    source >> point.get(Field::Source) & 1 == 1
                        && destination >> point.get(Field::Destination) & 1 == 1
                        && port >> point.get(Field::DestinationPort) & 1 == 1
                };
                boxes.push((packets, bits(points, held)));
            }
        }
    }
    boxes
}

fn bits(points: &[Point], held: impl Fn(&Point) -> bool) -> u32 {
    points
        .iter()
        .enumerate()
        .filter(|(_, point)| held(point))
        .map(|(n, _)| 1 << n)
        .sum()
}

/// The packets of a list of boxes as bits; fails when two share a packet or one
/// is empty.
fn disjoint_bits(points: &[Point], boxes: &[PacketBox]) -> u32 {
    boxes.iter().fold(0, |all, packets| {
        let more = bits(points, |point| packets.contains(point));
        assert!(more != 0, "an empty box in {boxes:?}");
        assert_eq!(all & more, 0, "a packet twice in {boxes:?}");
        all | more
    })
}

fn lowest(points: &[Point], bits: u32) -> Option<Point> {
    points.get(bits.trailing_zeros() as usize).copied()
}

#[test]
fn every_pair_of_tiny_boxes_agrees_with_bits() {
    let points = small::points(&TINY);
    let boxes = tiny_boxes(&points);
    assert_eq!((points.len(), boxes.len()), (18, 256));
    for (a, x) in &boxes {
        assert_eq!(bits(&points, |point| a.contains(point)), *x);
        assert_eq!(a.size(), BigUint::from(x.count_ones()));
        assert_eq!(a.lowest(), lowest(&points, *x));
        assert_eq!(a.is_empty(), *x == 0);
        for (b, y) in &boxes {
            assert_eq!(a.overlaps(b), x & y != 0, "{a:?} meets {b:?}");
            assert_eq!(a.is_subset(b), x & !y == 0, "{a:?} in {b:?}");
            let both = Vec::from_iter(a.intersection(b));
            assert_eq!(disjoint_bits(&points, &both), x & y);
            let rest = a.difference(b);
            assert!(rest.len() <= 3, "three fields can differ: {rest:?}");
            assert_eq!(disjoint_bits(&points, &rest), x & !y);
        }
    }
}

#[test]
fn every_fifth_pair_of_tiny_sets_agrees_with_bits() {
    let points = small::points(&TINY);
    let boxes = tiny_boxes(&points);
    // Sets of two boxes that often overlap, and often do not.
    let sets: Vec<(PacketSet, u32)> = (0..boxes.len())
        .map(|n| {
            let (a, x) = &boxes[n];
            let (b, y) = &boxes[(n * 37 + 11) % boxes.len()];
            (PacketSet::from_iter([a.clone(), b.clone()]), x | y)
        })
        .collect();
    for (s, x) in &sets {
        assert_eq!(disjoint_bits(&points, s.boxes()), *x);
        assert_eq!(disjoint_bits(&points, s.merged().boxes()), *x);
        assert_eq!(s.size(), BigUint::from(x.count_ones()));
        assert_eq!(s.witness(), lowest(&points, *x));
        for (t, y) in sets.iter().step_by(5) {
            assert_eq!(disjoint_bits(&points, s.union(t).boxes()), x | y);
            assert_eq!(disjoint_bits(&points, s.intersection(t).boxes()), x & y);
            assert_eq!(disjoint_bits(&points, s.difference(t).boxes()), x & !y);
            assert_eq!(s.is_subset(t), x & !y == 0);
            assert_eq!(s.equals(t), x == y);
        }
    }
}

// ---- laws on sets of 128-bit numbers

/// Up to `most` intervals anywhere, many of them near each other or at the ends.
fn any_set(most: usize) -> impl Strategy<Value = IntervalSet> {
    let low = prop_oneof![
        (0u128..400),
        any::<u128>(),
        (0u128..400).prop_map(|v| u128::MAX - v)
    ];
    let width = prop_oneof![0u128..6, any::<u128>()];
    let interval = (low, width).prop_map(|(low, width)| {
        Interval::new(low, low.saturating_add(width)).expect("the end is not below the start")
    });
    prop::collection::vec(interval, 0..most).prop_map(IntervalSet::from_iter)
}

/// Points, every third of a run of 1,200: long lists, to be met by short ones.
fn comb() -> IntervalSet {
    (0..400).map(|n| Interval::point(3 * n)).collect()
}

proptest! {
    #[test]
    fn interval_sets_form_a_boolean_algebra(x in any_set(9), y in any_set(9), z in any_set(40)) {
        prop_assert_eq!(x.union(&y), y.union(&x));
        prop_assert_eq!(x.intersection(&y), y.intersection(&x));
        prop_assert_eq!(x.union(&y).union(&z), x.union(&y.union(&z)));
        prop_assert_eq!(
            x.intersection(&y.union(&z)),
            x.intersection(&y).union(&x.intersection(&z))
        );
        prop_assert_eq!(
            x.union(&y.intersection(&z)),
            x.union(&y).intersection(&x.union(&z))
        );
        prop_assert_eq!(x.union(&x.intersection(&y)), x.clone());
        prop_assert_eq!(x.difference(&y).union(&x.intersection(&y)), x.clone());
        prop_assert!(!x.difference(&y).overlaps(&y));
        prop_assert_eq!(
            z.difference(&x.union(&y)),
            z.difference(&x).intersection(&z.difference(&y))
        );
        prop_assert_eq!(
            x.size() + z.size(),
            x.union(&z).size() + x.intersection(&z).size()
        );
    }

    #[test]
    fn inclusion_and_overlap_follow_from_the_operations(
        x in any_set(6),
        y in prop_oneof![any_set(60), Just(comb())],
    ) {
        prop_assert_eq!(x.is_subset(&y), x.difference(&y).is_empty());
        prop_assert_eq!(y.is_subset(&x), y.difference(&x).is_empty());
        prop_assert_eq!(x.overlaps(&y), !x.intersection(&y).is_empty());
        prop_assert_eq!(y.overlaps(&x), !x.intersection(&y).is_empty());
        prop_assert!(x.intersection(&y).is_subset(&y) && y.is_subset(&y.union(&x)));
    }

    #[test]
    fn membership_follows_the_operations(x in any_set(20), y in any_set(20), at in 0u128..410) {
        for value in [at, u128::MAX - at] {
            let (in_x, in_y) = (x.contains(value), y.contains(value));
            prop_assert_eq!(x.union(&y).contains(value), in_x || in_y);
            prop_assert_eq!(x.intersection(&y).contains(value), in_x && in_y);
            prop_assert_eq!(x.difference(&y).contains(value), in_x && !in_y);
            let listed = x.intervals().iter().any(|part| part.contains(value));
            prop_assert_eq!(in_x, listed);
        }
    }

    // ---- laws on sets of packets

    #[test]
    fn packet_sets_form_a_boolean_algebra(
        x in prop::collection::vec(small::any_box(small::space()), 0..5),
        y in prop::collection::vec(small::any_box(small::space()), 0..5),
    ) {
        let all = PacketSet::from_box(PacketBox::full(&small::space()));
        let (x, y) = (PacketSet::from_iter(x), PacketSet::from_iter(y));
        prop_assert!(x.union(&y).equals(&y.union(&x)));
        prop_assert!(x.intersection(&y).equals(&y.intersection(&x)));
        prop_assert!(x.difference(&y).union(&x.intersection(&y)).equals(&x));
        prop_assert!(x.difference(&y).intersection(&y).is_empty());
        let outside = |s: &PacketSet| all.difference(s);
        prop_assert!(outside(&x.union(&y)).equals(&outside(&x).intersection(&outside(&y))));
        prop_assert!(outside(&outside(&x)).equals(&x));
        prop_assert_eq!(
            x.size() + y.size(),
            x.union(&y).size() + x.intersection(&y).size()
        );
        prop_assert_eq!(x.is_subset(&y), x.difference(&y).is_empty());
        prop_assert!(x.merged().equals(&x));
        prop_assert!(x.merged().boxes().len() <= x.boxes().len());
    }

    #[test]
    fn packet_sets_hold_what_their_boxes_held(
        boxes in prop::collection::vec(small::any_box(small::space()), 0..6),
    ) {
        let set: PacketSet = boxes.iter().cloned().collect();
        let points = small::points(&small::space());
        let held: Vec<&Point> = points
            .iter()
            .filter(|point| boxes.iter().any(|packets| packets.contains(point)))
            .collect();
        prop_assert_eq!(set.size(), BigUint::from(held.len()));
        prop_assert_eq!(set.witness(), held.first().map(|point| **point));
        for point in &points {
            let times = set.boxes().iter().filter(|b| b.contains(point)).count();
            prop_assert_eq!(times, usize::from(held.contains(&point)));
        }
    }
}

#[test]
fn the_whole_ipv6_space_minus_a_point_is_counted_exactly() {
    let space = Space::ipv6(4);
    let all = PacketBox::full(&space);
    let point = PacketBox::new(Field::ALL.map(|_| IntervalSet::point(1)));
    let rest = PacketSet::from_box(all.clone()).difference(&PacketSet::from_box(point));
    // 2 + 2 bits of interfaces, twice 128 of addresses, 8 + 16 + 16 of service.
    assert_eq!(all.size(), BigUint::from(1u32) << 300);
    assert_eq!(rest.size() + 1u32, all.size());
    assert_eq!(rest.boxes().len(), 7);
}
