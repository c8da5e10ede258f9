//! The IPFIX information elements that are read.

use boundwalk_model::{Family, Protocol};

use super::address::{address, number};
use super::record::Record;

/// What a column holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Column {
    Source,
    Destination,
    Protocol,
    SourcePort,
    DestinationPort,
    MessageV4,
    MessageV6,
    Octets,
    Packets,
    Flows,
    StartMilliseconds,
    EndMilliseconds,
    StartSeconds,
    EndSeconds,
    Direction,
}

/// Names of information elements with their numbers (IANA, *IP Flow Information Export (IPFIX) Entities*; RFC 7012).
pub static ELEMENTS: &[(&str, u16)] = &[
    ("octetDeltaCount", 1),
    ("packetDeltaCount", 2),
    ("deltaFlowCount", 3),
    ("protocolIdentifier", 4),
    ("sourceTransportPort", 7),
    ("sourceIPv4Address", 8),
    ("destinationTransportPort", 11),
    ("destinationIPv4Address", 12),
    ("sourceIPv6Address", 27),
    ("destinationIPv6Address", 28),
    ("icmpTypeCodeIPv4", 32),
    ("octetTotalCount", 85),
    ("packetTotalCount", 86),
    ("icmpTypeCodeIPv6", 139),
    ("flowStartSeconds", 150),
    ("flowEndSeconds", 151),
    ("flowStartMilliseconds", 152),
    ("flowEndMilliseconds", 153),
    ("biflowDirection", 239),
];

impl Column {
    /// The column of an element; `None`: it is not read.
    pub fn named(name: &[u8]) -> Option<Self> {
        Some(match name {
            b"sourceIPv4Address" | b"sourceIPv6Address" => Self::Source,
            b"destinationIPv4Address" | b"destinationIPv6Address" => Self::Destination,
            b"protocolIdentifier" => Self::Protocol,
            b"sourceTransportPort" => Self::SourcePort,
            b"destinationTransportPort" => Self::DestinationPort,
            b"icmpTypeCodeIPv4" => Self::MessageV4,
            b"icmpTypeCodeIPv6" => Self::MessageV6,
            b"octetDeltaCount" | b"octetTotalCount" => Self::Octets,
            b"packetDeltaCount" | b"packetTotalCount" => Self::Packets,
            b"deltaFlowCount" => Self::Flows,
            b"flowStartMilliseconds" => Self::StartMilliseconds,
            b"flowEndMilliseconds" => Self::EndMilliseconds,
            b"flowStartSeconds" => Self::StartSeconds,
            b"flowEndSeconds" => Self::EndSeconds,
            b"biflowDirection" => Self::Direction,
            _ => return None,
        })
    }
}

/// A record under way.
#[derive(Default)]
pub(super) struct Draft {
    source: Option<(Family, u128)>,
    destination: Option<(Family, u128)>,
    protocol: Option<u8>,
    source_port: Option<u16>,
    destination_port: Option<u16>,
    message: Option<u16>,
    octets: u64,
    packets: u64,
    flows: Option<u64>,
    first: Option<u64>,
    last: Option<u64>,
    reverse: Option<bool>,
}

impl Draft {
    /// Takes a field in. An empty one says nothing.
    pub fn set(&mut self, column: Column, text: &[u8]) -> Result<(), String> {
        if text.is_empty() {
            return Ok(());
        }
        let count = || number(text).ok_or_else(|| wrong(text, "number"));
        let milliseconds = |seconds: u64| Some(seconds.saturating_mul(1000));
        match column {
            Column::Source => set_address(&mut self.source, text, "source")?,
            Column::Destination => set_address(&mut self.destination, text, "destination")?,
            Column::Protocol => {
                let value = u8::try_from(count()?).map_err(|_| wrong(text, "protocol"))?;
                self.protocol = Some(value);
            }
            Column::SourcePort => self.source_port = Some(small(text)?),
            Column::DestinationPort => self.destination_port = Some(small(text)?),
            // An exporter may fill both columns: the one of the other family with 0.
            Column::MessageV4 | Column::MessageV6 => {
                self.message = self.message.max(Some(small(text)?));
            }
            Column::Octets => self.octets = self.octets.max(count()?),
            Column::Packets => self.packets = self.packets.max(count()?),
            Column::Flows => self.flows = Some(count()?),
            // Where both precisions stand, the finer one is the greater.
            Column::StartMilliseconds => self.first = self.first.max(Some(count()?)),
            Column::EndMilliseconds => self.last = self.last.max(Some(count()?)),
            Column::StartSeconds => self.first = self.first.max(milliseconds(count()?)),
            Column::EndSeconds => self.last = self.last.max(milliseconds(count()?)),
            Column::Direction => self.reverse = reverse(count()?),
        }
        Ok(())
    }

    /// The record, if it is whole.
    pub fn finish(self) -> Result<Record, String> {
        let source = self.source.ok_or("no source address")?;
        let destination = self.destination.ok_or("no destination address")?;
        let protocol = Protocol(self.protocol.ok_or("no protocol")?);
        let destination_port = match protocol {
            // Without the element of its own, type and code stand where the destination port does (common practice,
            // no source).
            one if one.has_messages() => {
                let value = self.message.or(self.destination_port);
                value.ok_or("no type and code of the message")?
            }
            one if one.has_ports() => self.destination_port.ok_or("no destination port")?,
            _ => 0,
        };
        let record = Record {
            family: source.0,
            source: source.1,
            destination: destination.1,
            protocol,
            source_port: self.source_port.unwrap_or(0),
            destination_port,
            octets: self.octets,
            packets: self.packets,
            flows: self.flows.unwrap_or(1),
            first: self.first,
            last: self.last.or(self.first),
            reverse: self.reverse,
        };
        record.check(destination.0)
    }
}

fn wrong(text: &[u8], what: &str) -> String {
    format!("`{}` is no {what}", String::from_utf8_lossy(text))
}

fn small(text: &[u8]) -> Result<u16, String> {
    let value = number(text).and_then(|value| u16::try_from(value).ok());
    value.ok_or_else(|| wrong(text, "number up to 65535"))
}

/// Takes an address in. An exporter may fill the columns of both families, that of the other one with zeros (common
/// practice, no source): such a one never wins.
fn set_address(place: &mut Option<(Family, u128)>, text: &[u8], which: &str) -> Result<(), String> {
    let new = address(text).ok_or_else(|| wrong(text, "address"))?;
    match *place {
        Some(old) if old == new || new.1 == 0 => {}
        Some((_, old)) if old != 0 => return Err(format!("two {which} addresses")),
        _ => *place = Some(new),
    }
    Ok(())
}

/// Whether a record tells of the reply (RFC 5103 section 6.3): 1, the source started it; 2, the destination did; 0 and
/// 3 say nothing of who started it.
fn reverse(direction: u64) -> Option<bool> {
    match direction {
        1 => Some(false),
        2 => Some(true),
        _ => None,
    }
}
