//! A universe small enough to list, and random boxes in it.
// Each test file includes this one and uses its own part of it.
#![allow(dead_code)]

use boundwalk::packet::{Field, Interval, IntervalSet, PacketBox, Point, Space};
use proptest::prelude::*;

/// Two to four values a field: 2 * 1 * 4 * 3 * 2 * 1 * 4 = 192 points.
pub const TOPS: [u128; Field::COUNT] = [1, 0, 3, 2, 1, 0, 3];

pub fn space() -> Space {
    Space::new(TOPS)
}

/// Every point of the universe, ascending.
pub fn points(space: &Space) -> Vec<Point> {
    let mut points = vec![Point::default()];
    for field in Field::ALL {
        let longer = |point: &Point| {
            let point = *point;
            (0..=space.top(field)).map(move |value| point.with(field, value))
        };
        points = points.iter().flat_map(longer).collect();
    }
    points
}

/// The values whose bit is set.
pub fn values(bits: u32) -> IntervalSet {
    (0..32u32)
        .filter(|value| bits >> value & 1 == 1)
        .map(|value| Interval::point(value.into()))
        .collect()
}

/// Any set of values up to `top`; full half of the time, so that boxes meet.
pub fn any_values(top: u128) -> impl Strategy<Value = IntervalSet> {
    let all = (1u32 << (top + 1)) - 1;
    prop_oneof![Just(all), 1..=all].prop_map(values)
}

pub fn any_box(space: Space) -> impl Strategy<Value = PacketBox> {
    Field::ALL
        .map(|field| any_values(space.top(field)).boxed())
        .to_vec()
        .prop_map(|sets| {
            let sets: [IntervalSet; Field::COUNT] = sets.try_into().expect("one set per field");
            PacketBox::new(sets)
        })
}
