//! A packet as rules see it.

use boundwalk_forwarding::Packet;

/// A packet as the rules of a gateway see it, after destination translation and before source translation.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RulePacket {
    /// The interface that it arrives by, by number.
    pub ingress: usize,
    /// The interface that it leaves by; `None`: it is for the gateway itself.
    pub egress: Option<usize>,
    /// Its addresses, protocol and ports.
    pub packet: Packet,
}
