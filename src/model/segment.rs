//! Zones and segments.

use std::net::IpAddr;

use boundwalk_diagnostic::{Span, Spanned};

use super::address::{AddressSet, Family, Prefix};
use super::names::ZoneId;
use super::switch::VlanId;

/// Segments of one trust level.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Zone {
    /// Its name.
    pub name: Spanned<String>,
    /// Trust, 0 (the internet) to 100.
    pub trust: u8,
    /// A line for people; may be empty.
    pub description: String,
}

/// One VLAN and its prefixes; with no switch described, just its prefixes.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Segment {
    /// Its name.
    pub name: Spanned<String>,
    /// Its zone.
    pub zone: ZoneId,
    /// Its VLAN, where switches carry it.
    pub vlan: Option<Spanned<VlanId>>,
    /// Prefixes that are on-link here, pairwise disjoint.
    pub prefixes: Vec<Spanned<Prefix>>,
    /// A claim: no device here has any path to or from another segment.
    pub isolated: Option<Spanned<bool>>,
    /// The world beyond the site: besides its own prefixes it holds whatever the routes send there.
    pub external: bool,
    /// Networks beyond an external segment that it routes besides public ones: a partner's, a provider's VPN. Nobody
    /// else out there routes private addresses (RFC 1918 section 3, RFC 4193 section 4.3, RFC 6598 section 4).
    pub routes: Vec<Spanned<Prefix>>,
    /// Addresses that plain devices here use as their default gateway. Empty: any router on the segment.
    pub default_gateway: Vec<Spanned<IpAddr>>,
    /// A line for people; may be empty.
    pub description: String,
}

impl Segment {
    /// The addresses of its own prefixes.
    #[must_use]
    pub fn addresses(&self) -> AddressSet {
        self.prefixes.iter().map(|prefix| prefix.value).collect()
    }

    /// Where it claims to be isolated, if it does.
    #[must_use]
    pub fn claims_isolation(&self) -> Option<Span> {
        let claim = self.isolated.filter(|claim| claim.value);
        claim.map(|claim| claim.span)
    }

    /// Where it is named.
    pub fn place(&self) -> Span {
        self.name.span
    }

    /// Whether it has a prefix of a family.
    pub fn has(&self, family: Family) -> bool {
        self.prefixes
            .iter()
            .any(|prefix| prefix.value.family() == family)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_diagnostic::FileId;

    fn segment(prefixes: &[&str], isolated: Option<bool>) -> Segment {
        let name = Span::new(FileId(0), 3, 9);
        let claim = Span::new(FileId(0), 20, 24);
        let prefix = |text: &str| Prefix::truncated(text.parse().expect("a prefix"));
        Segment {
            name: Spanned::new("office".to_owned(), name),
            zone: ZoneId(0),
            vlan: None,
            prefixes: prefixes
                .iter()
                .map(|text| Spanned::new(prefix(text), Span::default()))
                .collect(),
            isolated: isolated.map(|value| Spanned::new(value, claim)),
            external: false,
            routes: Vec::new(),
            default_gateway: Vec::new(),
            description: String::new(),
        }
    }

    #[test]
    fn a_segment_has_the_families_of_its_prefixes() {
        let families = |prefixes: &[&str]| Family::ALL.map(|of| segment(prefixes, None).has(of));
        assert_eq!(families(&[]), [false, false]);
        assert_eq!(families(&["192.0.2.0/24"]), [true, false]);
        assert_eq!(families(&["2001:db8::/64"]), [false, true]);
        assert_eq!(families(&["192.0.2.0/24", "2001:db8::/64"]), [true, true]);
    }

    #[test]
    fn a_segment_stands_where_its_name_does_and_claims_where_it_says_true() {
        assert_eq!(segment(&[], None).place(), Span::new(FileId(0), 3, 9));
        let claim = segment(&[], Some(true)).claims_isolation();
        assert_eq!(claim, Some(Span::new(FileId(0), 20, 24)));
        assert_eq!(segment(&[], Some(false)).claims_isolation(), None);
        assert_eq!(segment(&[], None).claims_isolation(), None);
    }
}
