//! Rules of a gateway and what they match.

use boundwalk_diagnostic::{Span, Spanned};

use super::address::AddressSet;
use super::date::Date;
use super::names::{SegmentId, ZoneId};
use super::service::Service;

/// What a rule does with a packet that it decides.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Action {
    /// Forwards it.
    Permit,
    /// Drops it silently: no ICMP error, no reset.
    Deny,
    /// Drops it and tells the sender.
    Reject,
}

impl Action {
    /// The word that the file uses.
    pub fn word(self) -> &'static str {
        match self {
            Self::Permit => "permit",
            Self::Deny => "deny",
            Self::Reject => "reject",
        }
    }
}

/// Whom a rule speaks of by interface.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum RuleParty {
    /// All interfaces on segments of a zone.
    Zone(ZoneId),
    /// The interfaces on a segment.
    Segment(SegmentId),
    /// The gateway itself, by any of its addresses; as a target only.
    Gateway,
}

/// A list of addresses as written and what it comes to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct AddressMatch {
    /// The items as they stand in the file.
    pub written: Vec<Spanned<String>>,
    /// Their union.
    pub set: AddressSet,
}

/// A list of services as written and what it comes to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ServiceMatch {
    /// The items as they stand in the file.
    pub written: Vec<Spanned<String>>,
    /// Their parts, groups opened.
    pub services: Vec<Service>,
}

/// One line of a rule set. An omitted field matches anything.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Rule {
    /// Its name; unique within the gateway.
    pub name: Spanned<String>,
    /// The interface a packet arrives on.
    pub from: Option<Vec<RuleParty>>,
    /// The interface it leaves by, or the gateway itself.
    pub to: Option<Vec<RuleParty>>,
    /// Source addresses.
    pub source: Option<AddressMatch>,
    /// Destination addresses, after destination translation.
    pub destination: Option<AddressMatch>,
    /// Services.
    pub services: Option<ServiceMatch>,
    /// What it does.
    pub action: Spanned<Action>,
    /// Whether it logs.
    pub log: bool,
    /// Whether the gateway looks into the content of what it permits.
    pub inspect: bool,
    /// A disabled rule matches nothing.
    pub enabled: bool,
    /// Last day on which it matches.
    pub expires: Option<Spanned<Date>>,
    /// When somebody last looked at it.
    pub reviewed: Option<Spanned<Date>>,
    /// Why it is there.
    pub reason: Option<String>,
    /// Who answers for it.
    pub owner: Option<String>,
    /// The change it came with.
    pub ticket: Option<String>,
    /// Packets it has matched, as the gateway counts.
    pub hits: Option<u64>,
    /// The whole rule in the text.
    pub place: Span,
}

impl Rule {
    /// Whether it matches anything on a day.
    #[must_use]
    pub fn active(&self, today: Date) -> bool {
        let expired = self.expires.as_ref().is_some_and(|date| date.value < today);
        self.enabled && !expired
    }
}
