//! Where a value stands in the text it came from.

use std::hash::{Hash, Hasher};

/// Number of a text in [`Sources`](crate::Sources), in the order of loading.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct FileId(pub u32);

/// A half-open range of bytes in one text.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Span {
    /// The text.
    pub file: FileId,
    /// First byte.
    pub start: u32,
    /// One past the last byte; never less than `start`.
    pub end: u32,
}

impl Span {
    /// A span; an `end` before `start` is taken as `start`.
    pub fn new(file: FileId, start: u32, end: u32) -> Self {
        Self {
            file,
            start,
            end: end.max(start),
        }
    }
}

/// A value and its place. Equality, order and hash look at the value only, so that moving a line changes
/// no answer.
#[derive(Clone, Copy, Debug)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Its place.
    pub span: Span,
}

impl<T> Spanned<T> {
    /// A value at a place.
    pub fn new(value: T, span: Span) -> Self {
        Self { value, span }
    }

    /// The same place with another value.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Spanned<U> {
        Spanned::new(change(self.value), self.span)
    }
}

impl<T: PartialEq> PartialEq for Spanned<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

impl<T: Eq> Eq for Spanned<T> {}

impl<T: PartialOrd> PartialOrd for Spanned<T> {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        self.value.partial_cmp(&other.value)
    }
}

impl<T: Ord> Ord for Spanned<T> {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.value.cmp(&other.value)
    }
}

impl<T: Hash> Hash for Spanned<T> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.value.hash(state);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equality_ignores_the_place() {
        let here = Spanned::new(5, Span::new(FileId(0), 1, 2));
        let there = Spanned::new(5, Span::new(FileId(1), 7, 9));
        assert_eq!(here, there);
        assert_ne!(here, Spanned::new(6, here.span));
    }

    #[test]
    fn order_is_that_of_the_values() {
        let value = |value: u32, start| Spanned::new(value, Span::new(FileId(0), start, start));
        assert!(value(5, 9) < value(6, 1) && value(6, 1) >= value(6, 2));
        assert_eq!(
            value(5, 1).partial_cmp(&value(5, 9)),
            Some(std::cmp::Ordering::Equal)
        );
    }

    #[test]
    fn a_span_never_ends_before_it_starts() {
        assert_eq!(Span::new(FileId(0), 9, 3).end, 9);
    }

    #[test]
    fn the_hash_ignores_the_place_and_not_the_value() {
        let hash = |value: u32, start: u32| {
            let mut hasher = std::hash::DefaultHasher::new();
            Spanned::new(value, Span::new(FileId(0), start, start)).hash(&mut hasher);
            hasher.finish()
        };
        assert_eq!(hash(5, 1), hash(5, 7));
        assert_ne!(hash(5, 1), hash(6, 1));
    }
}
