//! A site, prepared for sending packets through it.

use crate::model::{Date, Family, Filter, HostId, RouterId, SegmentId, Service, Site};
use crate::packet::{Interval, IntervalSet, ServiceClasses};

use super::devices::{host_device, router_device};
use super::filter::FilterPlan;
use super::layer2::{Fabric, Wiring};
use super::routes::{NextHop, RouteTable};
use super::seeds;
use super::wires::{Stand, Wires};

/// Number of a device in [`Plan::devices`]: gateways and routers first, then hosts.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct DeviceIndex(pub usize);

/// Which device of the site it is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum DeviceId {
    /// A gateway or router.
    Router(RouterId),
    /// A host.
    Host(HostId),
}

/// An interface in one family.
#[derive(Clone, Debug)]
pub struct Attachment {
    /// The segment that it is on.
    pub segment: SegmentId,
    /// Its addresses in this family, in the order of the file.
    pub addresses: Vec<u128>,
    /// Sources that the source check lets in; `None`: every one.
    pub accepts: Option<IntervalSet>,
}

/// A device in one family.
#[derive(Debug)]
pub struct Device {
    /// Which it is.
    pub id: DeviceId,
    /// Whether it forwards packets that are not for itself.
    pub forwards: bool,
    /// Its interfaces, numbered as in the site.
    pub interfaces: Vec<Attachment>,
    /// Its own addresses.
    pub own: IntervalSet,
    /// Its routes.
    pub routes: RouteTable,
    /// Its filter, if it is a gateway.
    pub filter: Option<FilterPlan>,
}

impl Device {
    /// Whether it forwards and no rule decides: a router, or a host that routes.
    pub fn forwards_unfiltered(&self) -> bool {
        self.forwards && self.filter.is_none()
    }
}

/// A segment in one family.
#[derive(Clone, Debug, Default)]
pub struct SegmentPlan {
    /// Addresses of the devices there: those of its prefixes, or for an external segment whatever routes
    /// lead there; without the addresses of gateways and routers, and without what no router forwards.
    pub addresses: IntervalSet,
    /// Addresses that are on-link there.
    pub on_link: IntervalSet,
    /// Both together: a set that surely holds every source of plain devices there.
    pub cover: IntervalSet,
    /// The world beyond.
    pub external: bool,
    /// The first hops of plain devices there, as far as layer 2 leads to them.
    pub first_hops: Vec<(DeviceIndex, usize)>,
}

/// A site in one family.
#[derive(Debug)]
pub struct Plan {
    /// The family.
    pub family: Family,
    /// Gateways and routers, then hosts.
    pub devices: Vec<Device>,
    /// Segments, numbered as in the site.
    pub segments: Vec<SegmentPlan>,
    /// Addresses of gateways and routers.
    pub routers_own: IntervalSet,
    /// Addresses that no router forwards to or from.
    pub nobody: IntervalSet,
    /// First and last addresses of on-link prefixes: no plain device's where a prefix holds more than two.
    pub edges: IntervalSet,
    /// Whether every gateway is stateful.
    pub stateful: bool,
    /// How many of the devices are gateways and routers; they come first.
    routers: usize,
    /// Hosts that answer otherwise than a plain device of their segment would, with their addresses.
    pub(super) answering: Vec<(DeviceIndex, IntervalSet)>,
    /// What each device finds on its wire.
    pub(super) wires: Wires,
}

/// A site, prepared for sending packets through it.
#[derive(Debug)]
pub struct Network<'s> {
    /// The site.
    pub site: &'s Site,
    /// The day for which expiry is judged.
    pub today: Date,
    /// Services that no rule tells apart.
    pub classes: ServiceClasses,
    /// Layer 2 as a graph.
    pub fabric: Fabric,
    /// Who exchanges frames with whom.
    pub wiring: Wiring,
    plans: [Plan; 2],
}

impl<'s> Network<'s> {
    /// Prepares a site. O(rules log rules + routes log routes), and what [`Wiring::new`] takes.
    pub fn new(site: &'s Site, today: Date) -> Self {
        Self::asking(site, today, &[])
    }

    /// The same, so that the given services are told apart from all others too.
    pub fn asking(site: &'s Site, today: Date, services: &[Service]) -> Self {
        let classes = seeds::classes(&[site], today, services);
        Self::prepared(site, today, classes)
    }

    /// Two versions of a site with the same service classes, so that sets of the one can be compared with sets of
    /// the other.
    pub fn versions(old: &'s Site, new: &'s Site, today: Date) -> [Self; 2] {
        let classes = seeds::classes(&[old, new], today, &[]);
        [old, new].map(|site| Self::prepared(site, today, classes.clone()))
    }

    fn prepared(site: &'s Site, today: Date, classes: ServiceClasses) -> Self {
        let fabric = Fabric::new(site);
        let wiring = Wiring::new(&fabric);
        let plans = Family::ALL.map(|family| {
            let mut plan = Plan::new(site, family, &classes, today);
            plan.wires = Wires::new(site, &plan, &fabric, &wiring);
            plan.settle(site);
            plan
        });
        Self {
            site,
            today,
            classes,
            fabric,
            wiring,
            plans,
        }
    }

    /// The plan of one family.
    pub fn plan(&self, family: Family) -> &Plan {
        match family {
            Family::V4 => &self.plans[0],
            Family::V6 => &self.plans[1],
        }
    }
}

impl Plan {
    fn new(site: &Site, family: Family, classes: &ServiceClasses, today: Date) -> Self {
        let routers = site.routers.iter().enumerate();
        let routers = routers.map(|(at, router)| {
            let filter = router.filter();
            let filter =
                filter.map(|filter| FilterPlan::new(site, router, filter, family, classes, today));
            router_device(RouterId(at), router, filter, family)
        });
        let hosts = site.hosts.iter().enumerate();
        let hosts = hosts.map(|(at, host)| host_device(site, HostId(at), host, family));
        let devices: Vec<Device> = routers.chain(hosts).collect();
        let own = devices[..site.routers.len()].iter();
        let routers_own = own
            .flat_map(|device| device.own.intervals())
            .copied()
            .collect();
        let mut plan = Self {
            family,
            devices,
            segments: Vec::new(),
            routers_own,
            nobody: family.never_forwarded(),
            edges: edges(site, family),
            stateful: filters(site).all(|filter| filter.stateful),
            routers: site.routers.len(),
            answering: Vec::new(),
            wires: Wires::default(),
        };
        plan.segments = plan.prefixes(site);
        plan
    }

    /// What follows from the wires.
    fn settle(&mut self, site: &Site) {
        for number in 0..self.segments.len() {
            let wire = self.wire(Stand::Segment(SegmentId(number)));
            self.segments[number].first_hops = wire.first_hops.clone();
        }
        self.give_addresses(site);
        let hosts = (self.routers..self.devices.len()).map(DeviceIndex);
        let special = hosts.filter(|&host| !self.answers_plainly(site, host));
        self.answering = special
            .map(|host| (host, self.device(host).own.clone()))
            .collect();
    }

    /// Whether a host sends by the routers that plain devices of its only segment use.
    fn answers_plainly(&self, site: &Site, index: DeviceIndex) -> bool {
        let device = self.device(index);
        let DeviceId::Host(id) = device.id else {
            return true;
        };
        let host = site.host(id);
        let [interface] = &device.interfaces[..] else {
            return false;
        };
        let wire = self.wire(Stand::Foot(index, 0));
        let plain = self.wire(Stand::Segment(interface.segment));
        host.default_gateway.is_empty()
            && host.routes.is_empty()
            && wire.first_hops == plain.first_hops
            && wire.attached == plain.attached
    }

    /// The host that answers for an address by itself, if there is one.
    pub(super) fn answerer(&self, address: u128) -> Option<DeviceIndex> {
        let mut answering = self.answering.iter();
        let found = answering.find(|(_, own)| own.contains(address));
        found.map(|(host, _)| *host)
    }

    /// How many of the devices are gateways and routers.
    pub(super) fn routers(&self) -> usize {
        self.routers
    }

    /// The device of a number.
    pub fn device(&self, index: DeviceIndex) -> &Device {
        &self.devices[index.0]
    }

    /// The segment of a number.
    pub fn segment(&self, id: SegmentId) -> &SegmentPlan {
        &self.segments[id.0]
    }

    /// The device number of a gateway or router.
    pub fn router_index(&self, id: RouterId) -> DeviceIndex {
        DeviceIndex(id.0)
    }

    /// The device number of a host.
    pub fn host_index(&self, id: HostId) -> DeviceIndex {
        DeviceIndex(self.routers + id.0)
    }

    /// Gateways and routers that take packets handed out at a stand for their own addresses: by the
    /// interface that has the address, and for addresses of their other interfaces by the first.
    pub fn receivers(
        &self,
        stand: Stand,
    ) -> impl Iterator<Item = (DeviceIndex, usize, IntervalSet)> {
        let attached = self.wire(stand).attached.iter().copied();
        let routers =
            attached.filter(|&(device, _)| matches!(self.device(device).id, DeviceId::Router(_)));
        let by_interface = routers.clone().map(|(device, interface)| {
            let addresses = &self.device(device).interfaces[interface].addresses;
            let points = addresses.iter().map(|&address| Interval::point(address));
            (device, interface, points.collect())
        });
        let routers = routers.filter(|_| self.family == Family::V4);
        let by_device =
            routers.map(|(device, interface)| (device, interface, self.device(device).own.clone()));
        by_interface.chain(by_device)
    }

    /// The interface found from a stand that has an address.
    pub fn owner(&self, stand: Stand, address: u128) -> Option<(DeviceIndex, usize)> {
        self.owner_among(&self.wire(stand).attached, address)
    }

    /// The one of some interfaces that has an address.
    pub(super) fn owner_among(
        &self,
        attached: &[(DeviceIndex, usize)],
        address: u128,
    ) -> Option<(DeviceIndex, usize)> {
        let mut owners = attached.iter().copied().filter(|&(device, interface)| {
            let here = &self.device(device).interfaces[interface];
            here.addresses.contains(&address)
        });
        // Addresses of other interfaces are answered for as well, but by IPv6 (RFC 4861 section 7.2.3).
        let mut others = attached.iter().copied().filter(|&(device, _)| {
            self.family == Family::V4 && self.device(device).own.contains(address)
        });
        owners.next().or_else(|| others.next())
    }

    fn prefixes(&self, site: &Site) -> Vec<SegmentPlan> {
        let segments = site.segments.iter().map(|segment| SegmentPlan {
            on_link: segment.addresses().of(self.family).clone(),
            external: segment.external,
            ..SegmentPlan::default()
        });
        segments.collect()
    }

    /// Whether an interface is a gateway's or router's, with an address, on a segment by the file.
    pub(super) fn is_addressed_router(
        &self,
        (device, interface): (DeviceIndex, usize),
        segment: SegmentId,
    ) -> bool {
        let device = self.device(device);
        let here = &device.interfaces[interface];
        let router = matches!(device.id, DeviceId::Router(_));
        router && !here.addresses.is_empty() && here.segment == segment
    }

    fn give_addresses(&mut self, site: &Site) {
        let internal: IntervalSet = site
            .segments
            .iter()
            .filter(|segment| !segment.external)
            .flat_map(|segment| segment.addresses().of(self.family).intervals().to_vec())
            .collect();
        let nobody = self.nobody.union(&self.routers_own);
        for number in 0..self.segments.len() {
            let plan = &self.segments[number];
            let all = if plan.external {
                let beyond = self.routed_beyond(SegmentId(number)).difference(&internal);
                beyond.union(&plan.on_link)
            } else {
                plan.on_link.clone()
            };
            let addresses = all.difference(&nobody);
            self.segments[number].cover = addresses.union(&self.segments[number].on_link);
            self.segments[number].addresses = addresses;
        }
    }

    /// Destinations that some gateway or router sends to a neighbour on this segment that is not part of
    /// the site.
    fn routed_beyond(&self, segment: SegmentId) -> IntervalSet {
        let mut intervals: Vec<Interval> = Vec::new();
        for number in 0..self.routers {
            let device = &self.devices[number];
            let beyond = device.routes.destinations(|entry| match entry.next_hop {
                NextHop::Address { interface, address } => {
                    let stand = Stand::Foot(DeviceIndex(number), interface);
                    device.interfaces[interface].segment == segment
                        && self.owner(stand, address).is_none()
                }
                _ => false,
            });
            intervals.extend_from_slice(beyond.intervals());
        }
        intervals.into_iter().collect()
    }
}

fn filters(site: &Site) -> impl Iterator<Item = &Filter> {
    site.routers.iter().filter_map(|router| router.filter())
}

fn edges(site: &Site, family: Family) -> IntervalSet {
    let prefixes = site.segments.iter().flat_map(|segment| &segment.prefixes);
    let mine = prefixes.filter(|prefix| prefix.value.family() == family);
    let wide = mine
        .map(|prefix| prefix.value.interval())
        .filter(|range| range.high() - range.low() > 1);
    wide.flat_map(|range| [range.low(), range.high()])
        .map(Interval::point)
        .collect()
}
