//! Numbers that look random and repeat exactly: no clock, no seed from outside.

/// A stream of numbers.
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// SplitMix64 (*Fast splittable pseudorandom number generators*, OOPSLA 2014).
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `end`, which is at least 1.
    pub fn below(&mut self, end: usize) -> usize {
        (self.next() % end as u64) as usize
    }

    /// A number of `low..=high`.
    pub fn between(&mut self, low: usize, high: usize) -> usize {
        low + self.below(high - low + 1)
    }

    /// True in so many of a hundred cases.
    pub fn percent(&mut self, chance: usize) -> bool {
        self.below(100) < chance
    }

    /// One of a list that is not empty.
    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    /// So many different ones of a list, or all of a shorter one, in the list's order.
    pub fn some<T: Clone>(&mut self, list: &[T], count: usize) -> Vec<T> {
        let mut wanted = count.min(list.len());
        let mut left = list.len();
        let mut chosen = Vec::new();
        for item in list {
            if self.below(left) < wanted {
                chosen.push(item.clone());
                wanted -= 1;
            }
            left -= 1;
        }
        chosen
    }
}
