//! Routes of random sites: mostly useful, sometimes leading in circles, to nobody or nowhere.

use std::fmt::Write;
use std::net::IpAddr;

use ipnet::IpNet;

use super::{Kind, Plan, is_link_local, list, random_hairpin};

/// A next hop and the interface it is reached by.
type NextHop = (IpAddr, usize);

/// Routes to most segments that the device has no interface on, to parts of some that it has, and defaults.
pub fn write_routes(plan: &mut Plan, number: usize, path: &str, text: &mut String) {
    let mut taken: Vec<IpNet> = random_hairpin::write_routes(plan, number, path, text);
    // A host that does not forward mostly has its default gateway only.
    let away = if plan.devices[number].kind == Kind::PlainHost {
        45
    } else {
        75
    };
    for target in 0..plan.segments.len() {
        for prefix in plan.segments[target].prefixes.clone() {
            let mut interfaces = plan.devices[number].interfaces.iter();
            let connected = interfaces.any(|interface| interface.segment == target);
            if plan.random.percent(if connected { 5 } else { away }) {
                let wanted = narrowed(plan, prefix, connected);
                taken.extend(write_route(
                    plan,
                    number,
                    path,
                    wanted,
                    Some(target),
                    &taken,
                    text,
                ));
            }
        }
    }
    // A host may have a default gateway of its own, which says the same.
    if matches!(
        plan.devices[number].kind,
        Kind::ForwardingHost | Kind::PlainHost
    ) {
        return;
    }
    for everything in ["0.0.0.0/0", "::/0"] {
        if plan.random.percent(45) {
            let everything = everything.parse().expect("a prefix");
            taken.extend(write_route(
                plan, number, path, everything, None, &taken, text,
            ));
        }
    }
}

/// The default gateway of a host, sometimes: an address of a device beside it that forwards, rather of a host; seldom
/// two of a family.
pub fn write_default_gateway(plan: &mut Plan, number: usize, text: &mut String) {
    let mut gateways = Vec::new();
    for four in [true, false] {
        let hosts = forwarding_beside(plan, number, four, &[Kind::ForwardingHost]);
        let all = [Kind::Gateway, Kind::Router, Kind::ForwardingHost];
        let mut fitting = forwarding_beside(plan, number, four, &all);
        if !hosts.is_empty() && plan.random.percent(60) {
            fitting = hosts;
        }
        if plan.random.percent(50) {
            let count = if plan.random.percent(15) { 2 } else { 1 };
            gateways.extend(plan.random.some(&fitting, count));
        }
    }
    list(text, "default_gateway", &gateways);
}

/// Addresses of other devices of these kinds that are on-link at a device.
fn forwarding_beside(plan: &Plan, number: usize, four: bool, kinds: &[Kind]) -> Vec<IpAddr> {
    let near = plan
        .devices
        .iter()
        .enumerate()
        .filter(|&(other, device)| other != number && kinds.contains(&device.kind))
        .flat_map(|(_, device)| &device.interfaces)
        .flat_map(|interface| {
            interface
                .addresses
                .iter()
                .map(|net| (interface.segment, net.addr()))
        })
        .filter(|&(_, address)| address.is_ipv4() == four && !is_link_local(address))
        .filter(|&(segment, address)| on_link_at(plan, number, segment, address).is_some());
    near.map(|(_, address)| address).collect()
}

/// The prefix, or half of it.
fn narrowed(plan: &mut Plan, prefix: IpNet, always: bool) -> IpNet {
    if !always && plan.random.percent(80) {
        return prefix;
    }
    let longer = (prefix.prefix_len() + 1).min(prefix.max_prefix_len());
    let halves: Vec<IpNet> = prefix.subnets(longer).expect("a longer length").collect();
    *plan.random.pick(&halves)
}

/// Writes a route, unless there is one or no next hop; gives its destination where it wrote one.
fn write_route(
    plan: &mut Plan,
    number: usize,
    path: &str,
    destination: IpNet,
    toward: Option<usize>,
    taken: &[IpNet],
    text: &mut String,
) -> Option<IpNet> {
    if taken.contains(&destination) {
        return None;
    }
    let four = destination.addr().is_ipv4();
    let hop = match out_there(plan, number, four) {
        Some(provider) if toward.is_none() => Some(provider),
        _ => next_hop(plan, number, four, toward),
    };
    let discard = plan.random.percent(8);
    let line = match hop {
        _ if discard => "discard = true\n".to_owned(),
        Some(hop) => by(plan, number, hop),
        None => return None,
    };
    writeln!(text, "[[{path}.routes]]\nto = \"{destination}\"\n{line}").expect("a string");
    Some(destination)
}

/// The lines of a route that name its next hop and interface.
pub fn by(plan: &Plan, number: usize, (address, interface): NextHop) -> String {
    let interface = match plan.devices[number].kind {
        Kind::Gateway | Kind::Router => format!("if{interface}"),
        Kind::ForwardingHost | Kind::PlainHost => (interface + 1).to_string(),
    };
    format!("via = \"{address}\"\ninterface = \"{interface}\"\n")
}

/// An address of another device that is on-link at an interface, rather of one with a interface on `toward`;
/// seldom an address that nobody has.
fn next_hop(plan: &mut Plan, number: usize, four: bool, toward: Option<usize>) -> Option<NextHop> {
    let (mut good, mut any) = (Vec::new(), Vec::new());
    // What hosts have routes for is mostly a host that forwards.
    let by_host = plan.devices[number].kind == Kind::PlainHost && plan.random.percent(70);
    for (other, device) in plan.devices.iter().enumerate() {
        let leads = device
            .interfaces
            .iter()
            .any(|interface| Some(interface.segment) == toward);
        let forwards = device.kind != Kind::PlainHost;
        for interface in device.interfaces.iter().filter(|_| other != number) {
            let fitting = interface
                .addresses
                .iter()
                .filter(|net| net.addr().is_ipv4() == four);
            for address in fitting.map(IpNet::addr) {
                let near = on_link_at(plan, number, interface.segment, address);
                any.extend(near.map(|own| (address, own)));
                let kind = device.kind == Kind::ForwardingHost || !by_host;
                let leads = leads && forwards && kind;
                good.extend(near.filter(|_| leads).map(|own| (address, own)));
            }
        }
    }
    let nobody = unowned_near(plan, number, four);
    match (good.is_empty(), any.is_empty()) {
        (false, _) if plan.random.percent(80) => Some(*plan.random.pick(&good)),
        (_, false) if plan.random.percent(75) => Some(*plan.random.pick(&any)),
        _ => nobody,
    }
}

/// A next hop of nobody's on an external segment that a device stands on, mostly.
fn out_there(plan: &mut Plan, number: usize, four: bool) -> Option<NextHop> {
    let mut interfaces = plan.devices[number].interfaces.iter();
    let send_points = interfaces.any(|interface| plan.segments[interface.segment].external);
    if !send_points || plan.random.percent(40) {
        return None;
    }
    unowned_near(plan, number, four)
}

/// The interface of a device on a segment at which an address is on-link.
pub fn on_link_at(plan: &Plan, number: usize, segment: usize, address: IpAddr) -> Option<usize> {
    let mut interfaces = plan.devices[number].interfaces.iter();
    interfaces.position(|interface| {
        interface.segment == segment && interface.addresses.iter().any(|net| net.contains(&address))
    })
}

/// A free address beside one of a device's own, rather on an external segment.
fn unowned_near(plan: &mut Plan, number: usize, four: bool) -> Option<NextHop> {
    let fits = |net: &IpNet| net.addr().is_ipv4() == four && !is_link_local(net.addr());
    let places: Vec<(usize, usize)> = plan.devices[number]
        .interfaces
        .iter()
        .enumerate()
        .filter(|(_, interface)| interface.addresses.iter().any(fits))
        .map(|(index, interface)| (index, interface.segment))
        .collect();
    let outside = places
        .iter()
        .find(|&&(_, segment)| plan.segments[segment].external);
    let &(index, segment) = outside.or(places.first())?;
    let segment = &mut plan.segments[segment];
    let prefix = segment
        .prefixes
        .iter()
        .position(|net| net.addr().is_ipv4() == four)?;
    segment.give(prefix).map(|net| (net.addr(), index))
}
