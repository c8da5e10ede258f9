//! Sets of numbers as sorted lists of intervals.

use num_bigint::BigUint;
use smallvec::SmallVec;

use super::interval::Interval;

type Parts = SmallVec<[Interval; 1]>;

/// A set of numbers below 2^128.
///
/// The intervals are sorted, disjoint and never adjacent, so each set has one
/// form only and `==` is equality of sets. One interval is kept without
/// allocation.
///
/// Below, `a` and `b` are the numbers of intervals on the two sides. Every
/// operation on two sets gallops: it skips over the longer side by doubling
/// steps, so a short list meets a long one in about `a log b`, and two long
/// ones in `a + b`.
///
/// `union` and `intersection` are commutative, associative and idempotent, each
/// absorbs and distributes over the other; `x.difference(y)` is disjoint from
/// `y`, and joined with `x.intersection(y)` it gives `x` back.
///
/// The order (`Ord`) is that of the interval lists. It serves sorting only, it
/// is not inclusion.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default, PartialOrd, Ord)]
pub struct IntervalSet {
    /// Invariant: `parts[i].high() + 1 < parts[i + 1].low()`.
    parts: Parts,
}

impl IntervalSet {
    /// The set that holds nothing.
    #[must_use]
    pub fn empty() -> Self {
        Self::default()
    }

    /// The set that holds `value` alone.
    #[must_use]
    pub fn point(value: u128) -> Self {
        Self::from(Interval::point(value))
    }

    /// The numbers from `low` to `high`, both included.
    ///
    /// # Panics
    /// When `low > high`; [`Interval::new`] is the checked way.
    #[must_use]
    pub fn range(low: u128, high: u128) -> Self {
        assert!(low <= high, "reversed range {low}..={high}");
        Self::from(Interval::between(low, high))
    }

    /// Whether the set holds nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.parts.is_empty()
    }

    /// Whether the set holds `value`; binary search.
    #[must_use]
    pub fn contains(&self, value: u128) -> bool {
        let at = self.parts.partition_point(|part| part.high() < value);
        self.parts.get(at).is_some_and(|part| part.low() <= value)
    }

    /// The intervals: ascending, disjoint, not adjacent.
    #[must_use]
    pub fn intervals(&self) -> &[Interval] {
        &self.parts
    }

    /// The lowest number held; `None` when empty.
    #[must_use]
    pub fn lowest(&self) -> Option<u128> {
        self.parts.first().map(|part| part.low())
    }

    /// The highest number held; `None` when empty.
    #[must_use]
    pub fn highest(&self) -> Option<u128> {
        self.parts.last().map(|part| part.high())
    }

    /// The numbers in either set, in `a + b`.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        let (mut left, mut right) = (&self.parts[..], &other.parts[..]);
        let mut parts = Parts::with_capacity(left.len().max(right.len()));
        loop {
            let from_left = match (left, right) {
                ([], []) => break,
                ([l, ..], [r, ..]) => l <= r,
                (rest, _) => !rest.is_empty(),
            };
            let side = if from_left { &mut left } else { &mut right };
            push_joined(&mut parts, side[0]);
            *side = &side[1..];
        }
        Self::checked(parts)
    }

    /// The numbers in both sets.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        let mut parts = Parts::new();
        for_each_common(&self.parts, &other.parts, |common| {
            parts.push(common);
            true
        });
        Self::checked(parts)
    }

    /// The numbers in `self` and not in `other`.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Self {
        let holes = &other.parts[..];
        let mut parts = Parts::new();
        let mut at = 0;
        for part in &self.parts {
            at = seek(holes, at, part.low());
            push_outside(&mut parts, *part, &holes[at..]);
        }
        Self::checked(parts)
    }

    /// Whether every number of `self` is in `other`.
    ///
    /// Reflexive, transitive; both ways means equal. The empty set is a subset
    /// of every set.
    #[must_use]
    pub fn is_subset(&self, other: &Self) -> bool {
        let (Some(low), Some(high)) = (self.lowest(), self.highest()) else {
            return true;
        };
        let inside =
            other.lowest().is_some_and(|l| l <= low) && other.highest().is_some_and(|h| high <= h);
        // Between the outer bounds only gaps of `other` can refute.
        inside && (other.parts.len() == 1 || each_within(&self.parts, &other.parts))
    }

    /// Whether some number is in both sets; symmetric.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        // By far the most frequent meeting: one interval with one.
        if let ([a], [b]) = (&self.parts[..], &other.parts[..]) {
            return a.low() <= b.high() && b.low() <= a.high();
        }
        let mut found = false;
        for_each_common(&self.parts, &other.parts, |_| {
            found = true;
            false
        });
        found
    }

    /// How many numbers the set holds, 0 up to 2^128.
    ///
    /// Law: `size(x) + size(y) = size(x ∪ y) + size(x ∩ y)`.
    #[must_use]
    pub fn size(&self) -> BigUint {
        self.parts.iter().map(|part| part.size()).sum()
    }

    fn checked(parts: Parts) -> Self {
        debug_assert!(
            parts
                .windows(2)
                .all(|pair| pair[0].high() < pair[1].low() && pair[1].low() - pair[0].high() > 1),
            "intervals must be sorted, disjoint and apart: {parts:?}"
        );
        Self { parts }
    }
}

impl From<Interval> for IntervalSet {
    fn from(interval: Interval) -> Self {
        let mut parts = Parts::new();
        parts.push(interval);
        Self { parts }
    }
}

/// The union of the intervals, which may come in any order and overlap;
/// `n log n`.
impl FromIterator<Interval> for IntervalSet {
    fn from_iter<T: IntoIterator<Item = Interval>>(intervals: T) -> Self {
        let mut sorted: Parts = intervals.into_iter().collect();
        sorted.sort_unstable();
        let mut parts = Parts::new();
        for interval in sorted {
            push_joined(&mut parts, interval);
        }
        Self::checked(parts)
    }
}

/// The union of many sets at once.
impl<'a> FromIterator<&'a IntervalSet> for IntervalSet {
    fn from_iter<T: IntoIterator<Item = &'a IntervalSet>>(sets: T) -> Self {
        let parts = sets.into_iter().flat_map(|set| set.intervals());
        parts.copied().collect()
    }
}

/// Appends `next`, which starts no lower than the last one, joining the two
/// when they touch.
fn push_joined(parts: &mut Parts, next: Interval) {
    if let Some(last) = parts.last_mut()
        && next.low() <= last.high().saturating_add(1)
    {
        *last = Interval::between(last.low(), last.high().max(next.high()));
        return;
    }
    parts.push(next);
}

/// Appends what `holes` leave of `part`. No hole ends before `part` starts.
fn push_outside(parts: &mut Parts, part: Interval, holes: &[Interval]) {
    let mut low = part.low();
    for hole in holes {
        if hole.low() > part.high() {
            break;
        }
        if hole.low() > low {
            parts.push(Interval::between(low, hole.low() - 1));
        }
        if hole.high() >= part.high() {
            return;
        }
        low = hole.high() + 1;
    }
    parts.push(Interval::between(low, part.high()));
}

/// Calls `visit` with each interval common to both lists, ascending, until it
/// says `false`. The pieces are never adjacent: two neighbouring numbers held
/// by both sides lie in one interval of each.
fn for_each_common(left: &[Interval], right: &[Interval], mut visit: impl FnMut(Interval) -> bool) {
    let (mut l, mut r) = (0, 0);
    while l < left.len() && r < right.len() {
        let (a, b) = (left[l], right[r]);
        let (low, high) = (a.low().max(b.low()), a.high().min(b.high()));
        if low <= high && !visit(Interval::between(low, high)) {
            return;
        }
        if a.high() < b.high() {
            l = seek(left, l + 1, b.low());
        } else {
            r = seek(right, r + 1, a.low());
        }
    }
}

fn each_within(parts: &[Interval], outer: &[Interval]) -> bool {
    let mut at = 0;
    parts.iter().all(|part| {
        at = seek(outer, at, part.low());
        outer
            .get(at)
            .is_some_and(|o| o.low() <= part.low() && part.high() <= o.high())
    })
}

/// The first index at or after `from` whose interval ends at or after `value`:
/// doubling steps, then binary search in the last step.
fn seek(parts: &[Interval], from: usize, value: u128) -> usize {
    if parts.get(from).is_none_or(|part| part.high() >= value) {
        return from;
    }
    let (mut before, mut step) = (from, 1);
    while parts
        .get(before + step)
        .is_some_and(|part| part.high() < value)
    {
        before += step;
        step *= 2;
    }
    let end = parts.len().min(before + step);
    before + 1 + parts[before + 1..end].partition_point(|part| part.high() < value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(bounds: &[(u128, u128)]) -> IntervalSet {
        bounds
            .iter()
            .map(|(low, high)| Interval::between(*low, *high))
            .collect()
    }

    fn from_bits(bits: u32) -> IntervalSet {
        (0..32u32)
            .filter(|v| bits >> v & 1 == 1)
            .map(|v| Interval::point(u128::from(v)))
            .collect()
    }

    fn to_bits(set: &IntervalSet) -> u32 {
        (0..32u32)
            .filter(|v| set.contains(u128::from(*v)))
            .map(|v| 1 << v)
            .sum()
    }

    #[test]
    fn all_pairs_of_sets_of_seven_numbers_agree_with_bits() {
        for x in 0..128u32 {
            let a = from_bits(x);
            assert_eq!(to_bits(&a), x);
            assert_eq!(a.size(), BigUint::from(x.count_ones()));
            for y in 0..128u32 {
                let b = from_bits(y);
                assert_eq!(a.union(&b), from_bits(x | y), "{x:b} or {y:b}");
                assert_eq!(a.intersection(&b), from_bits(x & y), "{x:b} and {y:b}");
                assert_eq!(a.difference(&b), from_bits(x & !y), "{x:b} less {y:b}");
                assert_eq!(a.is_subset(&b), x & !y == 0, "{x:b} in {y:b}");
                assert_eq!(a.overlaps(&b), x & y != 0, "{x:b} meets {y:b}");
            }
        }
    }

    #[test]
    fn intervals_join_when_they_touch() {
        assert_eq!(set(&[(5, 9), (0, 2), (3, 4), (8, 12)]), set(&[(0, 12)]));
        assert_eq!(set(&[(0, 2), (4, 4)]).intervals().len(), 2);
    }

    #[test]
    fn the_ends_of_the_number_range_are_safe() {
        let top = IntervalSet::point(u128::MAX);
        let all = IntervalSet::range(0, u128::MAX);
        let rest = all.difference(&top);
        assert_eq!(rest, IntervalSet::range(0, u128::MAX - 1));
        assert_eq!(rest.union(&top), all);
        assert_eq!(all.size(), BigUint::from(1u32) << 128);
        assert_eq!(all.difference(&IntervalSet::point(0)).lowest(), Some(1));
        assert_eq!(top.highest(), Some(u128::MAX));
    }

    #[test]
    fn seek_finds_the_same_place_as_a_scan() {
        let many: Vec<Interval> = (0..40)
            .map(|i| Interval::between(3 * i, 3 * i + 1))
            .collect();
        for from in 0..=40 {
            for value in 0..125 {
                let scanned = (from..40).find(|i| many[*i].high() >= value).unwrap_or(40);
                assert_eq!(seek(&many, from, value), scanned, "from {from} to {value}");
            }
        }
    }

    #[test]
    #[should_panic(expected = "reversed range")]
    fn a_reversed_range_panics() {
        let _ = IntervalSet::range(2, 1);
    }
}
