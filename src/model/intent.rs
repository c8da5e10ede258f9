//! What people need and expect.

use crate::diagnostic::{Span, Spanned};

use super::rule::{AddressMatch, Party, ServiceMatch};

/// A flow that somebody requires.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Need {
    /// Its name, or a made one (`need 3`).
    pub name: Spanned<String>,
    /// Who sends.
    pub from: Vec<Party>,
    /// Who receives.
    pub to: Vec<Party>,
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

/// A statement about reachability that must hold.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Expectation {
    /// Its name.
    pub name: Spanned<String>,
    /// Who sends.
    pub from: Vec<Party>,
    /// Who receives.
    pub to: Vec<Party>,
    /// Senders' addresses; `None`: any of theirs.
    pub source: Option<AddressMatch>,
    /// Receivers' addresses; `None`: any of theirs.
    pub destination: Option<AddressMatch>,
    /// Services; `None`: every one.
    pub services: Option<ServiceMatch>,
    /// How much of it.
    pub permit: Permit,
    /// Why.
    pub reason: Option<String>,
    /// Where it is described.
    pub place: Span,
}
