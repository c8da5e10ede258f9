//! The same flows in all three forms give the same log.

use std::fmt::Write;
use std::net::{Ipv4Addr, Ipv6Addr};

use proptest::prelude::*;

use super::support::{read, try_read};
use boundwalk::load::{FlowFormat, FlowLog, FlowOptions};

/// A connection, as its starting side sees it.
#[derive(Clone, Debug)]
struct Connection {
    v6: bool,
    source: u8,
    destination: u8,
    protocol: u8,
    source_port: u16,
    destination_port: u16,
    /// There and back.
    packets: (u32, u32),
    octets: (u32, u32),
}

impl Connection {
    fn address(&self, host: u8) -> String {
        if self.v6 {
            Ipv6Addr::new(0xfd44, 0, 0, 0x10, 0, 0, 0, u16::from(host)).to_string()
        } else {
            Ipv4Addr::new(10, 44, 10, host).to_string()
        }
    }

    fn is_message(&self) -> bool {
        matches!(self.protocol, 1 | 58)
    }

    fn has_ports(&self) -> bool {
        matches!(self.protocol, 6 | 17 | 33 | 132 | 136)
    }

    /// Names and values of its fields, in an order that `turn` rotates.
    fn fields(&self, turn: usize) -> Vec<(&'static str, String)> {
        let family = if self.v6 { "6" } else { "4" };
        let named = |v4: &'static str, v6: &'static str| if family == "6" { v6 } else { v4 };
        let mut fields = vec![
            (
                named("sourceIPv4Address", "sourceIPv6Address"),
                self.address(self.source),
            ),
            (
                named("destinationIPv4Address", "destinationIPv6Address"),
                self.address(self.destination),
            ),
            ("protocolIdentifier", self.protocol.to_string()),
            ("packetDeltaCount", sum(self.packets).to_string()),
            ("octetDeltaCount", sum(self.octets).to_string()),
            // Who started it is stated, as it is in a connection table.
            ("biflowDirection", "1".to_owned()),
        ];
        if self.is_message() {
            let name = named("icmpTypeCodeIPv4", "icmpTypeCodeIPv6");
            fields.push((name, self.destination_port.to_string()));
        } else {
            fields.push(("sourceTransportPort", self.source_port.to_string()));
            fields.push((
                "destinationTransportPort",
                self.destination_port.to_string(),
            ));
        }
        let length = fields.len();
        fields.rotate_left(turn % length);
        fields
    }

    fn half(&self, back: bool) -> String {
        let (mut from, mut to) = (self.address(self.source), self.address(self.destination));
        let (mut source, mut destination) = (self.source_port, self.destination_port);
        let (mut packets, mut octets) = (self.packets.0, self.octets.0);
        if back {
            std::mem::swap(&mut from, &mut to);
            std::mem::swap(&mut source, &mut destination);
            (packets, octets) = (self.packets.1, self.octets.1);
        }
        let mut text = format!("src={from} dst={to} ");
        if self.is_message() {
            let value = self.destination_port;
            write!(text, "type={} code={} id=7 ", value >> 8, value & 255).expect("a text");
        } else if self.has_ports() {
            write!(text, "sport={source} dport={destination} ").expect("a text");
        }
        text + &format!("packets={packets} bytes={octets}")
    }
}

fn sum((there, back): (u32, u32)) -> u64 {
    u64::from(there) + u64::from(back)
}

fn connection() -> impl Strategy<Value = Connection> {
    let protocol = prop_oneof![Just(0u8), Just(6), Just(17), Just(47), Just(132)];
    let port = || prop_oneof![Just(53u16), Just(445), Just(2048), any::<u16>()];
    (
        any::<bool>(),
        (0..4u8, 0..4u8),
        protocol,
        (port(), port()),
        any::<(u32, u32)>(),
        any::<(u32, u32)>(),
    )
        .prop_map(|(v6, hosts, protocol, ports, packets, octets)| Connection {
            v6,
            source: hosts.0,
            destination: hosts.1,
            // 0 stands for the messages of the family.
            protocol: match (protocol, v6) {
                (0, true) => 58,
                (0, false) => 1,
                (other, _) => other,
            },
            source_port: ports.0,
            destination_port: ports.1,
            packets,
            octets,
        })
}

fn csv(connections: &[Connection]) -> String {
    let names = [
        "biflowDirection",
        "destinationIPv4Address",
        "destinationIPv6Address",
        "destinationTransportPort",
        "icmpTypeCodeIPv4",
        "icmpTypeCodeIPv6",
        "octetDeltaCount",
        "packetDeltaCount",
        "protocolIdentifier",
        "sourceIPv4Address",
        "sourceIPv6Address",
        "sourceTransportPort",
    ];
    let mut text = names.join(",") + "\n";
    for connection in connections {
        let fields = connection.fields(0);
        let value = |name| {
            let mut known = fields.iter().filter(|(other, _)| *other == name);
            known.next().map_or("", |(_, value)| value)
        };
        let row: Vec<&str> = names.iter().map(|name| value(*name)).collect();
        text += &(row.join(",") + "\n");
    }
    text
}

fn json(connections: &[Connection]) -> String {
    let mut text = String::new();
    for (turn, connection) in connections.iter().enumerate() {
        let fields = connection.fields(turn);
        let pairs = fields.iter().map(|(name, value)| {
            let is_number = value.bytes().all(|byte| byte.is_ascii_digit());
            if is_number && turn % 2 == 0 {
                format!("\"{name}\":{value}")
            } else {
                format!("\"{name}\":\"{value}\"")
            }
        });
        text += &format!("{{{}}}\n", pairs.collect::<Vec<_>>().join(","));
    }
    text
}

fn table(connections: &[Connection]) -> String {
    let lines = connections.iter().enumerate().map(|(turn, connection)| {
        let family = if connection.v6 { "ipv6 10 " } else { "ipv4 2 " };
        let family = if turn % 2 == 0 { family } else { "" };
        let (there, back) = (connection.half(false), connection.half(true));
        let protocol = connection.protocol;
        format!("{family}name {protocol} 30 {there} [UNREPLIED] {back} mark=0 use=1\n")
    });
    lines.collect()
}

/// The log without the count of lines, of which CSV has one more.
fn without_lines(text: &str, heading: u64) -> FlowLog {
    let mut log = read(text);
    assert_eq!(log.lines, log.records + log.malformed + heading);
    log.lines = 0;
    log
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn the_same_flows_give_the_same_log(connections in prop::collection::vec(connection(), 1..60)) {
        let expected = without_lines(&csv(&connections), 1);
        prop_assert_eq!(expected.records, connections.len() as u64);
        let octets: u64 = connections.iter().map(|one| sum(one.octets)).sum();
        prop_assert_eq!(expected.flows.iter().map(|flow| flow.octets).sum::<u64>(), octets);
        prop_assert_eq!(&without_lines(&json(&connections), 0), &expected);
        prop_assert_eq!(&without_lines(&table(&connections), 0), &expected);
        // Said or seen, the form is the same.
        let options = FlowOptions { format: Some(FlowFormat::JsonLines), ..FlowOptions::default() };
        let stated = try_read(json(&connections), options).expect("a readable log");
        prop_assert_eq!(&stated.flows, &expected.flows);
    }
}
