//! Prefixes of segments that share addresses.

use std::cmp::Reverse;

use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_model::{Family, Prefix, SegmentId, Site};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "prefixes-overlap",
    severity: Severity::Error,
    summary: "two prefixes of segments that share addresses",
    why: "Nobody can say where such an address is: devices on the one segment look for it on their own wire, gateways send \
        it to the longer prefix, and of two prefixes alike to either. A rule for one segment then speaks of devices on \
        the other.",
    fine_when: "Never within one site. Two sites with the same private addresses that are not joined are two files.",
    remedy: "Correct one of the prefixes, or give one segment other addresses.",
    references: &[
        "RFC 4632 section 5.1 (the longest match decides)",
        "RFC 1918 section 5 (private addresses chosen twice make two sites hard to join)",
    ],
    fires: include_str!("examples/prefixes-overlap.fires.toml"),
    quiet: include_str!("examples/prefixes-overlap.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (outer, inner) in overlaps(view.site) {
        // The one that stands later is the one to mend.
        let (earlier, later) = if inner.span < outer.span {
            (inner, outer)
        } else {
            (outer, inner)
        };
        let name = |placed: Placed| &view.site.segment(placed.segment).name.value;
        let external = |placed: Placed| view.site.segment(placed.segment).external;
        let what = if later.segment == earlier.segment {
            format!("has {} and {}, which overlap", later.prefix, earlier.prefix)
        } else {
            format!(
                "has {}, which overlaps {} of {}: answers about these addresses say what may happen",
                later.prefix,
                earlier.prefix,
                name(earlier)
            )
        };
        let help = if external(later) || external(earlier) {
            "an external segment holds by itself whatever the routes send there: leave the wide prefix out"
        } else {
            "an address lies on one segment only: correct one of the prefixes"
        };
        let draft = found(&CHECK, later.span, name(later), what);
        report.add(draft.note(earlier.span, "overlaps this").help(help));
    }
}

/// A prefix of a segment.
#[derive(Clone, Copy)]
struct Placed {
    prefix: Prefix,
    segment: SegmentId,
    span: Span,
}

/// Pairs of a prefix and the nearest one that holds it, or equals it and stands before. Two prefixes are nested or
/// disjoint, so that these pairs tell of every overlap. O(n log n).
fn overlaps(site: &Site) -> Vec<(Placed, Placed)> {
    let mut placed: Vec<Placed> = Vec::new();
    for segment in site.segment_ids() {
        let prefixes = site.segment(segment).prefixes.iter();
        placed.extend(prefixes.map(|prefix| Placed {
            prefix: prefix.value,
            segment,
            span: prefix.span,
        }));
    }
    placed.sort_by_key(|placed| {
        let interval = placed.prefix.interval();
        (
            placed.prefix.family(),
            interval.low(),
            Reverse(interval.high()),
            placed.span,
        )
    });
    let mut pairs = Vec::new();
    let mut open: Vec<Placed> = Vec::new();
    for inner in placed {
        let holds = |outer: &Placed| outer.prefix.contains(first(inner.prefix));
        while open.last().is_some_and(|outer| !holds(outer)) {
            open.pop();
        }
        pairs.extend(open.last().map(|&outer| (outer, inner)));
        open.push(inner);
    }
    pairs.sort_by_key(|(outer, inner)| outer.span.max(inner.span));
    pairs
}

fn first(prefix: Prefix) -> std::net::IpAddr {
    let family: Family = prefix.family();
    family.address(prefix.interval().low())
}
