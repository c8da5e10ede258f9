//! Which segment an address lies in.

use std::net::IpAddr;

use boundwalk_diagnostic::Span;
use boundwalk_model::{Family, Prefix, Segment, SegmentId};

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
    /// For each the number of the nearest one that holds it.
    outer: Vec<Option<usize>>,
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
        Self {
            outer: outer(&placed),
            placed,
        }
    }

    /// The segment with the longest prefix that holds an address, of equal prefixes the first in the file. O(log n + the
    /// prefixes that it lies in or passes by).
    pub fn locate(&self, address: IpAddr) -> Option<Placed> {
        let wanted = (Family::of(address), Family::value(address));
        let after = self
            .placed
            .partition_point(|placed| key(placed.prefix) <= wanted);
        // Prefixes nest: what holds the address stands before it, what holds less of it last.
        let mut at = after.checked_sub(1)?;
        loop {
            let placed = self.placed[at];
            if placed.prefix.contains(address) {
                let same = |other: &&Placed| other.prefix == placed.prefix;
                let equal = self.placed[..=at].iter().rev().take_while(same);
                return equal.min_by_key(|placed| placed.segment).copied();
            }
            at = self.outer[at]?;
        }
    }
}

/// For each prefix the one that it lies in.
fn outer(placed: &[Placed]) -> Vec<Option<usize>> {
    let mut open: Vec<usize> = Vec::new();
    let each = placed.iter().enumerate().map(|(at, one)| {
        while open
            .last()
            .is_some_and(|&outer| !holds(placed[outer].prefix, one.prefix))
        {
            open.pop();
        }
        let outer = open.last().copied();
        open.push(at);
        outer
    });
    each.collect()
}

fn key(prefix: Prefix) -> (Family, u128) {
    (prefix.family(), prefix.interval().low())
}

fn holds(outer: Prefix, inner: Prefix) -> bool {
    outer.family() == inner.family()
        && outer.interval().low() <= inner.interval().low()
        && inner.interval().high() <= outer.interval().high()
}
