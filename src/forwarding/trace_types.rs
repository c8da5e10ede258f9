//! The walk of one packet, step by step.

use std::fmt;
use std::net::{IpAddr, SocketAddr};

use boundwalk_diagnostic::Span;
use boundwalk_model::{Action, Protocol};

use super::device::DeviceIndex;
use super::doubt::Doubt;
use super::routes::NextHop;
use super::stop::{Place, Stop};

/// A packet. Messages (ICMP, ICMPv6) keep `type * 256 + code` in `destination_port` and 0 in `source_port`.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Packet {
    /// Source address.
    pub source: IpAddr,
    /// Destination address, of the same family.
    pub destination: IpAddr,
    /// Protocol.
    pub protocol: Protocol,
    /// Source port; 0 for protocols without ports.
    pub source_port: u16,
    /// Destination port; 0 for protocols without ports.
    pub destination_port: u16,
}

/// As `tcp 10.44.10.7:49152 -> 10.44.60.10:502`, or `icmp/8/0 10.44.10.7 -> 10.44.60.10`.
impl fmt::Display for Packet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            source,
            destination,
            protocol,
            source_port,
            destination_port: port,
        } = self;
        if protocol.has_ports() {
            let from = SocketAddr::new(*source, *source_port);
            let to = SocketAddr::new(*destination, *port);
            return write!(f, "{protocol} {from} -> {to}");
        }
        if protocol.has_messages() {
            write!(f, "{protocol}/{}/{}", port >> 8, port & 0xff)?;
        } else {
            write!(f, "{protocol}")?;
        }
        write!(f, " {source} -> {destination}")
    }
}

/// Why a rule does not match a packet: the first field that differs.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Mismatch {
    /// Disabled or expired.
    Inactive,
    /// Cannot match the packet's family.
    Family,
    /// Another interface of arrival.
    From,
    /// Another interface of departure.
    To,
    /// Another source.
    Source,
    /// Another destination.
    Destination,
    /// Another service.
    Service,
}

/// One rule held against the packet.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct RuleTry {
    /// Number of the rule in the gateway's list.
    pub rule: usize,
    /// Why it does not match; `None`: it matches and decides.
    pub mismatch: Option<Mismatch>,
}

/// What a filter said.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Decision {
    /// Rules tried, in order, up to the one that decided.
    pub tried: Vec<RuleTry>,
    /// The rule that decided; `None`: the default.
    pub rule: Option<usize>,
    /// What it did.
    pub action: Action,
}

/// The route that was taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct RouteChoice {
    /// The destinations of the longest match, lowest and highest.
    pub prefix: (u128, u128),
    /// Where it leads.
    pub next_hop: NextHop,
    /// Where it is described.
    pub place: Span,
}

/// What happened at one device.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Step {
    /// The device.
    pub device: DeviceIndex,
    /// Interface of arrival; `None`: the packet starts here.
    pub ingress: Option<usize>,
    /// Whether a source check was made and passed; `None`: there is none on the interface.
    pub source_check: Option<bool>,
    /// The packet as it arrived.
    pub arrived: Packet,
    /// Number of the destination translation line that matched.
    pub destination_translation: Option<usize>,
    /// Route, unless the packet is for the device itself or stopped before.
    pub route: Option<RouteChoice>,
    /// What the rules said.
    pub decision: Option<Decision>,
    /// Number of the source translation line that matched.
    pub source_translation: Option<usize>,
    /// The packet as it left, or where it stopped.
    pub left: Packet,
}

/// How it ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Outcome {
    /// It arrived.
    Delivered(Place),
    /// It stopped at the last step (or, without any, at the sender).
    Stopped(Stop),
    /// Its source or destination is one that no router forwards (RFC 6890; RFC 1812 section 5.3.7).
    NotForwardable,
}

/// The walk of one packet by one first hop.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Trace {
    /// Steps in order.
    pub steps: Vec<Step>,
    /// How it ended.
    pub outcome: Outcome,
    /// The packet in its last form.
    pub packet: Packet,
    /// The described host that sent it by its own routes; `None`: a plain device, or a hostile one.
    pub host: Option<DeviceIndex>,
    /// Why it may go another way; empty: it goes this way, or by another router that its sender may choose. Ascending.
    pub doubts: Vec<Doubt>,
    /// The reply's way back, where it was delivered.
    pub reply: Option<Reply>,
}

/// The way back.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Reply {
    /// The message expects none.
    NotExpected,
    /// It comes back.
    Back(Vec<ReplyStep>),
    /// The first answer comes back this way, but not by this stateful gateway, which the packet crossed: it sees one
    /// direction of the TCP connection and stops it.
    HalfOpen(Vec<ReplyStep>, DeviceIndex),
    /// It does not; the last step says why. No step: nobody takes it.
    Lost(Vec<ReplyStep>),
}

impl Reply {
    /// Whether the exchange works both ways as far as this packet needs it.
    #[must_use]
    pub fn two_way(&self) -> bool {
        matches!(self, Self::NotExpected | Self::Back(_))
    }
}

/// The reply at one device.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct ReplyStep {
    /// The device.
    pub device: DeviceIndex,
    /// Interface of arrival; `None`: the reply starts here.
    pub ingress: Option<usize>,
    /// Interface of departure.
    pub egress: Option<usize>,
    /// What let it pass or stopped it.
    pub pass: ReplyPass,
    /// The reply as it left.
    pub packet: Packet,
}

/// What let a reply pass at a device, or what stopped it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum ReplyPass {
    /// A router without rules.
    Unfiltered,
    /// The state that the packet left at a gateway; translations are undone.
    State,
    /// A stateful gateway without state for it takes it for a new flow, and this rule of it (`None`: the default)
    /// permits it.
    NewFlow(Option<usize>),
    /// A stateless gateway's rules: the deciding rule (`None`: the default).
    Rules(Option<usize>),
    /// Stopped: the gateway is stateful and never saw the packet, and the reply can't begin a flow.
    NoState,
    /// Stopped: a gateway that takes it for a new flow would translate it.
    Translated,
    /// Stopped by the source check.
    SourceCheck,
    /// Stopped by a stateless gateway's rule (`None`: the default).
    Denied(Option<usize>),
    /// Stopped: no route, or one that leads nowhere.
    NoRoute,
    /// Stopped: the device does not forward, or the reply is for itself.
    NotForwarding,
    /// Stopped: it has been here before.
    Loop,
    /// It may take more ways than are followed.
    TooManyWays,
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::{ICMP, TCP};

    #[test]
    fn packets_print_with_what_their_protocol_has() {
        let packet = |protocol, source_port, destination_port| Packet {
            source: [10, 44, 10, 7].into(),
            destination: [10, 44, 60, 10].into(),
            protocol,
            source_port,
            destination_port,
        };
        assert_eq!(
            packet(TCP, 49152, 502).to_string(),
            "tcp 10.44.10.7:49152 -> 10.44.60.10:502"
        );
        assert_eq!(
            packet(ICMP, 0, 3 * 256 + 4).to_string(),
            "icmp/3/4 10.44.10.7 -> 10.44.60.10"
        );
        assert_eq!(
            packet(Protocol(47), 0, 0).to_string(),
            "gre 10.44.10.7 -> 10.44.60.10"
        );
    }
}
