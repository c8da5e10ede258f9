//! Flows as logs give them.

use boundwalk_model::{Family, Protocol};

/// Longest line, in bytes; a longer one is malformed.
pub(super) const LONGEST_LINE: usize = 64 * 1024;

/// The service of an observed flow.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum FlowService {
    /// A protocol with ports, and the destination port.
    Port(Protocol, u16),
    /// ICMP or ICMPv6, with type and code.
    Message(Protocol, u8, u8),
    /// Any other protocol.
    Other(Protocol),
}

/// A distinct flow and how much of it there was.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct ObservedFlow {
    /// Its family.
    pub family: Family,
    /// Source address.
    pub source: u128,
    /// Destination address.
    pub destination: u128,
    /// Service.
    pub service: FlowService,
    /// Records, or the flows that they stand for where they say so (`deltaFlowCount`).
    pub records: u64,
    /// Packets, as far as the log counts them.
    pub packets: u64,
    /// Octets, as far as the log counts them.
    pub octets: u64,
    /// First start, in milliseconds since 1970.
    pub first: Option<u64>,
    /// Last end, likewise.
    pub last: Option<u64>,
}
