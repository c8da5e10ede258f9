//! Sets of service classes.

use smallvec::SmallVec;

use super::mask::ones;

/// A set of classes of one [`ServiceClasses`](super::ServiceClasses), one bit
/// each.
///
/// Sets of different partitions must not meet (checked in debug builds by their
/// lengths). Up to 1,024 classes are kept without allocation. Operations take one
/// step per 64 classes; the laws of a Boolean algebra hold, and `==` is equality
/// of sets. The order (`Ord`) serves sorting only, it is not inclusion.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct ClassSet {
    /// Invariant: as many words as the partition needs; bits above its last
    /// class are 0.
    words: SmallVec<[u64; 16]>,
}

impl ClassSet {
    /// Whether no class is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.words.iter().all(|word| *word == 0)
    }

    /// Whether `class` is held.
    #[must_use]
    pub fn contains(&self, class: usize) -> bool {
        self.words
            .get(class / 64)
            .is_some_and(|word| word >> (class % 64) & 1 == 1)
    }

    /// Adds `class`.
    ///
    /// # Panics
    /// When the partition has no such class (by whole words of 64).
    pub fn insert(&mut self, class: usize) {
        self.words[class / 64] |= 1 << (class % 64);
    }

    /// The classes in either set.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        let mut all = self.clone();
        all.union_with(other);
        all
    }

    /// The classes in both sets.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        let mut both = self.clone();
        both.intersection_with(other);
        both
    }

    /// The classes in `self` and not in `other`.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Self {
        let mut rest = self.clone();
        rest.difference_with(other);
        rest
    }

    /// Adds the classes of `other`.
    pub fn union_with(&mut self, other: &Self) {
        self.zip_with(other, |mine, theirs| mine | theirs);
    }

    /// Keeps the classes that are in `other` too.
    pub fn intersection_with(&mut self, other: &Self) {
        self.zip_with(other, |mine, theirs| mine & theirs);
    }

    /// Removes the classes of `other`.
    pub fn difference_with(&mut self, other: &Self) {
        self.zip_with(other, |mine, theirs| mine & !theirs);
    }

    /// Whether every class of `self` is in `other`.
    #[must_use]
    pub fn is_subset(&self, other: &Self) -> bool {
        self.pairs(other).all(|(mine, theirs)| mine & !theirs == 0)
    }

    /// Whether some class is in both sets.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.pairs(other).any(|(mine, theirs)| mine & theirs != 0)
    }

    /// How many classes are held.
    #[must_use]
    pub fn count(&self) -> usize {
        self.words
            .iter()
            .map(|word| word.count_ones() as usize)
            .sum()
    }

    /// The classes, ascending.
    pub fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        ones(&self.words)
    }

    /// Adds classes by their bits, as [`CutPiece`](super::CutPiece) has them.
    pub fn add_bits(&mut self, bits: &[u64]) {
        for (mine, theirs) in self.words.iter_mut().zip(bits) {
            *mine |= theirs;
        }
    }

    /// The bits, 64 classes a word.
    #[must_use]
    pub fn bits(&self) -> &[u64] {
        &self.words
    }

    /// The empty set of a partition with `classes` classes.
    pub(super) fn none(classes: usize) -> Self {
        Self {
            words: SmallVec::from_elem(0, classes.div_ceil(64)),
        }
    }

    /// The full set of a partition with `classes` classes.
    pub(super) fn full(classes: usize) -> Self {
        let mut words = SmallVec::from_elem(u64::MAX, classes.div_ceil(64));
        let used = classes % 64;
        if let Some(last) = words.last_mut().filter(|_| used != 0) {
            *last = (1 << used) - 1;
        }
        Self { words }
    }

    fn zip_with(&mut self, other: &Self, join: impl Fn(u64, u64) -> u64) {
        self.check_length(other);
        for (mine, theirs) in self.words.iter_mut().zip(&other.words) {
            *mine = join(*mine, *theirs);
        }
    }

    fn pairs<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = (u64, u64)> + 'a {
        self.check_length(other);
        self.words.iter().copied().zip(other.words.iter().copied())
    }

    fn check_length(&self, other: &Self) {
        debug_assert_eq!(
            self.words.len(),
            other.words.len(),
            "class sets of different partitions"
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(step: usize) -> ClassSet {
        let mut set = ClassSet::none(150);
        (0..150).step_by(step).for_each(|class| set.insert(class));
        set
    }

    #[test]
    fn operations_agree_with_membership() {
        let (a, b) = (every(2), every(3));
        let (either, both, only) = (a.union(&b), a.intersection(&b), a.difference(&b));
        for class in 0..150 {
            let (in_a, in_b) = (class % 2 == 0, class % 3 == 0);
            assert_eq!(either.contains(class), in_a || in_b);
            assert_eq!(both.contains(class), in_a && in_b);
            assert_eq!(only.contains(class), in_a && !in_b);
        }
        assert_eq!(both, every(6));
        assert_eq!(
            both.iter().collect::<Vec<_>>(),
            Vec::from_iter((0..150).step_by(6))
        );
        assert_eq!(both.count(), 25);
    }

    #[test]
    fn inclusion_and_overlap() {
        assert!(every(6).is_subset(&every(3)) && !every(3).is_subset(&every(6)));
        assert!(every(2).overlaps(&every(3)));
        assert!(!every(2).difference(&every(3)).overlaps(&every(3)));
        assert!(ClassSet::none(150).is_empty() && !every(7).is_empty());
    }
}
