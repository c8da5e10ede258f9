//! What people need and expect.

use boundwalk_diagnostic::{Span, Spanned};

use super::names::RouterId;
use super::rule::{AddressMatch, RuleParty, ServiceMatch};

/// A flow that somebody requires.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Need {
    /// Its name, or a made one (`need 3`).
    pub name: Spanned<String>,
    /// Who sends.
    pub from: Vec<RuleParty>,
    /// Who receives.
    pub to: Vec<RuleParty>,
    /// Senders' addresses; `None`: any of theirs.
    pub source: Option<AddressMatch>,
    /// Receivers' addresses; `None`: any of theirs.
    pub destination: Option<AddressMatch>,
    /// Services; `None`: every one.
    pub services: Option<ServiceMatch>,
    /// Why.
    pub reason: Option<String>,
    /// Who answers for it.
    pub owner: Option<String>,
    /// Where it is described.
    pub place: Span,
}

/// How much of the described flows may or must pass.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Permit {
    /// None of them.
    Nothing,
    /// No service but these.
    AtMost,
    /// All of these.
    AtLeast,
    /// These and no other.
    Exactly,
}

/// Which gateway must decide.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Through {
    /// Any gateway with rules.
    Any,
    /// This one.
    Gateway(RouterId),
}

/// What else must be true of the described flows that pass.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Demands {
    /// How much of them passes.
    pub permit: Option<Permit>,
    /// Every one is decided by a gateway.
    pub through: Option<Through>,
    /// A rule that decides on the way logs.
    pub logged: bool,
    /// A rule that decides on the way has the content inspected.
    pub inspected: bool,
    /// There is no way between the two sides at all, whatever rules say.
    pub isolated: bool,
    /// The receivers start nothing towards the senders.
    pub one_way: bool,
}

impl Demands {
    /// Whether nothing is demanded.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// A statement about reachability that must hold.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Expectation {
    /// Its name.
    pub name: Spanned<String>,
    /// Who sends.
    pub from: Vec<RuleParty>,
    /// Who receives.
    pub to: Vec<RuleParty>,
    /// Senders' addresses; `None`: any of theirs.
    pub source: Option<AddressMatch>,
    /// Receivers' addresses, as sent or as they arrive; `None`: any of theirs.
    pub destination: Option<AddressMatch>,
    /// Services, as sent or as they arrive; `None`: every one.
    pub services: Option<ServiceMatch>,
    /// What must be true; never empty.
    pub demands: Demands,
    /// Whether it must hold against a hostile device at the sender's place too.
    pub hostile: bool,
    /// Why.
    pub reason: Option<String>,
    /// The published requirement that it answers to.
    pub requirement: Option<String>,
    /// The ready-made set that it comes from.
    pub baseline: Option<&'static str>,
    /// Where it is described, or where its set is asked for.
    pub place: Span,
}
