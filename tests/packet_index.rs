//! First match and coverage against plain scans.

#[path = "oracles/small.rs"]
mod small;

use boundwalk::packet::{
    Coverage, Field, Interval, IntervalSet, PacketBox, Point, RuleIndex, Space, cover,
};
use proptest::prelude::*;

/// Values up to 40, so that boxes and points meet often in every field.
const WIDE: Space = Space::new([40; Field::COUNT]);

fn any_interval() -> impl Strategy<Value = Interval> {
    (0u128..=40, 0u128..=40)
        .prop_map(|(a, b)| Interval::new(a.min(b), a.max(b)).expect("sorted bounds"))
}

/// One or two intervals in up to three fields, the others full; at times empty.
fn any_wide_box() -> impl Strategy<Value = PacketBox> {
    let set = prop_oneof![
        9 => prop::collection::vec(any_interval(), 1..3),
        1 => Just(Vec::new()),
    ];
    prop::collection::vec((0..Field::COUNT, set), 0..4).prop_map(|parts| {
        let full = PacketBox::full(&WIDE);
        parts.into_iter().fold(full, |packets, (field, set)| {
            packets.with(Field::ALL[field], set.into_iter().collect())
        })
    })
}

fn any_point() -> impl Strategy<Value = Point> {
    prop::array::uniform7(0u128..=40).prop_map(Point::new)
}

fn scan(boxes: &[PacketBox], held: impl Fn(&PacketBox) -> bool) -> Vec<usize> {
    (0..boxes.len()).filter(|n| held(&boxes[*n])).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn look_ups_agree_with_scans(
        some in prop::collection::vec(any_wide_box(), 0..60),
        repeats in 1usize..30,
        points in prop::collection::vec(any_point(), 40),
        asked in prop::collection::vec(any_interval(), 0..4),
    ) {
        // Lists longer than a line of 512, at the price of a short one; the
        // second and later rounds are thinned so that rounds differ.
        let thinned = |round: usize| some.iter().skip(round % 7).step_by(1 + round % 3);
        let boxes: Vec<PacketBox> = (0..repeats).flat_map(thinned).cloned().collect();
        let index = RuleIndex::new(&WIDE, &boxes);
        prop_assert_eq!(index.len(), boxes.len());
        for point in &points {
            let holders = scan(&boxes, |packets| packets.contains(point));
            prop_assert_eq!(index.first_match(point), holders.first().copied());
            prop_assert_eq!(index.holders(point), holders);
        }
        let asked: IntervalSet = asked.into_iter().collect();
        for field in Field::ALL {
            let expected = scan(&boxes, |packets| packets.field(field).overlaps(&asked));
            let found: Vec<usize> = index.overlapping(field, &asked).iter().collect();
            prop_assert_eq!(found, expected);
        }
    }
}

/// The lowest point of `target` that no counted box below `before` holds.
fn lowest_uncovered(
    target: &PacketBox,
    boxes: &[PacketBox],
    counted: impl Fn(usize) -> bool,
) -> Option<Point> {
    let covered = |point: &Point| (0..boxes.len()).any(|n| counted(n) && boxes[n].contains(point));
    small::points(&small::space())
        .into_iter()
        .find(|point| target.contains(point) && !covered(point))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn coverage_agrees_with_listing_all_points(
        target in small::any_box(small::space()),
        boxes in prop::collection::vec(small::any_box(small::space()), 0..14),
        before in 0usize..16,
        skipped in 0usize..4,
    ) {
        let index = RuleIndex::new(&small::space(), &boxes);
        let counts = |n: usize| n % 4 != skipped;
        let counted = |n: usize| n < before && counts(n);
        let expected = lowest_uncovered(&target, &boxes, counted);
        match cover(&target, &boxes, &index, before, counts, usize::MAX) {
            Coverage::Witness(point) => prop_assert_eq!(Some(point), expected),
            Coverage::Covered { by } => {
                prop_assert_eq!(expected, None);
                prop_assert!(by.is_sorted() && by.iter().all(|n| counted(*n)));
                let left = lowest_uncovered(&target, &boxes, |n| by.contains(&n));
                prop_assert_eq!(left, None, "{:?} do not cover", by);
            }
            Coverage::Unknown { .. } => prop_assert!(false, "there was no limit"),
        }
    }

    #[test]
    fn a_limit_withholds_answers_and_changes_none(
        boxes in prop::collection::vec(small::any_box(small::space()), 4..14),
        limit in 0usize..6,
    ) {
        let index = RuleIndex::new(&small::space(), &boxes);
        let target = PacketBox::full(&small::space());
        let attempt = |limit| cover(&target, &boxes, &index, boxes.len(), |_| true, limit);
        match attempt(limit) {
            Coverage::Unknown { examined } => prop_assert_eq!(examined, limit),
            known => prop_assert_eq!(known, attempt(usize::MAX)),
        }
    }
}

#[test]
fn addresses_at_the_top_of_both_families_are_found() {
    for space in [Space::ipv4(2), Space::ipv6(2)] {
        let top = space.top(Field::Source);
        let last = PacketBox::full(&space).with(Field::Source, IntervalSet::point(top));
        let rest = PacketBox::full(&space).with(Field::Source, IntervalSet::range(1, top - 1));
        let index = RuleIndex::new(&space, &[last, rest]);
        let at = |value| index.first_match(&Point::default().with(Field::Source, value));
        assert_eq!(
            [at(0), at(1), at(top - 1), at(top)],
            [None, Some(1), Some(1), Some(0)]
        );
    }
}

#[test]
fn memory_grows_with_what_is_kept() {
    let space = Space::ipv4(2);
    let rule = |n: u128| PacketBox::full(&space).with(Field::Source, IntervalSet::point(n * 10));
    let few: Vec<PacketBox> = (0..600).map(|n| rule(n % 3)).collect();
    let many: Vec<PacketBox> = (0..600).map(rule).collect();
    let (few, many) = (RuleIndex::new(&space, &few), RuleIndex::new(&space, &many));
    // 1,200 cuts, each with a row of two ids and a start, and 600 more lines.
    assert!(many.memory() > few.memory() + 600 * 64);
    assert!(many.memory() < 300_000, "{} bytes", many.memory());
}
