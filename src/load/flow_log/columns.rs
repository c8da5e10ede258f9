//! The IPFIX information elements that are read.

use crate::model::{Family, Protocol};

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
    source_port: u16,
    destination_port: u16,
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
        let wrong = |what: &str| format!("`{}` is no {what}", String::from_utf8_lossy(text));
        let count = || number(text).ok_or_else(|| wrong("number"));
        let small = || {
            let value = count()?;
            u16::try_from(value).map_err(|_| wrong("number up to 65535"))
        };
        match column {
            Column::Source => self.source = Some(address(text).ok_or_else(|| wrong("address"))?),
            Column::Destination => {
                self.destination = Some(address(text).ok_or_else(|| wrong("address"))?);
            }
            Column::Protocol => {
                let value = u8::try_from(count()?).map_err(|_| wrong("protocol"))?;
                self.protocol = Some(value);
            }
            Column::SourcePort => self.source_port = small()?,
            Column::DestinationPort => self.destination_port = small()?,
            // An exporter may fill both columns: the one of the other family with 0.
            Column::MessageV4 | Column::MessageV6 => {
                let value = small()?;
                self.message = Some(self.message.unwrap_or(0).max(value));
            }
            Column::Octets => self.octets = self.octets.max(count()?),
            Column::Packets => self.packets = self.packets.max(count()?),
            Column::Flows => self.flows = Some(count()?),
            Column::StartMilliseconds => self.first = Some(count()?),
            Column::EndMilliseconds => self.last = Some(count()?),
            Column::StartSeconds => self.first = Some(count()?.saturating_mul(1000)),
            Column::EndSeconds => self.last = Some(count()?.saturating_mul(1000)),
            Column::Direction => self.reverse = Some(count()? == 2),
        }
        Ok(())
    }

    /// The record, if it is whole.
    pub fn finish(self) -> Result<Record, String> {
        let (Some(source), Some(destination)) = (self.source, self.destination) else {
            return Err("no source or destination address".to_owned());
        };
        if source.0 != destination.0 {
            return Err("addresses of two families".to_owned());
        }
        let protocol = Protocol(self.protocol.ok_or("no protocol")?);
        let (source_port, destination_port) = match protocol {
            // Without the element of its own, type and code stand where the destination port does (common practice,
            // no source).
            one if one.has_messages() => (0, self.message.unwrap_or(self.destination_port)),
            one if one.has_ports() => (self.source_port, self.destination_port),
            _ => (0, 0),
        };
        Ok(Record {
            family: source.0,
            source: source.1,
            destination: destination.1,
            protocol,
            source_port,
            destination_port,
            octets: self.octets,
            packets: self.packets,
            flows: self.flows.unwrap_or(1),
            first: self.first,
            last: self.last.or(self.first),
            reverse: self.reverse,
        })
    }
}
