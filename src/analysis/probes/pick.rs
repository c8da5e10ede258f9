//! One packet of a set that people can send by hand.

use boundwalk_forwarding::{Network, Packet, Plan};
use boundwalk_model::{Family, HostId, ICMP, ICMPV6, Protocol, TCP, UDP};
use boundwalk_packet::{Interval, IntervalSet, Region, ServiceBox};

use super::super::party::forwardable;
use super::super::witness::representative;

/// Ports that are asked for first, where a set leaves the choice: what people know how to try.
const USUAL: [u16; 10] = [443, 80, 22, 502, 3389, 445, 53, 123, 161, 514];

/// A client takes its source port from here (RFC 6335 section 6; many systems start far lower, so a set must hold all
/// from the lowest port that needs no privilege before the port is left to the client).
const CLIENTS: (u128, u128) = (1024, 65_535);

/// The source port of a packet whose real one is left to the client.
pub const CLIENT_PORT: u16 = 49_152;

/// What to take packets of.
pub(super) struct Picker<'n> {
    pub network: &'n Network<'n>,
    pub plan: &'n Plan,
    /// Addresses of described hosts.
    pub hosts: IntervalSet,
    /// Whether devices that are not described may be put somewhere.
    pub spare_devices: bool,
}

impl<'n> Picker<'n> {
    pub fn new(network: &'n Network<'n>, family: Family, spare_devices: bool) -> Self {
        let plan = network.plan(family);
        let own = (0..network.site.hosts.len()).map(HostId).flat_map(|host| {
            let own = forwardable(plan, plan.host_index(host));
            own.intervals().to_vec()
        });
        Self {
            network,
            plan,
            hosts: own.collect(),
            spare_devices,
        }
    }

    /// Packets of a region with the same service, those between described hosts first. The second value tells
    /// whether the source port matters.
    pub fn packets(&self, region: &Region) -> Vec<(Packet, bool)> {
        let Some(service) = self.service(region) else {
            return Vec::new();
        };
        let sources = self.addresses(&region.source, true);
        let destinations = self.addresses(&region.destination, false);
        let family = self.plan.family;
        let packets = sources
            .iter()
            .flat_map(|&source| destinations.iter().map(move |&there| (source, there)))
            .map(|(source, destination)| Packet {
                source: family.address(source),
                destination: family.address(destination),
                protocol: service.protocol,
                source_port: service.source_port,
                destination_port: service.destination_port,
            });
        packets.map(|packet| (packet, service.pinned)).collect()
    }

    /// A described host's address and one that a test device can take; as a destination also one that only a
    /// translation makes somebody's.
    fn addresses(&self, set: &IntervalSet, source: bool) -> Vec<u128> {
        let described = set.intersection(&self.hosts);
        let mut list: Vec<u128> = Vec::new();
        list.extend(described.lowest());
        let free = set.difference(&self.hosts).difference(&self.plan.edges);
        let spare = representative(self.plan, &free);
        if source {
            list.extend(spare.filter(|_| self.spare_devices));
            return list;
        }
        list.extend(spare);
        let routers = set.intersection(&self.plan.routers_own);
        list.extend(routers.lowest().filter(|own| !list.contains(own)));
        list
    }

    /// Whether something can listen at an address, or send from it.
    pub fn usable(&self, address: u128) -> bool {
        let plan = self.plan;
        let known = self.hosts.contains(address) || plan.routers_own.contains(address);
        known
            || (self.spare_devices
                && !plan.edges.contains(address)
                && !plan.nobody.contains(address))
    }

    fn service(&self, region: &Region) -> Option<Service> {
        region
            .services
            .iter()
            .map(|class| self.network.classes.class_box(class))
            .flat_map(|shape| services(self.plan.family, shape))
            .min_by_key(|(rank, _)| *rank)
            .map(|(_, service)| service)
    }
}

/// A service to send.
#[derive(Clone, Copy)]
struct Service {
    protocol: Protocol,
    source_port: u16,
    destination_port: u16,
    /// Whether the source port matters.
    pinned: bool,
}

/// How easily a service is sent by hand: less is easier.
type Ease = (bool, u8, usize, u16);

/// Services of a class, one a protocol.
fn services(family: Family, shape: &ServiceBox) -> Vec<(Ease, Service)> {
    let echo = match family {
        Family::V4 => (ICMP, 8 << 8),
        Family::V6 => (ICMPV6, 128 << 8),
    };
    let foreign = match family {
        Family::V4 => ICMPV6,
        Family::V6 => ICMP,
    };
    let common = [TCP, UDP, echo.0];
    let rest: IntervalSet = [TCP, UDP, ICMP, ICMPV6]
        .map(|known| Interval::point(u128::from(known.0)))
        .into_iter()
        .collect();
    let rest = shape.protocols.difference(&rest).lowest();
    let rest = rest.map(|lowest| Protocol(lowest as u8));
    common
        .into_iter()
        .filter(|protocol| shape.protocols.contains(u128::from(protocol.0)))
        .chain(rest)
        .filter(|&protocol| protocol != foreign)
        .filter_map(|protocol| match protocol {
            _ if protocol.has_ports() => ported(protocol, shape),
            _ if protocol.has_messages() => message(protocol, shape, echo.1),
            _ => Some(((false, 5, 0, u16::from(protocol.0)), plain(protocol, 0))),
        })
        .collect()
}

fn plain(protocol: Protocol, message: u16) -> Service {
    Service {
        protocol,
        source_port: 0,
        destination_port: message,
        pinned: false,
    }
}

fn message(protocol: Protocol, shape: &ServiceBox, echo: u16) -> Option<(Ease, Service)> {
    let asks = shape.destination_ports.contains(u128::from(echo));
    let message = if asks {
        echo
    } else {
        shape.destination_ports.lowest()? as u16
    };
    let kind = if asks { 2 } else { 4 };
    Some(((false, kind, 0, message), plain(protocol, message)))
}

fn ported(protocol: Protocol, shape: &ServiceBox) -> Option<(Ease, Service)> {
    let holds = |port: &u16| shape.destination_ports.contains(u128::from(*port));
    let usual = USUAL.iter().position(holds);
    let port = match usual {
        Some(at) => USUAL[at],
        None => {
            let real = IntervalSet::range(1, 65_535).intersection(&shape.destination_ports);
            real.lowest()? as u16
        }
    };
    let clients = IntervalSet::range(CLIENTS.0, CLIENTS.1);
    let pinned = !clients.is_subset(&shape.source_ports);
    let source_port = if pinned {
        let real = IntervalSet::range(1, 65_535).intersection(&shape.source_ports);
        let client = real.intersection(&clients);
        client.lowest().or(real.lowest())? as u16
    } else {
        CLIENT_PORT
    };
    let kind = match protocol {
        TCP => 0,
        UDP => 1,
        _ => 3,
    };
    let ease = (pinned, kind, usual.unwrap_or(USUAL.len()), port);
    let service = Service {
        protocol,
        source_port,
        destination_port: port,
        pinned,
    };
    Some((ease, service))
}
