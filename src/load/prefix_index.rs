//! Which segment an address lies in.

use std::net::IpAddr;

use crate::diagnostic::Span;
use crate::model::{Family, Prefix, Segment, SegmentId};

/// A prefix of a segment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed {
    pub prefix: Prefix,
    pub segment: SegmentId,
    pub span: Span,
}

/// The prefixes of all segments, sorted by family, start, and longest last.
#[derive(Default)]
pub(super) struct PrefixIndex {
    placed: Vec<Placed>,
}

impl PrefixIndex {
    /// Sorts the prefixes of all segments. O(n log n).
    pub fn new(segments: &[Segment]) -> Self {
        let mut placed: Vec<Placed> = segments
            .iter()
            .enumerate()
            .flat_map(|(number, segment)| {
                let segment_id = SegmentId(number);
                segment.prefixes.iter().map(move |prefix| Placed {
                    prefix: prefix.value,
                    segment: segment_id,
                    span: prefix.span,
                })
            })
            .collect();
        placed.sort_by_key(|placed| {
            (
                key(placed.prefix),
                std::cmp::Reverse(placed.prefix.interval().high()),
            )
        });
        Self { placed }
    }

    /// Pairs of a prefix and the nearest one that holds it, or equals it and comes first. Two prefixes are
    /// nested or disjoint, so these pairs tell of every overlap.
    pub fn nested(&self) -> Vec<(Placed, Placed)> {
        let mut pairs = Vec::new();
        let mut open: Vec<Placed> = Vec::new();
        for &placed in &self.placed {
            while open
                .last()
                .is_some_and(|outer| !holds(outer.prefix, placed.prefix))
            {
                open.pop();
            }
            if let Some(&outer) = open.last() {
                pairs.push((outer, placed));
            }
            open.push(placed);
        }
        pairs
    }

    /// The segment with a prefix that holds an address. O(log n).
    pub fn locate(&self, address: IpAddr) -> Option<Placed> {
        let wanted = (Family::of(address), Family::value(address));
        let after = self
            .placed
            .partition_point(|placed| key(placed.prefix) <= wanted);
        let placed = *self.placed[..after].last()?;
        placed.prefix.contains(address).then_some(placed)
    }
}

fn key(prefix: Prefix) -> (Family, u128) {
    (prefix.family(), prefix.interval().low())
}

fn holds(outer: Prefix, inner: Prefix) -> bool {
    outer.family() == inner.family()
        && outer.interval().low() <= inner.interval().low()
        && inner.interval().high() <= outer.interval().high()
}
