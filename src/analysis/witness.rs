//! A packet that shows it: one member of a set, chosen to look like real traffic.

use boundwalk_forwarding::{Network, Packet, Plan};
use boundwalk_model::{Family, ICMP, ICMPV6, Protocol, TCP, UDP};
use boundwalk_packet::{IntervalSet, Region, ServiceBox};

/// Services that people know at sight, the first choice for a packet that shows something (IANA service names and port
/// numbers; which ones people know is common practice, no source).
const KNOWN: [(Protocol, u16); 5] = [(TCP, 443), (TCP, 22), (TCP, 80), (UDP, 53), (TCP, 53)];

/// The first port of the dynamic range (RFC 6335 section 6).
const CLIENT_PORT: u16 = 49_152;

/// A packet of a region: the same one each time, between host addresses, of a service that people know, with a
/// client port from the dynamic range (RFC 6335 section 6), where the region leaves the choice; from a device to
/// another one, if it leaves any. `None` for an empty region.
#[must_use]
pub fn witness(network: &Network<'_>, plan: &Plan, region: &Region) -> Option<Packet> {
    let (protocol, source_port, destination_port) = service(network, plan.family, region)?;
    let (source, destination) = addresses(plan, region)?;
    Some(Packet {
        source: plan.family.address(source),
        destination: plan.family.address(destination),
        protocol,
        source_port,
        destination_port,
    })
}

/// Two addresses of a region, of two devices where there are two.
fn addresses(plan: &Plan, region: &Region) -> Option<(u128, u128)> {
    let source = representative(plan, &region.source)?;
    let own = IntervalSet::point(source);
    let others = region.destination.difference(&own);
    if let Some(destination) = representative(plan, &others) {
        return Some((source, destination));
    }
    let destination = representative(plan, &region.destination)?;
    let others = region.source.difference(&region.destination);
    Some((representative(plan, &others).unwrap_or(source), destination))
}

/// Protocol, source port and destination port of one packet.
fn service(network: &Network<'_>, family: Family, region: &Region) -> Option<(Protocol, u16, u16)> {
    let held = |&&(protocol, port): &&(Protocol, u16)| {
        let class = network.classes.class_of(protocol.0, CLIENT_PORT, port);
        region.services.contains(class)
    };
    if let Some(&(protocol, port)) = KNOWN.iter().find(held) {
        return Some((protocol, CLIENT_PORT, port));
    }
    let shape = shape(network, family, region)?;
    let protocol = pick_protocol(family, &shape.protocols)?;
    let (source_port, destination_port) = if protocol.has_ports() {
        let dynamic = IntervalSet::range(49_152, 65_535);
        let client = shape.source_ports.intersection(&dynamic);
        let real = shape
            .destination_ports
            .intersection(&IntervalSet::range(1, 65_535));
        (
            client.lowest().or(shape.source_ports.lowest())?,
            real.lowest().or(shape.destination_ports.lowest())?,
        )
    } else if protocol.has_messages() {
        let echo = IntervalSet::point(u128::from(echo_request(family)));
        let echo = shape.destination_ports.intersection(&echo);
        (0, echo.lowest().or(shape.destination_ports.lowest())?)
    } else {
        (0, 0)
    };
    Some((protocol, source_port as u16, destination_port as u16))
}

/// Protocols and ports to choose from: TCP or UDP before an echo request before anything else.
fn shape<'n>(network: &'n Network<'_>, family: Family, region: &Region) -> Option<&'n ServiceBox> {
    let shapes = || {
        region
            .services
            .iter()
            .map(|class| network.classes.class_box(class))
    };
    let of =
        |shape: &ServiceBox, protocol: Protocol| shape.protocols.contains(u128::from(protocol.0));
    let echo = u128::from(echo_request(family));
    let ported = |shape: &&ServiceBox| of(shape, TCP) || of(shape, UDP);
    let clients = |shape: &&ServiceBox| shape.source_ports.contains(u128::from(CLIENT_PORT));
    let from_client = shapes().filter(ported).find(clients);
    let with_ports = from_client.or_else(|| shapes().find(ported));
    let asking = || {
        let mut shapes = shapes();
        shapes.find(|shape| {
            of(shape, message_protocol(family)) && shape.destination_ports.contains(echo)
        })
    };
    with_ports.or_else(asking).or_else(|| shapes().next())
}

fn message_protocol(family: Family) -> Protocol {
    match family {
        Family::V4 => ICMP,
        Family::V6 => ICMPV6,
    }
}

/// An echo request as kept in the destination port field (RFC 792; RFC 4443 section 4.1).
fn echo_request(family: Family) -> u16 {
    match family {
        Family::V4 => 8 << 8,
        Family::V6 => 128 << 8,
    }
}

fn pick_protocol(family: Family, protocols: &IntervalSet) -> Option<Protocol> {
    let common = [TCP, UDP, message_protocol(family)];
    let held = common
        .iter()
        .find(|protocol| protocols.contains(u128::from(protocol.0)));
    held.copied()
        .or_else(|| protocols.lowest().map(|lowest| Protocol(lowest as u8)))
}

/// Addresses that examples use: documentation (RFC 5737, RFC 3849).
pub(super) fn examples(family: Family) -> IntervalSet {
    match family {
        Family::V4 => IntervalSet::range(0xC633_6401, 0xC633_64FE),
        Family::V6 => {
            let base = 0x2001_0db8_u128 << 96;
            IntervalSet::range(base + (0xffff << 64) + 1, base + (0xffff << 64) + 0xffff)
        }
    }
}

/// An address to show a set by: the lowest that can be a host's: neither first nor last of an on-link prefix; for a wide set one
/// from the documentation prefixes.
#[must_use]
pub fn representative(plan: &Plan, set: &IntervalSet) -> Option<u128> {
    let wide = set
        .intervals()
        .iter()
        .any(|part| part.high() - part.low() > 1 << 24);
    if wide {
        let example = set.intersection(&examples(plan.family)).lowest();
        if example.is_some() {
            return example;
        }
    }
    let inner = set.intervals().iter().find_map(|part| {
        let next = part
            .low()
            .checked_add(1)
            .filter(|&next| next <= part.high());
        [Some(part.low()), next]
            .into_iter()
            .flatten()
            .find(|&value| !plan.edges.contains(value))
    });
    inner.or(set.lowest())
}
