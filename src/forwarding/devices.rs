//! Devices in one family: addresses, routes, source checks.

use std::net::IpAddr;

use boundwalk_diagnostic::Span;
use boundwalk_model::{
    Family, Forwards, Host, HostId, InterfaceAddress, Route, Router, RouterId, SegmentId, Site,
    SourceCheck, Via,
};
use boundwalk_packet::{Interval, IntervalSet};

use super::device::{Accepts, Attachment, Device, DeviceId};
use super::filter::FilterPlan;
use super::routes::{NextHop, RouteEntry, RouteTable};

/// A gateway or router in one family.
pub(super) fn router_device(
    id: RouterId,
    router: &Router,
    filter: Option<FilterPlan>,
    (family, contested): (Family, &IntervalSet),
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
    let segments: Vec<SegmentId> = interfaces.iter().map(|(segment, ..)| *segment).collect();
    let routes = RouteTable::new(entries).with_contested(contested, &segments);
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
pub(super) fn host_device(
    site: &Site,
    id: HostId,
    host: &Host,
    (family, contested): (Family, &IntervalSet),
) -> Device {
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
    let segments: Vec<SegmentId> = interfaces.iter().map(|one| one.segment).collect();
    Device {
        id: DeviceId::Host(id),
        forwards: host.forwards.value == Forwards::Routes,
        own: own(&interfaces),
        interfaces,
        routes: RouteTable::new(entries).with_contested(contested, &segments),
        filter: None,
    }
}

/// The default route of a host that has none of its own: its own next hops, else whatever its first addressed interface's
/// segment uses. Where nobody has the next hop that is named, it perhaps uses what its segment does.
fn default_routes(
    site: &Site,
    host: &Host,
    interfaces: &[Attachment],
    family: Family,
) -> Vec<RouteEntry> {
    let everything = Interval::new(0, family.top()).expect("zero is the lowest address");
    let mut routes = host.routes.iter();
    if routes.any(|route| {
        route.destination.family() == family && route.destination.interval() == everything
    }) {
        return Vec::new();
    }
    let entry = |next_hop, preference| RouteEntry {
        prefix: everything,
        next_hop,
        preference,
        place: host.name.span,
    };
    let addressed = interfaces
        .iter()
        .position(|interface| !interface.addresses.is_empty());
    let fallback = addressed.map(|interface| NextHop::AnyRouter { interface });
    let mut named = host.default_gateway.iter().map(|address| address.value);
    let Some(address) = named.find(|&address| Family::of(address) == family) else {
        return fallback
            .map(|hop| entry(hop, Route::USUAL))
            .into_iter()
            .collect();
    };
    let value = Family::value(address);
    let own = |interface: &Attachment| interface.subnets.iter().any(|net| net.contains(value));
    let holds = |interface: &Attachment| segment_holds(site, interface.segment, address);
    // By the interface whose own subnet holds it, before others on its segment.
    let interface = interfaces.iter().position(own);
    let interface = interface.or_else(|| interfaces.iter().position(holds));
    let next_hop = interface.or(addressed).map(|interface| NextHop::Address {
        interface,
        address: value,
    });
    let segments: Vec<SegmentId> = interfaces.iter().map(|one| one.segment).collect();
    let known = site.forwards_from(&segments, address);
    let first = next_hop.map(|hop| entry(hop, Route::USUAL));
    let second = fallback
        .filter(|_| !known)
        .map(|hop| entry(hop, Route::USUAL + 1));
    first.into_iter().chain(second).collect()
}

fn segment_holds(site: &Site, segment: SegmentId, address: IpAddr) -> bool {
    site.segment(segment).addresses().contains(address)
}

fn on_link(
    interface: usize,
    addresses: impl Iterator<Item = (InterfaceAddress, Span)>,
    family: Family,
) -> impl Iterator<Item = RouteEntry> {
    addresses
        .filter(move |(address, _)| address.family() == family)
        .map(move |(address, place)| RouteEntry {
            prefix: address.prefix().interval(),
            next_hop: NextHop::OnLink { interface },
            preference: Route::ON_LINK,
            place,
        })
}

fn own_addresses(
    addresses: impl Iterator<Item = (InterfaceAddress, Span)>,
    family: Family,
) -> Vec<u128> {
    addresses
        .filter(|(address, _)| address.family() == family)
        .map(|(address, _)| Family::value(address.address()))
        .collect()
}

/// The subnets of the addresses that [`own_addresses`] lists.
fn subnets(
    addresses: impl Iterator<Item = (InterfaceAddress, Span)>,
    family: Family,
) -> Vec<Interval> {
    addresses
        .filter(|(address, _)| address.family() == family)
        .map(|(address, _)| address.prefix().interval())
        .collect()
}

fn own(interfaces: &[Attachment]) -> IntervalSet {
    interfaces
        .iter()
        .flat_map(|interface| &interface.addresses)
        .map(|&address| Interval::point(address))
        .collect()
}

fn static_routes(routes: &[Route], family: Family) -> impl Iterator<Item = RouteEntry> + '_ {
    routes
        .iter()
        .filter(move |route| route.destination.family() == family)
        .map(|route| RouteEntry {
            prefix: route.destination.interval(),
            next_hop: match route.via {
                Via::NextHop { address, interface } => NextHop::Address {
                    interface,
                    address: Family::value(address),
                },
                Via::Discard => NextHop::Discard,
            },
            preference: route.preference,
            place: route.place,
        })
}

/// Sources that a check lets in on an interface (RFC 3704 sections 2.2 and 2.4).
fn accepts(routes: &RouteTable, interface: usize, check: SourceCheck) -> Option<Accepts> {
    let passes = |entry: &RouteEntry| match check {
        SourceCheck::Off => true,
        SourceCheck::Loose => entry.next_hop != NextHop::Discard,
        SourceCheck::Strict => entry.next_hop.interface() == Some(interface),
    };
    (check != SourceCheck::Off).then(|| {
        let surely = routes.surely(passes);
        Accepts {
            perhaps: routes.destinations(passes).difference(&surely),
            surely,
        }
    })
}
