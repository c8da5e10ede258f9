//! One run of consecutive numbers.

use num_bigint::BigUint;

/// The numbers from `low` to `high`, both included.
///
/// Never empty. Ordered by `low`, then by `high`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Interval {
    /// Invariant: `low <= high`.
    low: u128,
    high: u128,
}

impl Interval {
    /// The interval from `low` to `high`; `None` when `low > high`.
    #[must_use]
    pub const fn new(low: u128, high: u128) -> Option<Self> {
        if low <= high {
            Some(Self { low, high })
        } else {
            None
        }
    }

    /// The interval that holds `value` alone.
    #[must_use]
    pub const fn point(value: u128) -> Self {
        Self {
            low: value,
            high: value,
        }
    }

    /// The lowest number held.
    #[must_use]
    pub const fn low(self) -> u128 {
        self.low
    }

    /// The highest number held.
    #[must_use]
    pub const fn high(self) -> u128 {
        self.high
    }

    /// Whether `low <= value <= high`.
    #[must_use]
    pub const fn contains(self, value: u128) -> bool {
        self.low <= value && value <= self.high
    }

    /// How many numbers it holds, 1 up to 2^128.
    #[must_use]
    pub fn size(self) -> BigUint {
        BigUint::from(self.high - self.low) + 1u32
    }

    /// For bounds already known to be in order.
    pub(super) fn between(low: u128, high: u128) -> Self {
        debug_assert!(low <= high, "an interval is never empty");
        Self { low, high }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reversed_bounds_are_refused() {
        assert_eq!(Interval::new(3, 2), None);
        assert_eq!(Interval::new(2, 2), Some(Interval::point(2)));
    }

    #[test]
    fn both_ends_belong() {
        let interval = Interval::between(4, 6);
        let held: Vec<u128> = (0..10).filter(|v| interval.contains(*v)).collect();
        assert_eq!(held, [4, 5, 6]);
        assert_eq!((interval.low(), interval.high()), (4, 6));
    }

    #[test]
    fn the_widest_interval_has_a_size() {
        let all = Interval::between(0, u128::MAX);
        assert_eq!(all.size(), BigUint::from(1u32) << 128);
        assert_eq!(Interval::point(7).size(), BigUint::from(1u32));
    }
}
