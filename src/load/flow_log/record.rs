//! One record of a log.

use std::sync::LazyLock;

use crate::service_names::built_in_services;
use boundwalk_model::{Family, ICMP, ICMPV6, Protocol, Service};
use boundwalk_packet::IntervalSet;

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
    pub fn turn(&mut self, known: &KnownPorts) -> bool {
        if self.protocol.has_messages() {
            return self.turn_echo();
        }
        let reply = || self.served(known) == (true, false);
        let turned = self.reverse.unwrap_or_else(reply);
        if turned {
            self.swap();
        }
        turned
    }

    /// Whether neither the log nor its ports say who started it.
    pub fn is_undecided(&self, known: &KnownPorts) -> bool {
        let (source, destination) = self.served(known);
        self.reverse.is_none() && self.protocol.has_ports() && source == destination
    }

    /// Whether services listen at its source port, and at its destination port.
    fn served(&self, known: &KnownPorts) -> (bool, bool) {
        let served = |port| self.protocol.has_ports() && known.holds(self.protocol, port);
        (served(self.source_port), served(self.destination_port))
    }

    /// The other way round.
    pub fn swap(&mut self) {
        std::mem::swap(&mut self.source, &mut self.destination);
        std::mem::swap(&mut self.source_port, &mut self.destination_port);
    }

    /// Adds what another record of the same direction counts.
    pub fn join(&mut self, other: &Self) {
        self.flows = self.flows.saturating_add(other.flows);
        self.packets = self.packets.saturating_add(other.packets);
        self.octets = self.octets.saturating_add(other.octets);
        self.first = [self.first, other.first].into_iter().flatten().min();
        self.last = self.last.max(other.last);
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

/// Where services listen: at ports below 1,024, at those of built-in services, and at those of the site's own.
pub(super) struct KnownPorts(Vec<(Protocol, IntervalSet)>);

impl KnownPorts {
    /// The built-in ones and these.
    pub fn with(services: &[Service]) -> Self {
        let mut known = Self(BUILT_IN.clone());
        known.add(services.iter());
        known
    }

    fn add<'s>(&mut self, services: impl Iterator<Item = &'s Service>) {
        let full = IntervalSet::range(0, 65_535);
        for service in services {
            let Service::Ports {
                protocol,
                destination,
                ..
            } = service
            else {
                continue;
            };
            if *destination == full {
                continue;
            }
            match self.0.iter_mut().find(|(one, _)| one == protocol) {
                Some((_, ports)) => *ports = ports.union(destination),
                None => self.0.push((*protocol, destination.clone())),
            }
        }
    }

    fn holds(&self, protocol: Protocol, port: u16) -> bool {
        let mut ports = self.0.iter();
        (1..1024).contains(&port)
            || ports.any(|(known, ports)| *known == protocol && ports.contains(u128::from(port)))
    }
}

static BUILT_IN: LazyLock<Vec<(Protocol, IntervalSet)>> = LazyLock::new(|| {
    let mut known = KnownPorts(Vec::new());
    known.add(
        built_in_services()
            .iter()
            .flat_map(|service| &service.services),
    );
    known.0
});
