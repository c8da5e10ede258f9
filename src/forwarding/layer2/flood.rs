//! Moves frames through a fabric, one way, wherever flooding can bring them.

use rustc_hash::{FxHashMap, FxHashSet};
use smallvec::SmallVec;

use boundwalk_model::{FrameTypes, PortVlans, VlanId};

use super::fabric::{Fabric, Far, InterfaceId, Node, NodeId, NodeKind, PortId, Tagging};
use super::frame::{Admitted, Frame, admit_any, egress};

/// Where frames begin.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Start {
    /// From outside into a port, as a device that is plugged in there sends them.
    AttachPoint(PortId, Frame),
    /// From an interface, with its tag or without.
    WiredInterface(InterfaceId),
    /// Inside a node, in a VLAN (`None`: in a node that knows none) with what is left below: it goes out by
    /// every port.
    Inside(NodeId, Option<VlanId>, Frame),
}

/// A frame inside a node.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Visit {
    /// The node.
    pub node: NodeId,
    /// The VLAN that it is in; `None` in a node that knows none.
    pub vlan: Option<VlanId>,
    /// Its tags, without that of the VLAN.
    pub below: Frame,
    /// Where it came in; [`PortId::NOWHERE`] where it starts inside.
    pub arrived: PortId,
    /// What let it into the VLAN.
    pub admitted: Option<Admitted>,
    /// The visit that it came from and the port it left by there; `None`: it starts here.
    pub parent: Option<(u32, PortId)>,
    /// Which of the starts it comes from.
    pub start: u32,
}

/// A frame that left a port towards a device or an open port.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Taken {
    /// The port.
    pub port: PortId,
    /// The frame on the cable.
    pub frame: Frame,
    /// The interface that takes it; `None`: whatever may be plugged in there.
    pub interface: Option<InterfaceId>,
    /// The visit that it left from.
    pub visit: u32,
}

/// A frame that was sent along a cable and that nobody takes there.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct StoppedFrame {
    /// The port that it left by; [`PortId::NOWHERE`] where a device sent it.
    pub from: PortId,
    /// The port that drops it; `None`: devices without a fitting interface, or a dead end.
    pub at: Option<PortId>,
    /// The frame on the cable.
    pub frame: Frame,
}

/// Everything that frames reach.
#[derive(Clone, Debug, Default)]
pub struct Flood {
    /// Where they began.
    pub starts: Vec<Start>,
    /// Frames inside nodes, nearest first.
    pub visits: Vec<Visit>,
    /// Frames that left towards devices and open ports, nearest first; each interface once.
    pub taken: Vec<Taken>,
    /// Frames that got as far as a cable, nearest first.
    pub stopped: Vec<StoppedFrame>,
}

impl Flood {
    /// The interfaces that take a frame, nearest first.
    pub fn interfaces(&self) -> impl Iterator<Item = InterfaceId> + '_ {
        self.taken.iter().filter_map(|taken| taken.interface)
    }

    /// Every frame that is put on a cable or out of an open port, ascending: the port and the frame.
    #[must_use]
    pub fn sends(&self, fabric: &Fabric) -> Vec<(PortId, Frame)> {
        let mut sends = Vec::new();
        for visit in &self.visits {
            for &port in &fabric.node(visit.node).ports {
                let isolated = fabric.is_isolated(visit.arrived) && fabric.is_isolated(port);
                if port != visit.arrived && !isolated {
                    let frame = departing(fabric, visit, port);
                    sends.extend(frame.map(|frame| (port, frame)));
                }
            }
        }
        sends.sort_unstable();
        sends.dedup();
        sends
    }

    /// Whether an interface takes a frame.
    #[must_use]
    pub fn reaches(&self, interface: InterfaceId) -> bool {
        self.interfaces().any(|taken| taken == interface)
    }
}

/// Floods frames from some starts. Each switch passes a frame on by every other member port of its VLAN;
/// loops end because a frame is followed once in each state.
///
/// O(states x member ports), where a state is a node, a VLAN and the tags below it.
#[must_use]
pub fn flood(fabric: &Fabric, starts: &[Start]) -> Flood {
    let mut run = Run {
        fabric,
        flood: Flood {
            starts: starts.to_vec(),
            ..Flood::default()
        },
        seen: FxHashMap::default(),
        interfaces: FxHashSet::default(),
        left: FxHashSet::default(),
        stopped: FxHashSet::default(),
    };
    for (number, &start) in starts.iter().enumerate() {
        let from = From {
            parent: None,
            start: number as u32,
        };
        match start {
            Start::AttachPoint(port, frame) => run.arrive(port, frame, from),
            Start::Inside(node, vlan, below) => run.enter(Visit {
                node,
                vlan,
                below,
                arrived: PortId::NOWHERE,
                admitted: None,
                parent: None,
                start: number as u32,
            }),
            Start::WiredInterface(interface) => {
                let interface = fabric.interface(interface);
                for &port in &interface.ports {
                    run.arrive(port, Frame::of(interface.tag), from);
                }
            }
        }
    }
    let mut next = 0;
    while next < run.flood.visits.len() {
        run.relay(next as u32);
        next += 1;
    }
    run.flood
}

/// Where an arriving frame comes from.
#[derive(Clone, Copy)]
struct From {
    parent: Option<(u32, PortId)>,
    start: u32,
}

struct Run<'f> {
    fabric: &'f Fabric,
    flood: Flood,
    /// Ports that a frame came in by, for each state: two that are not isolated and one that is say all.
    seen: FxHashMap<(NodeId, u16, Frame), SmallVec<[PortId; 2]>>,
    interfaces: FxHashSet<InterfaceId>,
    left: FxHashSet<(PortId, Frame)>,
    stopped: FxHashSet<StoppedFrame>,
}

impl Run<'_> {
    fn arrive(&mut self, port: PortId, frame: Frame, from: From) {
        let fabric = self.fabric;
        let here = fabric.port(port);
        let mut entered = false;
        let mut enter = |vlan: Option<VlanId>, below: Frame, admitted: Option<Admitted>| {
            entered = true;
            self.enter(Visit {
                node: here.node,
                vlan,
                below,
                arrived: port,
                admitted,
                parent: from.parent,
                start: from.start,
            });
        };
        match &here.tagging {
            Tagging::Vlans(vlans) => {
                let mut each = |vlan, below, why| enter(Some(vlan), below, Some(why));
                admit_all(vlans, fabric.node(here.node), frame, &mut each);
            }
            Tagging::Through(None) => enter(None, frame, None),
            Tagging::Through(Some(tag)) => {
                if let Some(below) = untag(frame, *tag) {
                    enter(None, below, None);
                }
            }
        }
        if !entered {
            self.stop(from.parent, Some(port), frame);
        }
    }

    fn stop(&mut self, parent: Option<(u32, PortId)>, at: Option<PortId>, frame: Frame) {
        let stopped = StoppedFrame {
            from: parent.map_or(PortId::NOWHERE, |(_, port)| port),
            at,
            frame,
        };
        if self.stopped.insert(stopped) {
            self.flood.stopped.push(stopped);
        }
    }

    fn enter(&mut self, visit: Visit) {
        let vlan = visit.vlan.map_or(0, VlanId::get);
        let before = self
            .seen
            .entry((visit.node, vlan, visit.below))
            .or_default();
        let isolated = |port: PortId| self.fabric.is_isolated(port);
        let alike = before
            .iter()
            .filter(|&&port| isolated(port) == isolated(visit.arrived));
        // What arrives by an isolated port goes to all that are not isolated, the first time. Of others the
        // second reaches the first one's own port, and a third nothing new.
        let enough = if isolated(visit.arrived) { 1 } else { 2 };
        let open = before.iter().filter(|&&port| !isolated(port)).count();
        let inside = before.contains(&PortId::NOWHERE);
        if inside || before.contains(&visit.arrived) || open >= 2 || alike.count() >= enough {
            return;
        }
        before.push(visit.arrived);
        self.flood.visits.push(visit);
    }

    fn relay(&mut self, number: u32) {
        let visit = self.flood.visits[number as usize];
        let node = self.fabric.node(visit.node);
        match (node.kind, visit.vlan) {
            (NodeKind::Aware(_), Some(vlan)) => {
                for &place in node.members.of(vlan.get()) {
                    self.leave(number, &visit, node.ports[usize::from(place)]);
                }
            }
            _ => {
                for &port in &node.ports {
                    self.leave(number, &visit, port);
                }
            }
        }
    }

    fn leave(&mut self, number: u32, visit: &Visit, port: PortId) {
        if !self.passes(visit, port) {
            return;
        }
        let here = self.fabric.port(port);
        let Some(frame) = departing(self.fabric, visit, port) else {
            return;
        };
        let from = From {
            parent: Some((number, port)),
            start: visit.start,
        };
        match &here.far {
            Far::Ports(far) => {
                for &far in far {
                    let beyond = self.fabric.node(self.fabric.port(far).node).kind;
                    if matches!(beyond, NodeKind::Bridge(_)) {
                        self.take(port, frame, None, number);
                    }
                    self.arrive(far, frame, from);
                }
            }
            Far::Open => self.take(port, frame, None, number),
            Far::Interfaces(interfaces) => {
                self.take(port, frame, None, number);
                let fits =
                    |interface: &&InterfaceId| frame.fits(self.fabric.interface(**interface).tag);
                let fitting: SmallVec<[InterfaceId; 2]> =
                    interfaces.iter().filter(fits).copied().collect();
                for &interface in &fitting {
                    self.take(port, frame, Some(interface), number);
                }
                if fitting.is_empty() {
                    self.stop(from.parent, None, frame);
                }
            }
            Far::Dead => self.stop(from.parent, None, frame),
        }
    }

    /// Whether a frame may leave by a port: not where it came in, not between isolated ones, and not where
    /// an earlier arrival of the same frame went already.
    fn passes(&self, visit: &Visit, port: PortId) -> bool {
        let isolated = |port: PortId| self.fabric.is_isolated(port);
        let allowed = |from: PortId| from != port && !(isolated(from) && isolated(port));
        if !allowed(visit.arrived) {
            return false;
        }
        let vlan = visit.vlan.map_or(0, VlanId::get);
        let arrivals = self.seen.get(&(visit.node, vlan, visit.below));
        !arrivals
            .into_iter()
            .flatten()
            .take_while(|&&from| from != visit.arrived)
            .any(|&from| allowed(from))
    }

    fn take(&mut self, port: PortId, frame: Frame, interface: Option<InterfaceId>, visit: u32) {
        let new = match interface {
            Some(interface) => self.interfaces.insert(interface),
            None => self.left.insert((port, frame)),
        };
        if new {
            self.flood.taken.push(Taken {
                port,
                frame,
                interface,
                visit,
            });
        }
    }
}

/// A frame inside a node as it leaves by a port; `None`: it does not.
pub(super) fn departing(fabric: &Fabric, visit: &Visit, port: PortId) -> Option<Frame> {
    match (&fabric.port(port).tagging, visit.vlan) {
        (Tagging::Vlans(vlans), Some(vlan)) => egress(vlans, vlan, visit.below),
        (Tagging::Through(Some(tag)), _) => visit.below.pushed(tag.get()),
        _ => Some(visit.below),
    }
}

/// Lets a frame in by every VLAN that its sender may choose.
fn admit_all(
    vlans: &PortVlans,
    node: &Node,
    frame: Frame,
    enter: &mut dyn FnMut(VlanId, Frame, Admitted),
) {
    match (vlans.accept, vlans.ingress_filter) {
        (FrameTypes::Untagged, _) => admit_any(vlans, frame, std::iter::empty(), enter),
        (_, true) => admit_any(vlans, frame, vlans.members().iter(), enter),
        (_, false) => admit_any(vlans, frame, node.members.alive(), enter),
    }
}

/// The frame without this outer tag, if that is what it carries or may carry.
pub(super) fn untag(frame: Frame, tag: VlanId) -> Option<Frame> {
    match frame.outer() {
        Some(outer) => (outer == tag.get()).then(|| frame.popped()),
        None => frame.chosen(),
    }
}
