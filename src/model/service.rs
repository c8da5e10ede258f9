//! Services: protocols with ports or message types.

use std::fmt;

use boundwalk_packet::{IntervalSet, ServiceBox};

use super::address::Family;

/// An IP protocol number (IANA, *Assigned Internet Protocol Numbers*).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Protocol(pub u8);

/// ICMP for IPv4 (RFC 792).
pub const ICMP: Protocol = Protocol(1);
/// TCP (RFC 9293).
pub const TCP: Protocol = Protocol(6);
/// UDP (RFC 768).
pub const UDP: Protocol = Protocol(17);
/// ICMP for IPv6 (RFC 4443).
pub const ICMPV6: Protocol = Protocol(58);

/// Names by which a protocol may be written, IANA's keywords in lower case.
const PROTOCOLS: &[(u8, &str)] = &[
    (1, "icmp"),
    (2, "igmp"),
    (4, "ipencap"),
    (6, "tcp"),
    (8, "egp"),
    (17, "udp"),
    (33, "dccp"),
    (41, "ipv6"),
    (46, "rsvp"),
    (47, "gre"),
    (50, "esp"),
    (51, "ah"),
    (58, "icmpv6"),
    (88, "eigrp"),
    (89, "ospf"),
    (94, "ipip"),
    (97, "etherip"),
    (103, "pim"),
    (112, "vrrp"),
    (115, "l2tp"),
    (132, "sctp"),
    (136, "udplite"),
    (137, "mpls-in-ip"),
    (139, "hip"),
];

impl Protocol {
    /// The protocol of a name.
    pub fn named(name: &str) -> Option<Self> {
        let mut known = PROTOCOLS.iter();
        known
            .find(|(_, known)| *known == name)
            .map(|&(number, _)| Self(number))
    }

    /// All names, for suggestions.
    pub fn names() -> impl Iterator<Item = &'static str> {
        PROTOCOLS.iter().map(|&(_, name)| name)
    }

    /// Whether it has source and destination ports: TCP, UDP, DCCP, SCTP, UDP-Lite.
    pub fn has_ports(self) -> bool {
        matches!(self.0, 6 | 17 | 33 | 132 | 136)
    }

    /// Whether it carries messages with a type and a code: ICMP, ICMPv6.
    pub fn has_messages(self) -> bool {
        self == ICMP || self == ICMPV6
    }

    /// All protocols with ports.
    pub fn with_ports() -> IntervalSet {
        [6u128, 17, 33, 132, 136]
            .into_iter()
            .map(boundwalk_packet::Interval::point)
            .collect()
    }

    /// All protocols with messages.
    pub fn with_messages() -> IntervalSet {
        [1u128, 58]
            .into_iter()
            .map(boundwalk_packet::Interval::point)
            .collect()
    }
}

impl fmt::Display for Protocol {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match PROTOCOLS.iter().find(|(number, _)| *number == self.0) {
            Some((_, name)) => f.write_str(name),
            None => write!(f, "protocol {}", self.0),
        }
    }
}

/// One service. ICMP and ICMPv6 belong to one family each: `icmp` never matches an IPv6 packet.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub enum Service {
    /// Every packet.
    Any,
    /// Every packet of a protocol.
    Whole(Protocol),
    /// A protocol with ports; both sets non-empty, `0..=65535`.
    Ports {
        /// A protocol for which [`Protocol::has_ports`] holds.
        protocol: Protocol,
        /// Source ports.
        source: IntervalSet,
        /// Destination ports.
        destination: IntervalSet,
    },
    /// ICMP or ICMPv6 messages.
    Message {
        /// [`ICMP`] or [`ICMPV6`].
        protocol: Protocol,
        /// Message type.
        kind: u8,
        /// Code; `None`: every code.
        code: Option<u8>,
    },
}

impl Service {
    /// The packets of a family that it matches, as a product of protocols and ports; `None` where it can
    /// match none of that family. Messages are kept as `type * 256 + code` in the destination port.
    pub fn packets(&self, family: Family) -> Option<ServiceBox> {
        let full = IntervalSet::range(0, 65_535);
        let of = |protocol: Protocol, source, destination| ServiceBox {
            protocols: IntervalSet::point(u128::from(protocol.0)),
            source_ports: source,
            destination_ports: destination,
        };
        match self {
            Self::Any => Some(ServiceBox::any()),
            Self::Whole(protocol) => {
                exists_in(*protocol, family).then(|| of(*protocol, full.clone(), full.clone()))
            }
            Self::Ports {
                protocol,
                source,
                destination,
            } => Some(of(*protocol, source.clone(), destination.clone())),
            Self::Message {
                protocol,
                kind,
                code,
            } => {
                let first = u128::from(*kind) * 256;
                let codes = match code {
                    Some(code) => IntervalSet::point(first + u128::from(*code)),
                    None => IntervalSet::range(first, first + 255),
                };
                exists_in(*protocol, family).then(|| of(*protocol, full.clone(), codes))
            }
        }
    }
}

/// ICMP belongs to IPv4 and ICMPv6 to IPv6; every other protocol to both.
fn exists_in(protocol: Protocol, family: Family) -> bool {
    match family {
        Family::V4 => protocol != ICMPV6,
        Family::V6 => protocol != ICMP,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn icmp_belongs_to_one_family() {
        let ping = Service::Message {
            protocol: ICMP,
            kind: 8,
            code: None,
        };
        let packets = ping.packets(Family::V4).expect("an IPv4 message");
        assert_eq!(packets.destination_ports, IntervalSet::range(2048, 2303));
        assert_eq!(ping.packets(Family::V6), None);
        assert_eq!(Service::Whole(ICMPV6).packets(Family::V4), None);
    }

    /// Values of the IANA registry, as kept in the protocols file of the netbase collection.
    #[test]
    fn protocol_names_are_ianas() {
        let expected = [
            ("tcp", 6),
            ("udp", 17),
            ("gre", 47),
            ("esp", 50),
            ("icmpv6", 58),
            ("sctp", 132),
        ];
        for (name, number) in expected {
            assert_eq!(Protocol::named(name), Some(Protocol(number)), "{name}");
            assert_eq!(Protocol(number).to_string(), name);
        }
        assert_eq!(Protocol(200).to_string(), "protocol 200");
    }

    #[test]
    fn a_message_is_its_type_and_its_code() {
        let unreachable = Service::Message {
            protocol: ICMP,
            kind: 3,
            code: Some(4),
        };
        let packets = unreachable.packets(Family::V4).expect("an IPv4 message");
        assert_eq!(packets.destination_ports, IntervalSet::point(3 * 256 + 4));
    }

    #[test]
    fn protocols_have_ports_or_messages_or_neither() {
        for number in 0..=255 {
            let protocol = Protocol(number);
            let value = u128::from(number);
            let ports = Protocol::with_ports().contains(value);
            let messages = Protocol::with_messages().contains(value);
            assert_eq!(protocol.has_ports(), ports, "{protocol}");
            assert_eq!(protocol.has_messages(), messages, "{protocol}");
            assert!(!(ports && messages), "{protocol}");
        }
        assert!(ICMP.has_messages() && ICMPV6.has_messages() && TCP.has_ports());
    }

    #[test]
    fn every_name_that_is_suggested_is_taken() {
        let names: Vec<&str> = Protocol::names().collect();
        assert!(names.contains(&"tcp") && names.contains(&"vrrp"));
        assert!(names.iter().all(|name| Protocol::named(name).is_some()));
        assert_eq!(Protocol::named("no such protocol"), None);
    }
}
