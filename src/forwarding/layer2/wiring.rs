//! Who exchanges frames with whom: the fabric as the layers above need it.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_model::{SegmentId, VlanId};

use super::fabric::{
    AttachPoint, Fabric, InterfaceId, InterfaceOf, NodeId, Origin, PortId, Tagging, UnclaimedId,
};
use super::flood::{Flood, Start, departing, flood};
use super::frame::{Frame, admit};

/// A place where a device of a segment may be plugged in.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct FreePort {
    /// The segment.
    pub segment: SegmentId,
    /// The place.
    pub attach_point: AttachPoint,
}

/// What frames of one sender reach.
#[derive(Clone, PartialEq, Eq, Hash, Default, Debug)]
pub struct Reached {
    /// Interfaces, ascending.
    pub interfaces: Vec<InterfaceId>,
    /// Numbers of free ports, ascending.
    pub free_ports: Vec<u32>,
    /// Groups of unclaimed ports, ascending.
    pub unclaimed: Vec<UnclaimedId>,
}

impl Reached {
    /// Whether an interface is reached.
    pub fn has(&self, interface: InterfaceId) -> bool {
        self.interfaces.binary_search(&interface).is_ok()
    }

    /// Whether a free port is reached.
    pub fn has_vacancy(&self, number: u32) -> bool {
        self.free_ports.binary_search(&number).is_ok()
    }
}

/// For every sender of plain frames, and for a hostile device of every segment, what it reaches.
#[derive(Clone, Debug, Default)]
pub struct Wiring {
    /// Places to plug in.
    pub free_ports: Vec<FreePort>,
    /// What is reached, each set once.
    sets: Vec<Reached>,
    /// Set of each interface.
    by_interface: Vec<u32>,
    /// Set of each free port.
    by_vacancy: Vec<u32>,
    /// Set of a hostile device on each segment, at any of its attachment points.
    by_segment: Vec<u32>,
    /// Set of a hostile device at each group of unclaimed ports.
    by_unclaimed: Vec<u32>,
    /// Vacancies of each segment.
    of_segment: Vec<Vec<u32>>,
    /// Interfaces of hosts that the file puts on each segment.
    interfaces_of_segment: Vec<Vec<InterfaceId>>,
    /// For each segment, where hostile devices are whose frames its devices take; ascending.
    hostile_into: Vec<Vec<Origin>>,
    /// For each segment, the interfaces of gateways and routers whose frames its devices take.
    routers_into: Vec<Vec<InterfaceId>>,
}

impl Wiring {
    /// Floods from every sender. Senders whose frames start in the same state share one flood.
    ///
    /// O(states of senders x states x member ports).
    pub fn new(fabric: &Fabric) -> Self {
        let mut build = Build::new(fabric);
        let interfaces: Vec<u32> = fabric
            .interface_ids()
            .map(|interface| build.of_interface(interface))
            .collect();
        let free_ports = build.wiring.free_ports.clone();
        let places = free_ports.iter().map(|free_port| {
            let attach_point = free_port.attach_point;
            build.of_sender(attach_point.port, Frame::of(attach_point.tag))
        });
        let places: Vec<u32> = places.collect();
        let hostile: Vec<u32> = (0..fabric.attach_points.len())
            .map(SegmentId)
            .map(|segment| build.of_hostile(Origin::Segment(segment)))
            .collect();
        let unclaimed: Vec<u32> = fabric
            .unclaimed_ids()
            .map(|group| build.of_hostile(Origin::Unclaimed(group)))
            .collect();
        let mut wiring = build.wiring;
        wiring.by_interface = interfaces;
        wiring.by_vacancy = places;
        wiring.by_segment = hostile;
        wiring.by_unclaimed = unclaimed;
        wiring.turn_round(fabric);
        wiring
    }

    /// Notes who reaches each segment.
    fn turn_round(&mut self, fabric: &Fabric) {
        let count = self.of_segment.len();
        let mut hostile: Vec<Vec<Origin>> = vec![Vec::new(); count];
        for from in fabric.origins() {
            for to in self.segments_in(fabric, self.from_hostile(from)) {
                hostile[to.0].push(from);
            }
        }
        let mut routers: Vec<Vec<InterfaceId>> = vec![Vec::new(); count];
        for interface in fabric.interface_ids() {
            if matches!(fabric.interface(interface).of, InterfaceOf::Router(..)) {
                for to in self.segments_in(fabric, self.from_interface(interface)) {
                    routers[to.0].push(interface);
                }
            }
        }
        self.hostile_into = hostile;
        self.routers_into = routers;
    }

    /// Segments of which devices are, or may be, among what is reached, ascending.
    fn segments_in(&self, fabric: &Fabric, reached: &Reached) -> Vec<SegmentId> {
        let places = reached
            .free_ports
            .iter()
            .map(|&number| self.free_ports[number as usize].segment);
        let hosts = reached
            .interfaces
            .iter()
            .map(|&interface| fabric.interface(interface))
            .filter(|interface| matches!(interface.of, InterfaceOf::Host(..)));
        let mut segments: Vec<SegmentId> = places
            .chain(hosts.map(|interface| interface.segment))
            .collect();
        segments.sort_unstable();
        segments.dedup();
        segments
    }

    /// Where hostile devices are whose frames devices of a segment take, the segment itself among them.
    pub fn hostile_into(&self, segment: SegmentId) -> &[Origin] {
        &self.hostile_into[segment.0]
    }

    /// Interfaces of gateways and routers whose frames devices of a segment take.
    pub fn routers_into(&self, segment: SegmentId) -> &[InterfaceId] {
        &self.routers_into[segment.0]
    }

    /// What plain frames of an interface reach.
    pub fn from_interface(&self, interface: InterfaceId) -> &Reached {
        &self.sets[self.by_interface[interface.0 as usize] as usize]
    }

    /// What plain frames of a device at a free port reach.
    pub fn from_vacancy(&self, number: u32) -> &Reached {
        &self.sets[self.by_vacancy[number as usize] as usize]
    }

    /// What a hostile device reaches, at any port where it may be, with whatever tags it likes.
    pub fn from_hostile(&self, origin: Origin) -> &Reached {
        let set = match origin {
            Origin::Segment(segment) => self.by_segment[segment.0],
            Origin::Unclaimed(group) => self.by_unclaimed[group.0 as usize],
        };
        &self.sets[set as usize]
    }

    /// Numbers of the places to plug in on a segment.
    pub fn vacancies_of(&self, segment: SegmentId) -> &[u32] {
        &self.of_segment[segment.0]
    }

    /// Interfaces of hosts that the file puts on a segment.
    pub fn interfaces_of(&self, segment: SegmentId) -> &[InterfaceId] {
        &self.interfaces_of_segment[segment.0]
    }

    /// The number of the set that an interface reaches: interfaces that reach the same share it.
    pub fn set_of(&self, interface: InterfaceId) -> u32 {
        self.by_interface[interface.0 as usize]
    }

    /// Whether two interfaces exchange frames both ways.
    pub fn two_way(&self, one: InterfaceId, other: InterfaceId) -> bool {
        self.from_interface(one).has(other) && self.from_interface(other).has(one)
    }

    /// Whether an interface and a device at a free port exchange frames both ways.
    pub fn two_way_with(&self, interface: InterfaceId, free_port: u32) -> bool {
        self.from_interface(interface).has_vacancy(free_port)
            && self.from_vacancy(free_port).has(interface)
    }

    /// Whether a device somewhere hears plain frames of some device of a segment.
    pub fn hears(&self, from: SegmentId, at: Origin) -> bool {
        let mut interfaces = self.interfaces_of(from).iter();
        let mut places = self.vacancies_of(from).iter();
        interfaces.any(|&interface| self.heard_at(self.from_interface(interface), at))
            || places.any(|&number| self.heard_at(self.from_vacancy(number), at))
    }

    /// Whether what was reached takes in a place where a hostile device may be.
    pub fn heard_at(&self, reached: &Reached, at: Origin) -> bool {
        match at {
            Origin::Segment(segment) => self.touches(reached, segment),
            Origin::Unclaimed(group) => reached.unclaimed.binary_search(&group).is_ok(),
        }
    }

    /// Whether something that was reached is, or may be, a device of a segment.
    pub fn touches(&self, reached: &Reached, segment: SegmentId) -> bool {
        let mut interfaces = self.interfaces_of(segment).iter();
        let mut places = self.vacancies_of(segment).iter();
        interfaces.any(|&interface| reached.has(interface))
            || places.any(|&number| reached.has_vacancy(number))
    }
}

/// How frames of a sender start: those of one key reach the same.
#[derive(PartialEq, Eq, Hash)]
enum Key {
    /// Dropped at once.
    Nowhere,
    Inside(NodeId, Option<VlanId>, Frame),
    /// A sender of its own.
    AttachPoint(PortId, Frame),
    WiredInterface(InterfaceId),
}

struct Build<'f> {
    fabric: &'f Fabric,
    wiring: Wiring,
    at_port: FxHashMap<PortId, Vec<u32>>,
    keys: FxHashMap<Key, u32>,
    sets: FxHashMap<Reached, u32>,
}

impl<'f> Build<'f> {
    fn new(fabric: &'f Fabric) -> Self {
        let mut wiring = Wiring::default();
        let mut at_port: FxHashMap<PortId, Vec<u32>> = FxHashMap::default();
        wiring.interfaces_of_segment = vec![Vec::new(); fabric.attach_points.len()];
        let hosts = |&interface: &InterfaceId| {
            matches!(fabric.interface(interface).of, InterfaceOf::Host(..))
        };
        for interface in fabric.interface_ids().filter(hosts) {
            let segment = fabric.interface(interface).segment;
            wiring.interfaces_of_segment[segment.0].push(interface);
        }
        for (number, attach_points) in fabric.attach_points.iter().enumerate() {
            let mut here = Vec::new();
            let mut seen: FxHashSet<AttachPoint> = FxHashSet::default();
            for &attach_point in attach_points
                .iter()
                .filter(|attach_point| attach_point.is_usual())
            {
                // Where a host sits, another device of its segment may sit as well.
                let attach_point = AttachPoint {
                    interface: None,
                    ..attach_point
                };
                if !seen.insert(attach_point) {
                    continue;
                }
                let at = wiring.free_ports.len() as u32;
                here.push(at);
                at_port.entry(attach_point.port).or_default().push(at);
                wiring.free_ports.push(FreePort {
                    segment: SegmentId(number),
                    attach_point,
                });
            }
            wiring.of_segment.push(here);
        }
        Self {
            fabric,
            wiring,
            at_port,
            keys: FxHashMap::default(),
            sets: FxHashMap::default(),
        }
    }

    fn of_interface(&mut self, id: InterfaceId) -> u32 {
        let interface = self.fabric.interface(id);
        match interface.ports[..] {
            [] => self.of_key(Key::Nowhere),
            [port] => self.of_sender(port, Frame::of(interface.tag)),
            _ => self.of_key(Key::WiredInterface(id)),
        }
    }

    fn of_sender(&mut self, port: PortId, frame: Frame) -> u32 {
        let key = self.key(port, frame);
        self.of_key(key)
    }

    /// Frames that start in one state reach the same, but for what shares their own port and for what
    /// isolated ports do not reach.
    fn key(&self, id: PortId, frame: Frame) -> Key {
        let port = self.fabric.port(id);
        let shared = match &port.far {
            super::Far::Interfaces(interfaces) => interfaces.len() > 1,
            super::Far::Ports(_) => true,
            super::Far::Open | super::Far::Dead => false,
        };
        if shared || port.isolated {
            return Key::AttachPoint(id, frame);
        }
        match &port.tagging {
            Tagging::Vlans(vlans) => match admit(vlans, frame) {
                Ok((vlan, below, _)) => Key::Inside(port.node, Some(vlan), below),
                Err(_) => Key::Nowhere,
            },
            Tagging::Through(None) => Key::Inside(port.node, None, frame),
            Tagging::Through(Some(_)) => Key::AttachPoint(id, frame),
        }
    }

    fn of_key(&mut self, key: Key) -> u32 {
        if let Some(&set) = self.keys.get(&key) {
            return set;
        }
        let start = match key {
            Key::Nowhere => None,
            Key::Inside(node, vlan, below) => Some(Start::Inside(node, vlan, below)),
            Key::AttachPoint(port, frame) => Some(Start::AttachPoint(port, frame)),
            Key::WiredInterface(interface) => Some(Start::WiredInterface(interface)),
        };
        let starts: Vec<Start> = start.into_iter().collect();
        let flood = flood(self.fabric, &starts);
        let set = self.keep(self.reached(&flood));
        if matches!(key, Key::Inside(..)) && returns_everywhere(self.fabric, &flood) {
            // Frames that start in any of these states reach the same.
            let keys = flood
                .visits
                .iter()
                .map(|visit| Key::Inside(visit.node, visit.vlan, visit.below));
            self.keys.extend(keys.map(|key| (key, set)));
        }
        self.keys.insert(key, set);
        set
    }

    fn of_hostile(&mut self, origin: Origin) -> u32 {
        let starts = hostile_starts(self.fabric, origin);
        self.keep(self.reached(&flood(self.fabric, &starts)))
    }

    fn keep(&mut self, reached: Reached) -> u32 {
        let next = self.wiring.sets.len() as u32;
        match self.sets.get(&reached) {
            Some(&known) => known,
            None => {
                self.wiring.sets.push(reached.clone());
                self.sets.insert(reached, next);
                next
            }
        }
    }

    fn reached(&self, flood: &Flood) -> Reached {
        let mut interfaces: Vec<InterfaceId> = flood.interfaces().collect();
        interfaces.sort_unstable();
        let mut free_ports = Vec::new();
        for taken in flood.taken.iter().filter(|taken| taken.interface.is_none()) {
            let here = self.at_port.get(&taken.port).into_iter().flatten();
            let fits = |&&number: &&u32| {
                let free_port = self.wiring.free_ports[number as usize];
                taken.frame.fits(free_port.attach_point.tag)
            };
            free_ports.extend(here.filter(fits));
        }
        free_ports.sort_unstable();
        free_ports.dedup();
        let mut unclaimed: Vec<UnclaimedId> = flood
            .taken
            .iter()
            .filter(|taken| taken.interface.is_none())
            .filter_map(|taken| self.fabric.unclaimed_at(taken.port))
            .collect();
        unclaimed.sort_unstable();
        unclaimed.dedup();
        Reached {
            interfaces,
            free_ports,
            unclaimed,
        }
    }
}

/// Whether every step of a flood can be gone back: then all its states reach each other.
fn returns_everywhere(fabric: &Fabric, flood: &Flood) -> bool {
    flood.visits.iter().all(|visit| {
        let Some((parent, left)) = visit.parent else {
            return true;
        };
        let from = &flood.visits[parent as usize];
        let isolated = fabric.is_isolated(visit.arrived) || fabric.is_isolated(left);
        let plain = from.below.free() == 0 && visit.below.free() == 0;
        let Some(frame) = departing(fabric, visit, visit.arrived).filter(|_| plain && !isolated)
        else {
            return false;
        };
        match &fabric.port(left).tagging {
            Tagging::Vlans(vlans) => admit(vlans, frame)
                .is_ok_and(|(vlan, below, _)| Some(vlan) == from.vlan && below == from.below),
            Tagging::Through(None) => frame == from.below,
            Tagging::Through(Some(_)) => false,
        }
    })
}

/// Everything that a hostile device sends: at any one port where it may be, with whatever tags it likes; plain
/// frames only where layer 2 is assumed, and from a described host that no such port is known for: one that bridges
/// stands behind its own cables, and passes frames on as it is configured.
pub fn hostile_starts(fabric: &Fabric, origin: Origin) -> Vec<Start> {
    let segment = match origin {
        Origin::Segment(segment) => segment,
        Origin::Unclaimed(group) => {
            return fabric
                .unclaimed(group)
                .ports
                .iter()
                .map(|&port| Start::AttachPoint(port, Frame::HOSTILE))
                .collect();
        }
    };
    let mut seen: FxHashSet<PortId> = FxHashSet::default();
    let starts = fabric
        .attach_points(segment)
        .iter()
        .filter_map(|attach_point| {
            let port = fabric.port(attach_point.port);
            let frame = if port.takes_tags {
                Frame::HOSTILE
            } else {
                Frame::of(attach_point.tag)
            };
            seen.insert(attach_point.port)
                .then_some(Start::AttachPoint(attach_point.port, frame))
        });
    let mut starts: Vec<Start> = starts.collect();
    let behind = fabric
        .placeless
        .iter()
        .copied()
        .filter(|&interface| fabric.interface(interface).segment == segment);
    starts.extend(behind.map(Start::WiredInterface));
    starts
}
