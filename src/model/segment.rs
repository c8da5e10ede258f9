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
