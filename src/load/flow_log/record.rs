//! One record of a log.

use std::sync::LazyLock;

use crate::load::service_names::built_in_services;
use crate::model::{Family, ICMP, ICMPV6, Protocol, Service};
use crate::packet::IntervalSet;

use super::FlowService;

/// One record: where it comes from and goes to, and how much there was.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Record {
    pub family: Family,
    pub source: u128,
    pub destination: u128,
    pub protocol: Protocol,
    pub source_port: u16,
    /// Or `type * 256 + code`.
    pub destination_port: u16,
    pub octets: u64,
    pub packets: u64,
    pub flows: u64,
    pub first: Option<u64>,
    pub last: Option<u64>,
    /// Whether it tells of the reply, where the log says so.
    pub reverse: Option<bool>,
}

impl Record {
    /// The record again, where its parts go together; `destination` is the family of the destination.
    pub fn check(self, destination: Family) -> Result<Self, String> {
        if self.family != destination {
            return Err("addresses of two families".to_owned());
        }
        match (self.protocol, self.family) {
            (ICMP, Family::V6) => Err("ICMP for IPv4 between IPv6 addresses".to_owned()),
            (ICMPV6, Family::V4) => Err("ICMP for IPv6 between IPv4 addresses".to_owned()),
            _ => Ok(self),
        }
    }

    /// Turns a record that tells of replies round; true where it did. For messages their type decides: there is no
    /// flow of replies whose type is a request's.
    pub fn turn(&mut self) -> bool {
        if self.protocol.has_messages() {
            return self.turn_echo();
        }
        let turned = self.reverse.unwrap_or_else(|| self.looks_like_a_reply());
        if turned {
            std::mem::swap(&mut self.source, &mut self.destination);
            std::mem::swap(&mut self.source_port, &mut self.destination_port);
        }
        turned
    }

    fn looks_like_a_reply(&self) -> bool {
        self.protocol.has_ports()
            && known(self.protocol, self.source_port)
            && !known(self.protocol, self.destination_port)
    }

    /// Echo reply to echo request; other messages stay as they are.
    fn turn_echo(&mut self) -> bool {
        let request = match (self.protocol, self.destination_port >> 8) {
            (ICMP, 0) => 8 << 8,
            (ICMPV6, 129) => 128 << 8,
            _ => return false,
        };
        std::mem::swap(&mut self.source, &mut self.destination);
        self.destination_port = request;
        true
    }

    pub fn service(&self) -> FlowService {
        let port = self.destination_port;
        match self.protocol {
            one if one.has_messages() => FlowService::Message(one, (port >> 8) as u8, port as u8),
            one if one.has_ports() => FlowService::Port(one, port),
            other => FlowService::Other(other),
        }
    }
}

/// Whether services listen at a port: below 1,024, or one of a built-in service.
fn known(protocol: Protocol, port: u16) -> bool {
    if (1..1024).contains(&port) {
        return true;
    }
    let mut ports = KNOWN.iter();
    ports.any(|(known, ports)| *known == protocol && ports.contains(u128::from(port)))
}

static KNOWN: LazyLock<Vec<(Protocol, IntervalSet)>> = LazyLock::new(|| {
    let mut known: Vec<(Protocol, IntervalSet)> = Vec::new();
    let full = IntervalSet::range(0, 65_535);
    for service in built_in_services()
        .iter()
        .flat_map(|service| &service.services)
    {
        if let Service::Ports {
            protocol,
            destination,
            ..
        } = service
            && *destination != full
        {
            match known.iter_mut().find(|(one, _)| one == protocol) {
                Some((_, ports)) => *ports = ports.union(destination),
                None => known.push((*protocol, destination.clone())),
            }
        }
    }
    known
});
