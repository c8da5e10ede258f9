//! The whole.

use std::net::IpAddr;

use boundwalk_diagnostic::{Problem, Spanned};

use super::accepted::Accepted;
use super::address::{AddressSet, InterfaceAddress};
use super::host::{Forwards, Host};
use super::intent::{Expectation, Need};
use super::names::{HostId, RouterId, SegmentId, ZoneId};
use super::router::Router;
use super::segment::{Segment, Zone};
use super::service::Service;
use super::switch::{Link, Switch};

/// A named list of addresses.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct AddressGroup {
    /// Its name.
    pub name: Spanned<String>,
    /// Its addresses, groups opened.
    pub set: AddressSet,
}

/// A named list of services.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ServiceGroup {
    /// Its name.
    pub name: Spanned<String>,
    /// Its parts, groups opened.
    pub services: Vec<Service>,
}

/// A segmented network as somebody described it. Lists keep the order of the file.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Site {
    /// What the site is called.
    pub name: String,
    /// A line for people; may be empty.
    pub description: String,
    /// After how many months, 1 to 120, a rule must be looked at again; `None`: the file does not say.
    pub review_months: Option<Spanned<u8>>,
    /// Zones.
    pub zones: Vec<Zone>,
    /// Segments.
    pub segments: Vec<Segment>,
    /// Address groups.
    pub addresses: Vec<AddressGroup>,
    /// Service groups of the site's own, not the built-in ones.
    pub services: Vec<ServiceGroup>,
    /// Built-in services and the site's own, for naming what is found: own ones first.
    pub service_names: Vec<ServiceGroup>,
    /// Gateways, then routers.
    pub routers: Vec<Router>,
    /// Hosts.
    pub hosts: Vec<Host>,
    /// Switches.
    pub switches: Vec<Switch>,
    /// Cables.
    pub links: Vec<Link>,
    /// Needs.
    pub needs: Vec<Need>,
    /// Expectations.
    pub expectations: Vec<Expectation>,
    /// Accepted findings.
    pub accepted: Vec<Accepted>,
    /// What loading noticed and did not refuse: the checks of the same names report it. No part of the network.
    pub remarks: Vec<Problem>,
}

impl Site {
    /// The segment of a number.
    pub fn segment(&self, id: SegmentId) -> &Segment {
        &self.segments[id.0]
    }

    /// The zone of a number.
    pub fn zone(&self, id: ZoneId) -> &Zone {
        &self.zones[id.0]
    }

    /// The gateway or router of a number.
    pub fn router(&self, id: RouterId) -> &Router {
        &self.routers[id.0]
    }

    /// The host of a number.
    pub fn host(&self, id: HostId) -> &Host {
        &self.hosts[id.0]
    }

    /// Whether a gateway, a router or a host that routes has an address on one of some segments.
    #[must_use]
    pub fn forwards_from(&self, segments: &[SegmentId], address: IpAddr) -> bool {
        let has = |segment: SegmentId, addresses: &[Spanned<InterfaceAddress>]| {
            let mut own = addresses.iter();
            segments.contains(&segment) && own.any(|own| own.value.address() == address)
        };
        let mut routers = self.routers.iter().flat_map(|router| &router.interfaces);
        let mut routing = self
            .hosts
            .iter()
            .filter(|host| host.forwards.value == Forwards::Routes)
            .flat_map(|host| &host.interfaces);
        routers.any(|at| has(at.segment, &at.addresses))
            || routing.any(|at| has(at.segment, &at.addresses))
    }

    /// Numbers of all segments.
    pub fn segment_ids(&self) -> impl Iterator<Item = SegmentId> + use<> {
        (0..self.segments.len()).map(SegmentId)
    }

    /// Numbers of the segments that claim to be isolated.
    pub fn segments_claiming_isolation(&self) -> impl Iterator<Item = SegmentId> + '_ {
        self.segment_ids()
            .filter(|&id| self.segment(id).claims_isolation().is_some())
    }

    /// Numbers of the segments of a zone.
    pub fn segments_in(&self, zone: ZoneId) -> impl Iterator<Item = SegmentId> + '_ {
        self.segment_ids()
            .filter(move |&id| self.segment(id).zone == zone)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::host::HostInterface;
    use crate::router::{Interface, Role, SourceCheck};
    use boundwalk_diagnostic::Span;

    fn named(name: &str) -> Spanned<String> {
        Spanned::new(name.to_owned(), Span::default())
    }

    fn address(text: &str) -> Vec<Spanned<InterfaceAddress>> {
        let address = InterfaceAddress(text.parse().expect("an address and a length"));
        vec![Spanned::new(address, Span::default())]
    }

    fn router(segment: usize, own: &str) -> Router {
        let interface = Interface {
            name: named("if0"),
            segment: SegmentId(segment),
            addresses: address(own),
            shared: Vec::new(),
            port: None,
            vlan: None,
            source_check: SourceCheck::Off,
        };
        Router {
            name: named("core"),
            role: Role::Router,
            interfaces: vec![interface],
            routes: Vec::new(),
            lags: Vec::new(),
            description: String::new(),
        }
    }

    fn host(segment: usize, own: &str, forwards: Forwards) -> Host {
        let interface = HostInterface {
            name: named("if0"),
            segment: SegmentId(segment),
            addresses: address(own),
            shared: Vec::new(),
            vlan: None,
        };
        Host {
            name: named("server"),
            interfaces: vec![interface],
            default_gateway: Vec::new(),
            routes: Vec::new(),
            forwards: Spanned::new(forwards, Span::default()),
            description: String::new(),
        }
    }

    #[test]
    fn routers_and_routing_hosts_forward_from_their_own_addresses() {
        let site = Site {
            routers: vec![router(0, "192.0.2.1/24")],
            hosts: vec![
                host(0, "192.0.2.2/24", Forwards::Routes),
                host(0, "192.0.2.3/24", Forwards::No),
                host(0, "192.0.2.4/24", Forwards::Bridges),
            ],
            ..Site::default()
        };
        let from = |segment: usize, address: &str| {
            site.forwards_from(&[SegmentId(segment)], address.parse().expect("an address"))
        };
        assert!(from(0, "192.0.2.1") && from(0, "192.0.2.2"));
        assert!(!from(0, "192.0.2.3") && !from(0, "192.0.2.4") && !from(0, "192.0.2.5"));
        assert!(!from(1, "192.0.2.1") && !from(1, "192.0.2.2"));
    }

    #[test]
    fn segments_are_listed_by_zone_and_by_claim() {
        let segment = |name: &str, zone: usize, isolated: bool| Segment {
            name: named(name),
            zone: ZoneId(zone),
            vlan: None,
            prefixes: Vec::new(),
            isolated: Some(Spanned::new(isolated, Span::default())),
            external: false,
            routes: Vec::new(),
            default_gateway: Vec::new(),
            description: String::new(),
        };
        let site = Site {
            segments: vec![
                segment("office", 0, false),
                segment("safety", 1, true),
                segment("guests", 0, true),
            ],
            ..Site::default()
        };
        let claiming: Vec<SegmentId> = site.segments_claiming_isolation().collect();
        assert_eq!(claiming, [SegmentId(1), SegmentId(2)]);
        let of_zone: Vec<SegmentId> = site.segments_in(ZoneId(0)).collect();
        assert_eq!(of_zone, [SegmentId(0), SegmentId(2)]);
    }
}
