//! A site, prepared for sending packets through it.

use std::borrow::Cow;

use boundwalk_model::{Date, Family, Filter, HostId, RouterId, SegmentId, Service, Site};
use boundwalk_packet::{Interval, IntervalSet, ServiceClasses};

use super::ambiguous::{contested, doubled};
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
    /// The subnet of each of these addresses.
    pub subnets: Vec<Interval>,
    /// Sources that the source check lets in; `None`: every one.
    pub accepts: Option<Accepts>,
}

/// Sources that a source check lets in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Accepts {
    /// Those that it lets in whichever of several routes is used.
    pub surely: IntervalSet,
    /// Those that it lets in only while one of several routes is used.
    pub perhaps: IntervalSet,
}

impl Accepts {
    /// All that it may let in.
    pub fn all(&self) -> Cow<'_, IntervalSet> {
        match self.perhaps.is_empty() {
            true => Cow::Borrowed(&self.surely),
            false => Cow::Owned(self.surely.union(&self.perhaps)),
        }
    }

    /// Whether it may let a source in.
    pub fn may_take(&self, source: u128) -> bool {
        self.surely.contains(source) || self.perhaps.contains(source)
    }
}

impl Attachment {
    /// Its addresses as a set.
    pub fn own(&self) -> IntervalSet {
        let addresses = self.addresses.iter();
        addresses.map(|&address| Interval::point(address)).collect()
    }

    /// The address by which the interface speaks to a target on its wire: the one whose subnet holds the target, else
    /// the first. Observed in a kernel for IPv4; for IPv6 by analogy (RFC 6724 section 5, rule 8, from memory).
    ///
    /// Addresses that no router forwards from are left out.
    pub fn facing(&self, target: u128, nobody: &IntervalSet) -> Option<u128> {
        let known = || {
            let all = self.subnets.iter().zip(&self.addresses);
            all.filter(|(_, address)| !nobody.contains(**address))
        };
        let held = known().find(|(subnet, _)| subnet.contains(target));
        held.or_else(|| known().next()).map(|(_, &address)| address)
    }
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
    /// The segment where what is sent to an address of the device is delivered: that of the interface that has it, else of
    /// the one that took it in.
    pub fn home_of(&self, address: u128, ingress: usize) -> SegmentId {
        let mut interfaces = self.interfaces.iter();
        let owner = interfaces.find(|interface| interface.addresses.contains(&address));
        owner.unwrap_or(&self.interfaces[ingress]).segment
    }

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
    /// Default gateways that the file names for plain devices there.
    pub default_gateways: Vec<u128>,
    /// The world beyond.
    pub external: bool,
    /// Of the world beyond: addresses that nobody there routes, since they are private (RFC 1918, RFC 4193, RFC 6598)
    /// and neither on-link nor among the networks that the segment is said to route.
    pub unrouted: IntervalSet,
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
    /// Those of them that no host has too.
    pub routers_only: IntervalSet,
    /// Addresses that several devices have: shared on purpose, or by mistake.
    pub doubled: IntervalSet,
    /// Addresses that are handed to whoever has them on the wire, before any plain device: those that several devices
    /// have, and those of devices in prefixes of several segments.
    pub(super) by_owner: IntervalSet,
    /// Addresses that lie in prefixes of several segments.
    pub contested: IntervalSet,
    /// Addresses that no router forwards to or from.
    pub nobody: IntervalSet,
    /// First and last addresses of on-link prefixes: no plain device's where a prefix holds more than two.
    pub edges: IntervalSet,
    /// Whether every gateway is stateful.
    pub stateful: bool,
    /// How many of the devices are gateways and routers; they come first.
    routers: usize,
    /// Hosts that send otherwise than a plain device of their segment would, with their addresses.
    pub(super) answering: Vec<(DeviceIndex, SegmentId, IntervalSet)>,
    /// Those of them with an address on each segment.
    pub(super) own_ways: Vec<Vec<DeviceIndex>>,
    /// The addresses of all of those there.
    pub(super) own_sources: Vec<IntervalSet>,
    /// Addresses of each host that has several.
    pub(super) several_own: Vec<IntervalSet>,
    /// What each device finds on its wire.
    pub(super) wires: Wires,
}

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

    /// Another version of its site, with the same day, service classes and limit: sets of the one can be compared with
    /// sets of the other. Its rules must name no other services.
    pub fn alike<'o>(&self, other: &'o Site) -> Network<'o> {
        let network = Network::prepared(other, self.today, self.classes.clone());
        network.limited_to(self.open_pieces)
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
            open_pieces: OPEN_PIECES,
            plans,
        }
    }

    /// The same with another limit: how many pieces of a packet set one walk through one rule list may hold open, at
    /// least 1. What meets it is unknown. 200,000 where nothing is said.
    pub fn limited_to(mut self, open_pieces: usize) -> Self {
        self.open_pieces = open_pieces.max(1);
        self
    }

    /// The limit of [`Network::limited_to`].
    pub fn open_pieces(&self) -> usize {
        self.open_pieces
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
        let contested = contested(site, family);
        let routers = site.routers.iter().enumerate();
        let routers = routers.map(|(at, router)| {
            let filter = router.filter();
            let filter =
                filter.map(|filter| FilterPlan::new(site, router, filter, family, classes, today));
            router_device(RouterId(at), router, filter, (family, &contested))
        });
        let hosts = site.hosts.iter().enumerate();
        let hosts =
            hosts.map(|(at, host)| host_device(site, HostId(at), host, (family, &contested)));
        let devices: Vec<Device> = routers.chain(hosts).collect();
        let own = devices[..site.routers.len()].iter();
        let routers_own: IntervalSet = own
            .flat_map(|device| device.own.intervals())
            .copied()
            .collect();
        let hosts = devices[site.routers.len()..].iter();
        let hosts_own: IntervalSet = hosts
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
        let hosts = hosts.filter(|&host| !self.device(host).own.is_empty());
        let special = hosts.filter(|&host| !self.answers_plainly(site, host));
        let special: Vec<DeviceIndex> = special.collect();
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
        let wire = self.wire(Stand::Foot(index, 0));
        let plain = self.wire(Stand::Segment(interface.segment));
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
        let answering = self.answering.iter();
        let found = answering.filter(move |(_, at, own)| *at == segment && own.contains(address));
        found.map(|(host, ..)| *host)
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

    /// Gateways and routers that take packets handed out at a stand for their own addresses, by each interface that
    /// answers there: for IPv4 for every address of its device, for IPv6 for its own (RFC 4861 section 7.2.3). What
    /// several interfaces answer for comes in by any of them.
    pub fn receivers(
        &self,
        stand: Stand,
    ) -> impl Iterator<Item = (DeviceIndex, usize, IntervalSet)> {
        let attached = self.wire(stand).attached.iter().copied();
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

    /// The interfaces found from a stand that answer for an address: all by which its owner takes packets in.
    pub fn owners(&self, stand: Stand, address: u128) -> Vec<(DeviceIndex, usize)> {
        let mut owners = self.owners_among(&self.wire(stand).attached, address);
        if let Stand::Foot(own, _) = stand {
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
                let named = segment.default_gateway.iter().map(|named| named.value);
                let named = named.filter(|&address| Family::of(address) == self.family);
                named.map(Family::value).collect()
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
                    let stand = Stand::Foot(DeviceIndex(number), interface);
                    device.interfaces[interface].segment == segment
                        && self.owners(stand, address).is_empty()
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
    let routed = segment.routes.iter().map(|prefix| prefix.value);
    let routed = routed.filter(|prefix| prefix.family() == family);
    let routed: IntervalSet = routed.map(|prefix| prefix.interval()).collect();
    let on_link = segment.addresses().of(family).clone();
    family.private().difference(&routed).difference(&on_link)
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
