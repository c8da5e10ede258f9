//! A site, prepared for sending packets through it.

use boundwalk_model::{
    Date, Family, Filter, HostId, PerFamily, RouterId, SegmentId, Service, Site,
};
use boundwalk_packet::{Interval, IntervalSet, ServiceClasses};

use super::ambiguous::{contested, doubled};
use super::device::{Device, DeviceId, DeviceIndex};
use super::devices::{host_device, router_device};
use super::filter::FilterPlan;
use super::layer2::{Fabric, Wiring};
use super::neighbours::{NeighbourTable, SendPoint};
use super::plan::{Plan, SegmentPlan};
use super::routes::NextHop;
use super::seeds;
use super::wires::look_up;

/// Pieces that one walk through one rule list may hold open, unless something else is asked for.
const OPEN_PIECES: usize = 200_000;

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
    /// Pieces that one walk through one rule list may hold open before it is given up.
    pub(super) open_pieces: usize,
    plans: PerFamily<Plan>,
}

impl<'s> Network<'s> {
    /// Prepares a site. O(rules log rules + routes log routes), and what [`Wiring::new`] takes.
    #[must_use]
    pub fn new(site: &'s Site, today: Date) -> Self {
        Self::asking(site, today, &[])
    }

    /// The same, so that the given services are told apart from all others too.
    #[must_use]
    pub fn asking(site: &'s Site, today: Date, services: &[Service]) -> Self {
        let classes = seeds::classes(&[site], today, services);
        Self::prepared(site, today, classes)
    }

    /// Two versions of a site with the same service classes, so that sets of the one can be compared with sets of
    /// the other.
    #[must_use]
    pub fn versions(old: &'s Site, new: &'s Site, today: Date) -> [Self; 2] {
        let classes = seeds::classes(&[old, new], today, &[]);
        [old, new].map(|site| Self::prepared(site, today, classes.clone()))
    }

    /// Another version of its site, with the same day, service classes and limit: sets of the one can be compared with
    /// sets of the other. Its rules must name no other services.
    #[must_use]
    pub fn alike<'o>(&self, other: &'o Site) -> Network<'o> {
        let network = Network::prepared(other, self.today, self.classes.clone());
        network.limited_to(self.open_pieces)
    }

    fn prepared(site: &'s Site, today: Date, classes: ServiceClasses) -> Self {
        let fabric = Fabric::new(site);
        let wiring = Wiring::new(&fabric);
        let plans = PerFamily::new(|family| {
            let mut plan = Plan::new(site, family, &classes, today);
            plan.wires = look_up(site, &plan, &fabric, &wiring);
            plan.settle(site);
            plan
        });
        Self {
            site,
            today,
            classes,
            fabric,
            wiring,
            open_pieces: OPEN_PIECES,
            plans,
        }
    }

    /// The same with another limit: how many pieces of a packet set one walk through one rule list may hold open, at
    /// least 1. What meets it is unknown. 200,000 where nothing is said.
    #[must_use]
    pub fn limited_to(mut self, open_pieces: usize) -> Self {
        self.open_pieces = open_pieces.max(1);
        self
    }

    /// The limit of [`Network::limited_to`].
    pub fn open_pieces(&self) -> usize {
        self.open_pieces
    }

    /// Another limit, for the same share of it as [`Network::limited_to`] has of its default; at least 1.
    #[must_use]
    pub fn scaled(&self, limit: usize) -> usize {
        let scaled = limit as u128 * self.open_pieces as u128 / OPEN_PIECES as u128;
        usize::try_from(scaled).unwrap_or(usize::MAX).max(1)
    }

    /// The plan of one family.
    pub fn plan(&self, family: Family) -> &Plan {
        &self.plans[family]
    }
}

impl Plan {
    fn new(site: &Site, family: Family, classes: &ServiceClasses, today: Date) -> Self {
        let contested = contested(site, family);
        let routers = site.routers.iter().enumerate().map(|(at, router)| {
            let filter = router.filter();
            let filter =
                filter.map(|filter| FilterPlan::new(site, router, filter, family, classes, today));
            router_device(RouterId(at), router, filter, (family, &contested))
        });
        let hosts = site.hosts.iter().enumerate();
        let hosts =
            hosts.map(|(at, host)| host_device(site, HostId(at), host, (family, &contested)));
        let devices: Vec<Device> = routers.chain(hosts).collect();
        let routers_own: IntervalSet = devices[..site.routers.len()]
            .iter()
            .flat_map(|device| device.own.intervals())
            .copied()
            .collect();
        let hosts_own: IntervalSet = devices[site.routers.len()..]
            .iter()
            .flat_map(|device| device.own.intervals())
            .copied()
            .collect();
        // A link-local address means something on its link only, and is never forwarded.
        let doubled = doubled(&devices).difference(&family.never_forwarded());
        let mut plan = Self {
            family,
            by_owner: {
                let own = routers_own.union(&hosts_own).intersection(&contested);
                doubled.union(&own)
            },
            doubled,
            routers_only: IntervalSet::difference(&routers_own, &hosts_own),
            devices,
            segments: Vec::new(),
            routers_own,
            contested: contested.clone(),
            nobody: family.never_forwarded(),
            edges: edges(site, family),
            stateful: filters(site).all(|filter| filter.stateful),
            routers: site.routers.len(),
            answering: Vec::new(),
            own_ways: Vec::new(),
            own_sources: Vec::new(),
            several_own: Vec::new(),
            wires: NeighbourTable::default(),
        };
        plan.segments = plan.prefixes(site);
        plan
    }

    /// What follows from the wires.
    fn settle(&mut self, site: &Site) {
        for number in 0..self.segments.len() {
            let wire = self.wire(SendPoint::Segment(SegmentId(number)));
            self.segments[number].first_hops = wire.first_hops.clone();
        }
        self.give_addresses(site);
        let special: Vec<DeviceIndex> = (self.routers..self.devices.len())
            .map(DeviceIndex)
            .filter(|&host| !self.device(host).own.is_empty())
            .filter(|&host| !self.answers_plainly(site, host))
            .collect();
        self.answering = special.iter().flat_map(|&host| self.homes(host)).collect();
        self.note_own_ways();
    }

    /// The segments of a host, each with its addresses there.
    fn homes(&self, host: DeviceIndex) -> Vec<(DeviceIndex, SegmentId, IntervalSet)> {
        let mut homes: Vec<(DeviceIndex, SegmentId, IntervalSet)> = Vec::new();
        for interface in &self.device(host).interfaces {
            let own = interface.own();
            match homes.iter_mut().find(|(_, at, _)| *at == interface.segment) {
                Some((_, _, known)) => *known = known.union(&own),
                None => homes.push((host, interface.segment, own)),
            }
        }
        homes.retain(|(_, _, own)| !own.is_empty());
        homes
    }

    fn note_own_ways(&mut self) {
        let mut own_ways: Vec<Vec<DeviceIndex>> = vec![Vec::new(); self.segments.len()];
        let mut own_sources = vec![IntervalSet::empty(); self.segments.len()];
        for (host, segment, own) in &self.answering {
            own_ways[segment.0].push(*host);
            let all = &mut own_sources[segment.0];
            *all = all.union(own);
        }
        self.own_ways = own_ways;
        self.own_sources = own_sources;
        let hosts = self.devices[self.routers..].iter();
        let count =
            |host: &Device| -> usize { host.interfaces.iter().map(|at| at.addresses.len()).sum() };
        let several = hosts.filter(|host| 1 < count(host));
        self.several_own = several.map(|host| host.own.clone()).collect();
    }

    /// Whether a host sends as plain devices of its only segment do.
    fn answers_plainly(&self, site: &Site, index: DeviceIndex) -> bool {
        let device = self.device(index);
        let DeviceId::Host(id) = device.id else {
            return true;
        };
        let host = site.host(id);
        let [interface] = &device.interfaces[..] else {
            return false;
        };
        let wire = self.wire(SendPoint::WiredInterface(index, 0));
        let plain = self.wire(SendPoint::Segment(interface.segment));
        let on_link: IntervalSet = interface.subnets.iter().copied().collect();
        // What is on-link on the segment and not for the host goes by a router; a host on an external segment answers
        // also those that nobody beyond would.
        !self.segment(interface.segment).external
            && on_link == self.segment(interface.segment).on_link
            && host.default_gateway.is_empty()
            && host.routes.is_empty()
            && wire.first_hops == plain.first_hops
            && wire.attached == plain.attached
            && wire.learned == plain.learned
            && wire.other_hops == plain.other_hops
    }

    /// The hosts on a segment that answer for an address by themselves; several only where several have it.
    pub(super) fn answerers(
        &self,
        segment: SegmentId,
        address: u128,
    ) -> impl Iterator<Item = DeviceIndex> {
        self.answering
            .iter()
            .filter(move |(_, at, own)| *at == segment && own.contains(address))
            .map(|(host, ..)| *host)
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

    /// Gateways and routers that take packets handed out at a send point for their own addresses, by each interface that
    /// answers there: for IPv4 for every address of its device, for IPv6 for its own (RFC 4861 section 7.2.3). What
    /// several interfaces answer for comes in by any of them.
    pub fn receivers(
        &self,
        send_point: SendPoint,
    ) -> impl Iterator<Item = (DeviceIndex, usize, IntervalSet)> {
        let attached = self.wire(send_point).attached.iter().copied();
        let routers =
            attached.filter(|&(device, _)| matches!(self.device(device).id, DeviceId::Router(_)));
        routers.map(|(device, interface)| (device, interface, self.answers_for(device, interface)))
    }

    /// Addresses that an interface answers for on its wire.
    pub(super) fn answers_for(&self, device: DeviceIndex, interface: usize) -> IntervalSet {
        let here = self.device(device);
        if self.family == Family::V4 {
            return here.own.clone();
        }
        here.interfaces[interface].own()
    }

    /// The interfaces found from a send point that answer for an address: all by which its owner takes packets in.
    #[must_use]
    pub fn owners(&self, send_point: SendPoint, address: u128) -> Vec<(DeviceIndex, usize)> {
        let mut owners = self.owners_among(&self.wire(send_point).attached, address);
        if let SendPoint::WiredInterface(own, _) = send_point {
            // Nobody sends to a next hop of its own.
            owners.retain(|(device, _)| *device != own);
        }
        owners
    }

    /// Those of some interfaces that answer for an address.
    pub(super) fn owners_among(
        &self,
        attached: &[(DeviceIndex, usize)],
        address: u128,
    ) -> Vec<(DeviceIndex, usize)> {
        let answers = |&(device, interface): &(DeviceIndex, usize)| match self.family {
            Family::V4 => self.device(device).own.contains(address),
            // RFC 4861 section 7.2.3: an address of another interface is not answered for.
            Family::V6 => {
                let here = &self.device(device).interfaces[interface];
                here.addresses.contains(&address)
            }
        };
        attached.iter().copied().filter(answers).collect()
    }

    fn prefixes(&self, site: &Site) -> Vec<SegmentPlan> {
        let segments = site.segments.iter().map(|segment| SegmentPlan {
            on_link: segment.addresses().of(self.family).clone(),
            default_gateways: {
                segment
                    .default_gateway
                    .iter()
                    .map(|named| named.value)
                    .filter(|&address| Family::of(address) == self.family)
                    .map(Family::value)
                    .collect()
            },
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
        let nobody = self.nobody.union(&self.routers_only);
        for number in 0..self.segments.len() {
            let plan = &self.segments[number];
            let mut unrouted = IntervalSet::empty();
            let all = if plan.external {
                unrouted = unrouted_beyond(site, SegmentId(number), self.family);
                let beyond = self.routed_beyond(SegmentId(number)).difference(&internal);
                beyond.difference(&unrouted).union(&plan.on_link)
            } else {
                plan.on_link.clone()
            };
            self.segments[number].unrouted = unrouted;
            let addresses = all.difference(&nobody);
            self.segments[number].cover = addresses.union(&self.segments[number].on_link);
            self.segments[number].addresses = addresses;
        }
    }

    /// Destinations that some device sends to a neighbour on this segment that is not part of
    /// the site.
    fn routed_beyond(&self, segment: SegmentId) -> IntervalSet {
        let mut intervals: Vec<Interval> = Vec::new();
        for number in 0..self.devices.len() {
            let device = &self.devices[number];
            let beyond = device.routes.destinations(|entry| match entry.next_hop {
                NextHop::Address { interface, address } => {
                    let send_point = SendPoint::WiredInterface(DeviceIndex(number), interface);
                    device.interfaces[interface].segment == segment
                        && self.owners(send_point, address).is_empty()
                }
                _ => false,
            });
            intervals.extend_from_slice(beyond.intervals());
        }
        intervals.into_iter().collect()
    }
}

/// Private addresses that nobody beyond an external segment routes.
fn unrouted_beyond(site: &Site, segment: SegmentId, family: Family) -> IntervalSet {
    let segment = site.segment(segment);
    let routed: IntervalSet = segment
        .routes
        .iter()
        .map(|prefix| prefix.value)
        .filter(|prefix| prefix.family() == family)
        .map(|prefix| prefix.interval())
        .collect();
    let on_link = segment.addresses().of(family).clone();
    family.private().difference(&routed).difference(&on_link)
}

fn filters(site: &Site) -> impl Iterator<Item = &Filter> {
    site.routers.iter().filter_map(|router| router.filter())
}

fn edges(site: &Site, family: Family) -> IntervalSet {
    site.segments
        .iter()
        .flat_map(|segment| &segment.prefixes)
        .filter(|prefix| prefix.value.family() == family)
        .map(|prefix| prefix.value.interval())
        .filter(|range| range.high() - range.low() > 1)
        .flat_map(|range| [range.low(), range.high()])
        .map(Interval::point)
        .collect()
}
