//! Sets of rule numbers.

/// A set of numbers below a fixed length, one bit each.
///
/// Operations on two masks want equal lengths and take one step per 64 numbers.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Mask {
    /// Invariant: `len.div_ceil(64)` words; bits from `len` up are 0.
    words: Vec<u64>,
    len: usize,
}

impl Mask {
    /// No number below `len`.
    #[must_use]
    pub fn none(len: usize) -> Self {
        Self::from_words(vec![0; len.div_ceil(64)], len)
    }

    /// Every number below `len`.
    #[must_use]
    pub fn all(len: usize) -> Self {
        let mut words = vec![u64::MAX; len.div_ceil(64)];
        if let Some(last) = words.last_mut()
            && !len.is_multiple_of(64)
        {
            *last >>= 64 - len % 64;
        }
        Self::from_words(words, len)
    }

    /// The bound below which all numbers lie (not how many are held: that is
    /// [`Mask::count`]).
    #[must_use]
    pub fn len(&self) -> usize {
        self.len
    }

    /// Adds `number`.
    ///
    /// # Panics
    /// When `number` is not below the length.
    pub fn insert(&mut self, number: usize) {
        assert!(number < self.len, "{number} not below {}", self.len);
        self.words[number / 64] |= 1 << (number % 64);
    }

    /// Whether `number` is held; `false` from the length upwards.
    #[must_use]
    pub fn contains(&self, number: usize) -> bool {
        self.words
            .get(number / 64)
            .is_some_and(|word| word >> (number % 64) & 1 == 1)
    }

    /// The numbers held by both.
    ///
    /// # Panics
    /// When the lengths differ.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        self.check_length(other);
        let both = self.words.iter().zip(&other.words).map(|(a, b)| a & b);
        Self::from_words(both.collect(), self.len)
    }

    /// Keeps what `other` holds too.
    ///
    /// # Panics
    /// When the lengths differ.
    pub fn and_assign(&mut self, other: &Self) {
        self.check_length(other);
        for (word, also) in self.words.iter_mut().zip(&other.words) {
            *word &= also;
        }
    }

    /// Adds what `other` holds.
    ///
    /// # Panics
    /// When the lengths differ.
    pub fn or_assign(&mut self, other: &Self) {
        self.check_length(other);
        for (word, also) in self.words.iter_mut().zip(&other.words) {
            *word |= also;
        }
    }

    /// The numbers held that are below `end`.
    #[must_use]
    pub fn below(&self, end: usize) -> Self {
        let kept = |at: usize| match end.saturating_sub(64 * at) {
            0 => 0,
            bits @ 1..64 => (1 << bits) - 1,
            _ => u64::MAX,
        };
        let words = self
            .words
            .iter()
            .enumerate()
            .map(|(at, word)| word & kept(at));
        Self::from_words(words.collect(), self.len)
    }

    /// The numbers held that are not below `start`.
    #[must_use]
    pub fn from(&self, start: usize) -> Self {
        let below = self.below(start);
        let words = self
            .words
            .iter()
            .zip(&below.words)
            .map(|(word, below)| word & !below);
        Self::from_words(words.collect(), self.len)
    }

    /// Whether no number is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.words.iter().all(|word| *word == 0)
    }

    /// The numbers held, ascending; one step per number and per 64 absent ones.
    pub fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        ones(&self.words)
    }

    /// How many numbers are held.
    #[must_use]
    pub fn count(&self) -> usize {
        self.words
            .iter()
            .map(|word| word.count_ones() as usize)
            .sum()
    }

    /// The bits, 64 numbers a word.
    pub(super) fn words(&self) -> &[u64] {
        &self.words
    }

    pub(super) fn from_words(words: Vec<u64>, len: usize) -> Self {
        debug_assert_eq!(words.len(), len.div_ceil(64), "one word per 64 numbers");
        debug_assert!(
            len.is_multiple_of(64) || words.last().is_none_or(|last| last >> (len % 64) == 0),
            "bits above the length are zero"
        );
        Self { words, len }
    }

    fn check_length(&self, other: &Self) {
        assert_eq!(self.len, other.len, "masks over different lists");
    }
}

/// The places of the one bits, ascending.
pub(super) fn ones(words: &[u64]) -> impl Iterator<Item = usize> + '_ {
    words.iter().enumerate().flat_map(|(at, word)| {
        let next = |rest: &u64| Some(rest & (rest - 1)).filter(|less| *less != 0);
        std::iter::successors(Some(*word).filter(|word| *word != 0), next)
            .map(move |rest| at * 64 + rest.trailing_zeros() as usize)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(step: usize, len: usize) -> Mask {
        let mut mask = Mask::none(len);
        (0..len).step_by(step).for_each(|n| mask.insert(n));
        mask
    }

    #[test]
    fn numbers_come_back_in_order() {
        for len in [0, 1, 63, 64, 65, 200] {
            let expected: Vec<usize> = (0..len).step_by(3).collect();
            let mask = every(3, len);
            assert_eq!(mask.iter().collect::<Vec<_>>(), expected);
            assert_eq!(mask.count(), expected.len());
            assert_eq!(
                Mask::all(len).iter().collect::<Vec<_>>(),
                Vec::from_iter(0..len)
            );
            assert!(Mask::none(len).is_empty());
        }
    }

    #[test]
    fn and_or_agree_with_membership() {
        let (twos, threes) = (every(2, 130), every(3, 130));
        let mut either = twos.clone();
        either.or_assign(&threes);
        let mut both = twos.clone();
        both.and_assign(&threes);
        assert_eq!(both, twos.and(&threes));
        for n in 0..140 {
            assert_eq!(both.contains(n), n < 130 && n % 6 == 0);
            assert_eq!(either.contains(n), n < 130 && (n % 2 == 0 || n % 3 == 0));
        }
    }

    #[test]
    #[should_panic(expected = "different lists")]
    fn masks_of_different_lists_do_not_mix() {
        let _ = Mask::none(3).and(&Mask::none(4));
    }

    #[test]
    fn a_mask_is_cut_at_any_number() {
        for len in [1, 63, 64, 65, 200] {
            for at in [0, 1, 62, 63, 64, 65, 127, 128, 199, 200, 500] {
                let all = Mask::all(len);
                let (below, from) = (all.below(at), all.from(at));
                assert_eq!(Vec::from_iter(below.iter()), Vec::from_iter(0..at.min(len)));
                assert_eq!(
                    Vec::from_iter(from.iter()),
                    Vec::from_iter(at.min(len)..len)
                );
            }
        }
    }
}
