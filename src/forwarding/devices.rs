//! Devices in one family: addresses, routes, source checks.

use std::net::IpAddr;

use crate::diagnostic::Span;
use crate::model::{
    Family, Forwards, Host, HostId, InterfaceAddress, Route, Router, RouterId, SegmentId, Site,
    SourceCheck, Via,
};
use crate::packet::{Interval, IntervalSet};

use super::filter::FilterPlan;
use super::network::{Attachment, Device, DeviceId};
use super::routes::{NextHop, RouteEntry, RouteTable};

/// A gateway or router in one family.
pub(super) fn router_device(
    id: RouterId,
    router: &Router,
    filter: Option<FilterPlan>,
    family: Family,
) -> Device {
    let mut entries = Vec::new();
    let mut interfaces = Vec::new();
    for (number, interface) in router.interfaces.iter().enumerate() {
        let addresses = interface
            .addresses
            .iter()
            .map(|address| (address.value, address.span));
        entries.extend(on_link(number, addresses.clone(), family));
        interfaces.push((
            interface.segment,
            own_addresses(addresses.clone(), family),
            subnets(addresses, family),
            interface.source_check,
        ));
    }
    entries.extend(static_routes(&router.routes, family));
    let routes = RouteTable::new(entries);
    let interfaces: Vec<Attachment> = interfaces
        .into_iter()
        .enumerate()
        .map(
            |(number, (segment, addresses, subnets, check))| Attachment {
                segment,
                addresses,
                subnets,
                accepts: accepts(&routes, number, check),
            },
        )
        .collect();
    Device {
        id: DeviceId::Router(id),
        forwards: true,
        own: own(&interfaces),
        interfaces,
        routes,
        filter,
    }
}

/// A host in one family.
pub(super) fn host_device(site: &Site, id: HostId, host: &Host, family: Family) -> Device {
    let mut entries = Vec::new();
    let mut interfaces = Vec::new();
    for (number, interface) in host.interfaces.iter().enumerate() {
        let addresses = interface
            .addresses
            .iter()
            .map(|address| (address.value, address.span));
        entries.extend(on_link(number, addresses.clone(), family));
        interfaces.push(Attachment {
            segment: interface.segment,
            addresses: own_addresses(addresses.clone(), family),
            subnets: subnets(addresses, family),
            accepts: None,
        });
    }
    entries.extend(static_routes(&host.routes, family));
    entries.extend(default_routes(site, host, &interfaces, family));
    Device {
        id: DeviceId::Host(id),
        forwards: host.forwards.value == Forwards::Routes,
        own: own(&interfaces),
        interfaces,
        routes: RouteTable::new(entries),
        filter: None,
    }
}

/// The default route of a host: its own next hops, else whatever its first addressed interface's segment
/// uses.
fn default_routes(
    site: &Site,
    host: &Host,
    interfaces: &[Attachment],
    family: Family,
) -> Vec<RouteEntry> {
    let everything = Interval::new(0, family.top()).expect("zero is the lowest address");
    let entry = |next_hop| RouteEntry {
        prefix: everything,
        next_hop,
        place: host.name.span,
    };
    let named: Vec<IpAddr> = host
        .default_gateway
        .iter()
        .map(|address| address.value)
        .collect();
    let next_hop = named.iter().find_map(|&address| {
        let value = Family::value(address);
        let own = |interface: &Attachment| interface.subnets.iter().any(|net| net.contains(value));
        let holds = |interface: &Attachment| segment_holds(site, interface.segment, address);
        // By the interface whose own subnet holds it, before others on its segment.
        let interface = interfaces
            .iter()
            .position(|at| own(at) && Family::of(address) == family)
            .or_else(|| interfaces.iter().position(holds))?;
        (Family::of(address) == family).then(|| NextHop::Address {
            interface,
            address: Family::value(address),
        })
    });
    let addressed = interfaces
        .iter()
        .position(|interface| !interface.addresses.is_empty());
    let fallback = addressed.map(|interface| NextHop::AnyRouter { interface });
    next_hop.or(fallback).map(entry).into_iter().collect()
}

fn segment_holds(site: &Site, segment: SegmentId, address: IpAddr) -> bool {
    site.segment(segment).addresses().contains(address)
}

fn on_link(
    interface: usize,
    addresses: impl Iterator<Item = (InterfaceAddress, Span)>,
    family: Family,
) -> impl Iterator<Item = RouteEntry> {
    let mine = addresses.filter(move |(address, _)| address.family() == family);
    mine.map(move |(address, place)| RouteEntry {
        prefix: address.prefix().interval(),
        next_hop: NextHop::OnLink { interface },
        place,
    })
}

fn own_addresses(
    addresses: impl Iterator<Item = (InterfaceAddress, Span)>,
    family: Family,
) -> Vec<u128> {
    let mine = addresses.filter(|(address, _)| address.family() == family);
    mine.map(|(address, _)| Family::value(address.address()))
        .collect()
}

/// The subnets of the addresses that [`own_addresses`] lists.
fn subnets(
    addresses: impl Iterator<Item = (InterfaceAddress, Span)>,
    family: Family,
) -> Vec<Interval> {
    let mine = addresses.filter(|(address, _)| address.family() == family);
    mine.map(|(address, _)| address.prefix().interval())
        .collect()
}

fn own(interfaces: &[Attachment]) -> IntervalSet {
    let addresses = interfaces.iter().flat_map(|interface| &interface.addresses);
    addresses.map(|&address| Interval::point(address)).collect()
}

fn static_routes(routes: &[Route], family: Family) -> impl Iterator<Item = RouteEntry> + '_ {
    let mine = routes
        .iter()
        .filter(move |route| route.destination.family() == family);
    mine.map(|route| RouteEntry {
        prefix: route.destination.interval(),
        next_hop: match route.via {
            Via::NextHop { address, interface } => NextHop::Address {
                interface,
                address: Family::value(address),
            },
            Via::Discard => NextHop::Discard,
        },
        place: route.place,
    })
}

/// Sources that a check lets in on an interface (RFC 3704 sections 2.2 and 2.4).
fn accepts(routes: &RouteTable, interface: usize, check: SourceCheck) -> Option<IntervalSet> {
    match check {
        SourceCheck::Off => None,
        SourceCheck::Loose => Some(routes.destinations(|entry| entry.next_hop != NextHop::Discard)),
        SourceCheck::Strict => {
            Some(routes.destinations(|entry| entry.next_hop.interface() == Some(interface)))
        }
    }
}
