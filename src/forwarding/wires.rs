//! What a device finds on its wire, in one family: computed layer 2 as routes and rules need it.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_model::{Family, HostId, SegmentId, Site};
use boundwalk_packet::{Interval, IntervalSet};

use super::device::DeviceIndex;
use super::layer2::{Fabric, InterfaceId, InterfaceOf, Origin, Reached, Wiring};
use super::learned::Apart;
use super::neighbours::{Learned, NeighbourTable, Neighbours, SendPoint};
use super::plan::Plan;
use super::sender::Sender;

/// Looks up all wires of a plan whose devices stand.
pub(super) fn look_up(
    site: &Site,
    plan: &Plan,
    fabric: &Fabric,
    wiring: &Wiring,
) -> NeighbourTable {
    let mut build = Build {
        site,
        plan,
        fabric,
        wiring,
        closed: FxHashMap::default(),
        known: FxHashMap::default(),
        apart: Apart::new(fabric),
        numbers: FxHashMap::default(),
        wires: NeighbourTable::default(),
    };
    let interfaces: Vec<usize> = plan
        .devices
        .iter()
        .map(|device| device.interfaces.len())
        .collect();
    for (device, count) in interfaces.into_iter().enumerate() {
        let send_points = (0..count)
            .map(|at| build.interface((DeviceIndex(device), at)))
            .collect();
        build.wires.interfaces.push(send_points);
    }
    for segment in site.segment_ids() {
        let number = build.segment(segment);
        build.wires.segments.push(number);
        let number = build.hostile(Origin::Segment(segment));
        build.wires.hostile.push(number);
    }
    for group in fabric.unclaimed_ids() {
        let number = build.hostile(Origin::Unclaimed(group));
        build.wires.unclaimed.push(number);
    }
    build.wires
}

struct Build<'a> {
    site: &'a Site,
    plan: &'a Plan,
    fabric: &'a Fabric,
    wiring: &'a Wiring,
    /// Sets in which everybody reaches everybody, by number.
    closed: FxHashMap<u32, bool>,
    /// Neighbours of interfaces in closed sets that learn nothing: the set, the segment, whether the interface is reached itself.
    known: FxHashMap<(u32, SegmentId, bool), u32>,
    apart: Apart,
    numbers: FxHashMap<Neighbours, u32>,
    wires: NeighbourTable,
}

impl Build<'_> {
    fn keep(&mut self, wire: Neighbours) -> u32 {
        let next = self.wires.pool.len() as u32;
        match self.numbers.get(&wire) {
            Some(&known) => known,
            None => {
                self.wires.pool.push(wire.clone());
                self.numbers.insert(wire, next);
                next
            }
        }
    }

    fn interface(&mut self, at: (DeviceIndex, usize)) -> u32 {
        let interface = self.plan.interface_of(self.fabric, at);
        let segment = self.fabric.interface(interface).segment;
        // Which requests an interface hears is its own affair, whatever it shares with others that reach the same.
        let learned = self.learned_by_interface(interface, segment);
        if !learned.is_empty() || !self.is_closed(interface) {
            let wire = self.neighbours_of_interface(interface, segment, learned);
            return self.keep(wire);
        }
        let set = self.wiring.set_of(interface);
        let key = (
            set,
            segment,
            self.wiring.from_interface(interface).has(interface),
        );
        if let Some(&known) = self.known.get(&key) {
            return known;
        }
        let wire = self.neighbours_of_interface(interface, segment, learned);
        let number = self.keep(wire);
        self.known.insert(key, number);
        number
    }

    /// Whether all that an interface reaches reach the same set: then they reach each other.
    fn is_closed(&mut self, interface: InterfaceId) -> bool {
        let set = self.wiring.set_of(interface);
        let wiring = self.wiring;
        *self.closed.entry(set).or_insert_with(|| {
            let reached = wiring.from_interface(interface);
            let same = |&other: &InterfaceId| wiring.set_of(other) == set;
            let alike = |&number: &u32| wiring.from_vacancy(number) == reached;
            reached.interfaces.iter().all(same) && reached.free_ports.iter().all(alike)
        })
    }

    fn neighbours_of_interface(
        &self,
        interface: InterfaceId,
        segment: SegmentId,
        learned: Vec<Learned>,
    ) -> Neighbours {
        let wiring = self.wiring;
        let reached = wiring.from_interface(interface);
        let both = |&other: &InterfaceId| wiring.two_way(interface, other);
        let attached = self.places(reached.interfaces.iter().copied().filter(both));
        let mut places = wiring.vacancies_of(segment).iter();
        let anyone = places.any(|&number| wiring.two_way_with(interface, number));
        let landing = self.landing(segment, anyone, &|host| wiring.two_way(interface, host));
        let first_hops = self.first_hops(segment, &attached);
        Neighbours {
            other_hops: self.other_hops(segment, &attached, &first_hops),
            first_hops,
            attached,
            learned,
            receivers: landing.into_iter().map(|set| (segment, set)).collect(),
        }
    }

    /// What the device of an interface learns from requests; it learns nothing of itself.
    fn learned_by_interface(&mut self, interface: InterfaceId, segment: SegmentId) -> Vec<Learned> {
        let reached = self.wiring.from_interface(interface);
        let (own, _) = self.plan.place_of(self.fabric.interface(interface).of);
        let mut learned: Vec<Learned> = self
            .apart
            .pairs(self.fabric, reached, segment)
            .iter()
            .filter(|(_, asks)| self.wiring.from_interface(*asks).has(interface))
            .map(|&pair| learned_pair(self.plan, self.fabric, pair))
            .collect();
        learned.retain(|one| one.device != own);
        learned
    }

    /// What some plain device of a segment, or the host that nobody can stand in for, learns from requests.
    fn learned_by_segment(&mut self, segment: SegmentId) -> Vec<Learned> {
        let mut learned = Vec::new();
        for &number in self.wiring.vacancies_of(segment) {
            let reached = self.wiring.from_vacancy(number);
            let pairs = self.apart.pairs(self.fabric, reached, segment).iter();
            let heard =
                pairs.filter(|(_, asks)| self.wiring.from_interface(*asks).has_vacancy(number));
            learned.extend(heard.map(|&pair| learned_pair(self.plan, self.fabric, pair)));
        }
        for &host in self.wiring.interfaces_of(segment) {
            if self.fabric.is_placeless(host) {
                learned.extend(self.learned_by_interface(host, segment));
            }
        }
        learned.sort_unstable();
        learned.dedup();
        learned
    }

    fn places(&self, interfaces: impl Iterator<Item = InterfaceId>) -> Vec<(DeviceIndex, usize)> {
        interfaces
            .map(|interface| self.plan.place_of(self.fabric.interface(interface).of))
            .collect()
    }

    /// What any plain device of a segment finds.
    fn segment(&mut self, segment: SegmentId) -> u32 {
        let wiring = self.wiring;
        let mut attached: FxHashSet<InterfaceId> = FxHashSet::default();
        let mut done: FxHashSet<*const Reached> = FxHashSet::default();
        for &number in wiring.vacancies_of(segment) {
            let reached = wiring.from_vacancy(number);
            // Vacancies that reach each other's set alike find the same.
            let fresh = done.insert(std::ptr::from_ref(reached)) || !reached.has_vacancy(number);
            if fresh {
                let interfaces = reached.interfaces.iter().copied();
                attached
                    .extend(interfaces.filter(|&interface| wiring.two_way_with(interface, number)));
            }
        }
        // Where no other device can be plugged in, the host that is described there sends, and nobody else.
        let hosts = wiring.interfaces_of(segment).iter();
        for &host in hosts.filter(|&&host| !self.fabric.is_placeless(host)) {
            let interfaces = wiring.from_interface(host).interfaces.iter().copied();
            attached.extend(interfaces.filter(|&interface| wiring.two_way(interface, host)));
        }
        let mut attached: Vec<InterfaceId> = attached.into_iter().collect();
        attached.sort_unstable();
        let attached = self.places(attached.into_iter());
        let first_hops = self.first_hops(segment, &attached);
        let wire = Neighbours {
            other_hops: self.other_hops(segment, &attached, &first_hops),
            first_hops,
            attached,
            learned: self.learned_by_segment(segment),
            receivers: vec![(segment, None)],
        };
        self.keep(wire)
    }

    fn hostile(&mut self, origin: Origin) -> u32 {
        let wiring = self.wiring;
        let reached = wiring.from_hostile(origin);
        let anyone: FxHashSet<SegmentId> = reached
            .free_ports
            .iter()
            .map(|&number| wiring.free_ports[number as usize].segment)
            .collect();
        let mut segments: Vec<SegmentId> = reached
            .interfaces
            .iter()
            .filter(|&&interface| self.is_host(interface))
            .map(|&interface| self.fabric.interface(interface).segment)
            .chain(anyone.iter().copied())
            .collect();
        segments.sort_unstable();
        segments.dedup();
        let receivers = segments.into_iter().filter_map(|there| {
            let landing = self.landing(there, anyone.contains(&there), &|host| reached.has(host));
            landing.map(|set| (there, set))
        });
        let wire = Neighbours {
            receivers: receivers.collect(),
            attached: self.places(reached.interfaces.iter().copied()),
            first_hops: Vec::new(),
            other_hops: Vec::new(),
            // It needs no answer: all that frames reach is attached.
            learned: Vec::new(),
        };
        self.keep(wire)
    }

    fn is_host(&self, interface: InterfaceId) -> bool {
        matches!(self.fabric.interface(interface).of, InterfaceOf::Host(..))
    }

    /// Addresses of a segment that somebody takes: those of the hosts that are found, and all that no host
    /// has where a device may be plugged in. `None`: nobody is found there; `Some(None)`: every address.
    fn landing(
        &self,
        segment: SegmentId,
        anyone: bool,
        found: &dyn Fn(InterfaceId) -> bool,
    ) -> Option<Option<IntervalSet>> {
        let (near, off): (Vec<InterfaceId>, Vec<InterfaceId>) = self
            .wiring
            .interfaces_of(segment)
            .iter()
            .copied()
            .partition(|&interface| found(interface) || self.found_otherwise(interface, found));
        if anyone {
            let off = self.addresses(&off);
            let all = self.plan.family.full();
            return Some((!off.is_empty()).then(|| all.difference(&off)));
        }
        (!near.is_empty()).then(|| Some(self.addresses(&near)))
    }

    /// Whether a host answers for an interface by another one that is found: for IPv4 by any (RFC 1122 section
    /// 3.3.4.2, weak host model), for IPv6 by none (RFC 4861 section 7.2.3).
    fn found_otherwise(&self, interface: InterfaceId, found: &dyn Fn(InterfaceId) -> bool) -> bool {
        let InterfaceOf::Host(host, own) = self.fabric.interface(interface).of else {
            return false;
        };
        let interfaces = self.site.host(host).interfaces.len();
        self.plan.family == Family::V4
            && (0..interfaces)
                .filter(|&at| at != own)
                .any(|at| found(self.fabric.interface_of(InterfaceOf::Host(host, at))))
    }

    fn addresses(&self, interfaces: &[InterfaceId]) -> IntervalSet {
        interfaces
            .iter()
            .map(|&interface| self.plan.place_of(self.fabric.interface(interface).of))
            .map(|(device, at)| &self.plan.device(device).interfaces[at])
            .flat_map(|interface| &interface.addresses)
            .map(|&address| Interval::point(address))
            .collect()
    }

    /// Who forwards for plain devices: the segment's default gateways, or where none is named every gateway and router
    /// with an address on the segment. A device with several interfaces on the wire takes packets in by each that answers.
    fn first_hops(
        &self,
        segment: SegmentId,
        attached: &[(DeviceIndex, usize)],
    ) -> Vec<(DeviceIndex, usize)> {
        if !self.names_gateway(segment) {
            return self.routers(segment, attached);
        }
        let mut found: Vec<(DeviceIndex, usize)> = self
            .plan
            .segment(segment)
            .default_gateways
            .iter()
            .flat_map(|&address| self.plan.owners_among(attached, address))
            .collect();
        found.sort_unstable();
        found.dedup();
        found
    }

    /// Where a default gateway is named and none is found: whoever else forwards there.
    fn other_hops(
        &self,
        segment: SegmentId,
        attached: &[(DeviceIndex, usize)],
        first_hops: &[(DeviceIndex, usize)],
    ) -> Vec<(DeviceIndex, usize)> {
        if self.names_gateway(segment) && first_hops.is_empty() {
            self.routers(segment, attached)
        } else {
            Vec::new()
        }
    }

    /// Whether the file says what plain devices use.
    fn names_gateway(&self, segment: SegmentId) -> bool {
        !self.plan.segment(segment).default_gateways.is_empty()
    }

    fn routers(
        &self,
        segment: SegmentId,
        attached: &[(DeviceIndex, usize)],
    ) -> Vec<(DeviceIndex, usize)> {
        let mut found: Vec<_> = attached
            .iter()
            .copied()
            .filter(|&at| self.answers_as_router(segment, at))
            .collect();
        // Another device that has such a router's address may answer instead of it.
        for address in self.plan.shared_by_routers(segment) {
            found.extend(self.plan.owners_among(attached, address));
        }
        found.sort_unstable();
        found.dedup();
        found
    }

    /// Whether an interface takes what is sent to a gateway's or router's address on a segment: its own or, for
    /// IPv4, that of any interface of its device.
    fn answers_as_router(&self, segment: SegmentId, (device, own): (DeviceIndex, usize)) -> bool {
        let here = |at| self.plan.is_addressed_router((device, at), segment);
        let count = self.plan.device(device).interfaces.len();
        here(own) || self.plan.family == Family::V4 && (0..count).any(here)
    }
}

fn learned_pair(
    plan: &Plan,
    fabric: &Fabric,
    (takes, asks): (InterfaceId, InterfaceId),
) -> Learned {
    let place = |interface| plan.place_of(fabric.interface(interface).of);
    let (device, ingress) = place(takes);
    let (_, asks) = place(asks);
    Learned {
        device,
        ingress,
        asks,
    }
}

impl Plan {
    /// The routers that plain devices find at a send point; a device there does not send to itself.
    pub(super) fn routers_at(
        &self,
        send_point: SendPoint,
    ) -> impl Iterator<Item = (DeviceIndex, usize)> {
        let own = send_point.device();
        self.wire(send_point)
            .first_hops
            .iter()
            .copied()
            .filter(move |(device, _)| Some(*device) != own)
    }

    /// Those that they perhaps use.
    pub(super) fn other_routers_at(&self, send_point: SendPoint) -> Vec<(DeviceIndex, usize)> {
        let own = send_point.device();
        self.wire(send_point)
            .other_hops
            .iter()
            .copied()
            .filter(|(device, _)| Some(*device) != own)
            .collect()
    }

    /// Whether some device has several interfaces on one wire, and may take a packet in by any of them.
    pub fn takes_in_by_several(&self) -> bool {
        self.wires.pool.iter().any(|wire| {
            let mut devices: Vec<DeviceIndex> = wire.attached.iter().map(|(at, _)| *at).collect();
            let count = devices.len();
            devices.sort_unstable();
            devices.dedup();
            devices.len() < count
        })
    }

    /// The neighbours of a send point.
    pub fn wire(&self, send_point: SendPoint) -> &Neighbours {
        self.wires.of(send_point)
    }

    /// Interfaces that a sender can hand a packet to: those that it exchanges frames with both ways, of a hostile sender
    /// those that its frames reach.
    pub fn neighbours(&self, sender: Sender) -> Vec<(DeviceIndex, usize)> {
        self.stands_of(sender)
            .into_iter()
            .flat_map(|send_point| &self.wire(send_point).attached)
            .copied()
            .collect()
    }

    /// Those that a sender may know from their requests only.
    pub fn learned_neighbours(&self, sender: Sender) -> Vec<(DeviceIndex, usize)> {
        self.stands_of(sender)
            .into_iter()
            .flat_map(|send_point| &self.wire(send_point).learned)
            .map(|one| (one.device, one.ingress))
            .collect()
    }

    fn stands_of(&self, sender: Sender) -> Vec<SendPoint> {
        match sender {
            Sender::Segment(segment) => vec![SendPoint::Segment(segment)],
            Sender::Hostile(origin) => vec![SendPoint::Hostile(origin)],
            Sender::Host(host) => {
                let device = self.host_index(host);
                let count = self.device(device).interfaces.len();
                (0..count)
                    .map(|at| SendPoint::WiredInterface(device, at))
                    .collect()
            }
        }
    }

    /// The segment of a send point; `None` at unclaimed ports.
    pub fn segment_of(&self, send_point: SendPoint) -> Option<SegmentId> {
        match send_point {
            SendPoint::WiredInterface(device, interface) => {
                Some(self.device(device).interfaces[interface].segment)
            }
            SendPoint::Segment(segment) => Some(segment),
            SendPoint::Hostile(origin) => origin.segment(),
        }
    }

    /// The external segment where a next hop that no device of the site has may be.
    pub(super) fn leads_out(&self, send_point: SendPoint) -> Option<SegmentId> {
        let found = !self.wire(send_point).receivers.is_empty();
        let segment = self.segment_of(send_point).filter(|_| found);
        segment.filter(|&segment| self.segment(segment).external)
    }

    /// The interface that an interface is.
    pub fn place_of(&self, interface: InterfaceOf) -> (DeviceIndex, usize) {
        match interface {
            InterfaceOf::Router(router, interface) => (self.router_index(router), interface),
            InterfaceOf::Host(host, interface) => (self.host_index(host), interface),
        }
    }

    /// The interface that an interface is.
    pub fn interface_of(
        &self,
        fabric: &Fabric,
        (device, interface): (DeviceIndex, usize),
    ) -> InterfaceId {
        let of = match device.0.checked_sub(self.routers()) {
            Some(host) => InterfaceOf::Host(HostId(host), interface),
            None => InterfaceOf::Router(boundwalk_model::RouterId(device.0), interface),
        };
        fabric.interface_of(of)
    }
}
