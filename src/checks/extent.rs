//! How much a rule permits and how much of that exists.

pub(super) use boundwalk_analysis::counted;

use num_bigint::BigUint;

use boundwalk_model::{AddressMatch, Family, SegmentId, show_interval};
use boundwalk_packet::IntervalSet;

use super::view::CheckContext;

/// Addresses that a field permits in one family, and those of them that exist at the segments it can meet.
pub(super) struct RegionExtent {
    pub(super) family: Family,
    pub(super) permitted: BigUint,
    pub(super) existing: BigUint,
    /// Those that exist, as they would be written.
    pub(super) written: Vec<String>,
}

/// Measures a field that names addresses, against segments. A family in which some of the segments is the world
/// beyond is left out: everything exists there.
pub(super) fn extents(
    view: &CheckContext<'_>,
    field: &AddressMatch,
    segments: &[SegmentId],
) -> Vec<RegionExtent> {
    let mut extents = Vec::new();
    for family in Family::ALL {
        let plan = view.network.plan(family);
        let set = field.set.of(family);
        let outside = |&segment: &SegmentId| {
            let own = plan.segment(segment);
            own.external && own.cover.overlaps(set)
        };
        if set.is_empty() || segments.iter().any(outside) {
            continue;
        }
        let there = segments
            .iter()
            .map(|&segment| &plan.segment(segment).on_link)
            .fold(IntervalSet::empty(), |all, one| all.union(one));
        let existing = set.intersection(&there);
        extents.push(RegionExtent {
            family,
            permitted: set.size(),
            existing: existing.size(),
            written: existing
                .intervals()
                .iter()
                .map(|&part| format!("\"{}\"", show_interval(family, part)))
                .collect(),
        });
    }
    extents
}

/// How much there is at some segments, in words: `1,524 IPv4 addresses of this site and all of internet`.
pub(super) fn existing(view: &CheckContext<'_>, segments: &[SegmentId]) -> String {
    let mut parts: Vec<String> = Vec::new();
    for family in Family::ALL {
        let plan = view.network.plan(family);
        let own = segments.iter().map(|&segment| plan.segment(segment));
        let there = own
            .filter(|own| !own.external)
            .fold(IntervalSet::empty(), |all, one| all.union(&one.on_link));
        if !there.is_empty() {
            parts.push(format!("{} {}", counted(&there.size()), family.word()));
        }
    }
    let outside: Vec<String> = segments
        .iter()
        .map(|&segment| view.site.segment(segment))
        .filter(|segment| segment.external)
        .map(|segment| format!("all of {}", segment.name.value))
        .collect();
    let here = if parts.is_empty() {
        None
    } else {
        Some(format!("{} addresses of this site", parts.join(" and ")))
    };
    let all: Vec<String> = here.into_iter().chain(outside).collect();
    all.join(" and ")
}

/// `1 address`, `765 addresses`.
pub(super) fn addresses(count: &BigUint) -> String {
    if *count == BigUint::from(1u8) {
        "1 address".to_owned()
    } else {
        format!("{} addresses", counted(count))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_is_no_list() {
        assert_eq!(addresses(&BigUint::from(1u8)), "1 address");
        assert_eq!(addresses(&BigUint::from(1_524u32)), "1,524 addresses");
    }
}
