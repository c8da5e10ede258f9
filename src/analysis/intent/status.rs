//! What became of an expectation or a need.

use boundwalk_forwarding::{Limit, Packet, Stop};
use boundwalk_model::{Expectation, Family, HostId, Need, RouterId, SegmentId};
use boundwalk_packet::ClassSet;

use super::super::deciders::DecidedBy;
use super::super::party::Endpoint;

/// What a line demands.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Demand {
    /// None of it passes.
    Nothing,
    /// No other service passes.
    AtMost,
    /// All of it passes.
    AtLeast,
    /// A gateway decides what passes.
    Through,
    /// A rule on the way logs it.
    Logged,
    /// A rule on the way has its content inspected.
    Inspected,
    /// There is no way at all.
    Isolated,
    /// The receivers start nothing.
    OneWay,
}

/// One link of a chain of devices and segments.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Link {
    /// Devices of a segment.
    Segment(SegmentId),
    /// A gateway or router.
    Router(RouterId),
    /// A host that routes.
    Host(HostId),
}

/// Where a demand is not met.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Breach {
    /// The demand.
    pub demand: Demand,
    /// The family; `None`: both.
    pub family: Option<Family>,
    /// Who sends.
    pub from: SegmentId,
    /// Who receives.
    pub to: Endpoint,
    /// Whether it takes a hostile device at the sender's place.
    pub hostile: bool,
    /// Services that pass and must not, or must and do not.
    pub services: Option<ClassSet>,
    /// One packet that shows it.
    pub packet: Option<Packet>,
    /// The gateways that decided it, each with its rule (`None`: the default).
    pub deciders: Vec<DecidedBy>,
    /// Why a packet that must pass stops.
    pub stop: Option<Stop>,
    /// For [`Demand::Isolated`], what leads from one side to the other.
    pub chain: Vec<Link>,
}

/// How a line stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum IntentStatus {
    /// It holds for every packet that it speaks of.
    Held,
    /// It does not: at least one breach, at most one a demand, pair and family.
    Broken(Vec<Breach>),
    /// No packet that it speaks of can exist: there is nobody with these addresses there.
    Vacuous,
    /// This limit was met before it was clear.
    Unknown(Limit),
}

/// An expectation and how it stands.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct JudgedExpectation<'s> {
    /// The expectation.
    pub expectation: &'s Expectation,
    /// How it stands.
    pub status: IntentStatus,
}

/// A need and how it stands.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct JudgedNeed<'s> {
    /// The need.
    pub need: &'s Need,
    /// How it stands: broken means that a part of it does not pass.
    pub status: IntentStatus,
}
