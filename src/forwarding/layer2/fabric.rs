//! Switches, ports and cables as one graph that frames move through.

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use boundwalk_diagnostic::Span;
use boundwalk_model::{HostId, PortVlans, RouterId, SegmentId, SwitchId, VlanId};

use super::vlan_segments::VlanSegments;

/// Number of a [`Node`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct NodeId(pub u32);

/// Number of a [`FabricPort`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct PortId(pub u32);

impl PortId {
    /// No port.
    pub const NOWHERE: Self = Self(u32::MAX);
}

/// Number of a [`WiredInterface`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct InterfaceId(pub u32);

/// Number of a group in [`Fabric::unclaimed`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct UnclaimedId(pub u32);

/// Live ports of a switch that belong to no segment, and that take untagged frames into one VLAN. Whoever plugs in
/// there is a hostile device: VLAN 1 on ports that nobody uses, a VLAN number that nobody remembers.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Unclaimed {
    /// The switch.
    pub switch: SwitchId,
    /// VLAN of untagged frames; `None`: the ports drop them, or the switch knows no VLANs.
    pub vlan: Option<VlanId>,
    /// The ports.
    pub ports: Vec<PortId>,
}

/// Where a hostile device may be attached.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Origin {
    /// At any port where devices of a segment may be.
    Segment(SegmentId),
    /// At any of a group of ports that belong to no segment.
    Unclaimed(UnclaimedId),
}

impl Origin {
    /// The segment, if it is one.
    pub fn segment(self) -> Option<SegmentId> {
        match self {
            Self::Segment(segment) => Some(segment),
            Self::Unclaimed(_) => None,
        }
    }
}

/// What a node stands for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum NodeKind {
    /// A switch that knows VLANs.
    Aware(SwitchId),
    /// A switch that does not: it passes tags unchanged.
    Unaware(SwitchId),
    /// A host that bridges between its interfaces.
    Bridge(HostId),
    /// A cable between two devices that are no switches, by its number in the site.
    Neighbours(usize),
    /// What the file does not describe of a segment: layer 2 is assumed clean there.
    Assumed(SegmentId),
}

/// Something that passes frames between its ports.
#[derive(Clone, Debug)]
pub struct Node {
    /// What it stands for.
    pub kind: NodeKind,
    /// Its ports.
    pub ports: Vec<PortId>,
    /// Of an aware switch: for each VLAN its member ports, as places in `ports`.
    pub(super) members: Members,
}

/// Member ports by VLAN, packed: those of VLAN `v` are `list[start[v]..start[v + 1]]`.
#[derive(Clone, Debug, Default)]
pub(super) struct Members {
    pub(super) start: Vec<u32>,
    pub(super) list: Vec<u16>,
}

impl Members {
    /// Places of the member ports of a VLAN.
    pub(super) fn of(&self, vlan: u16) -> &[u16] {
        let at = usize::from(vlan);
        match (self.start.get(at), self.start.get(at + 1)) {
            (Some(&from), Some(&to)) => &self.list[from as usize..to as usize],
            _ => &[],
        }
    }

    /// VLANs with any member, ascending.
    pub(super) fn alive(&self) -> impl Iterator<Item = VlanId> + '_ {
        self.start
            .windows(2)
            .enumerate()
            .filter(|(_, pair)| pair[0] < pair[1])
            .filter_map(|(vlan, _)| VlanId::new(vlan as u16))
    }
}

/// What a port does with tags.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Tagging {
    /// A port of an aware switch.
    Vlans(Box<PortVlans>),
    /// Passes frames as they are or, at a tagged interface of a host that bridges, takes this tag off on
    /// arrival and puts it on at departure.
    Through(Option<VlanId>),
}

/// What is plugged into a port.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Far {
    /// Nothing: a place to plug in.
    Open,
    /// A cable that leads to a disabled port, or a member of a LAG whose far end has no partner for it.
    Dead,
    /// Ports of another node (several where interfaces of a host that bridges share the cable).
    Ports(SmallVec<[PortId; 1]>),
    /// Interfaces of a router or host.
    Interfaces(SmallVec<[InterfaceId; 1]>),
}

/// Which port or LAG of the site a port is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum PortName {
    /// A port of a switch, by number.
    Port(SwitchId, usize),
    /// A LAG of a switch that forms, by number.
    Lag(SwitchId, usize),
    /// An interface of a host that bridges.
    Interface(HostId, usize),
    /// One end of a cable, or where the unknown part of a segment begins.
    Unnamed,
}

/// A logical port: a port, or a LAG that forms.
#[derive(Clone, Debug)]
pub struct FabricPort {
    /// The node that it belongs to.
    pub node: NodeId,
    /// What it is in the site.
    pub name: PortName,
    /// What it does with tags.
    pub tagging: Tagging,
    /// Whether it reaches only ports that are not isolated.
    pub isolated: bool,
    /// What is plugged in.
    pub far: Far,
    /// The cable there, by its number in the site.
    pub link: Option<usize>,
    /// Where its settings are described.
    pub place: Span,
    /// Where a device that sits here may add tags. False where layer 2 is only assumed.
    pub takes_tags: bool,
}

/// Whose interface an interface is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum InterfaceOf {
    /// Of a gateway or router, by number.
    Router(RouterId, usize),
    /// Of a host, by number.
    Host(HostId, usize),
}

/// An interface of a gateway, router or host: where frames begin and end.
#[derive(Clone, Debug)]
pub struct WiredInterface {
    /// Whose.
    pub of: InterfaceOf,
    /// The segment that the file puts it on.
    pub segment: SegmentId,
    /// Its tag; `None`: untagged.
    pub tag: Option<VlanId>,
    /// The ports that it is plugged into; several only where a LAG does not form.
    pub ports: SmallVec<[PortId; 1]>,
    /// Where it is described.
    pub place: Span,
    /// Whether no cable of it is described: it is assumed to stand on its segment.
    pub assumed: bool,
}

/// All switches, ports, cables and interfaces of a site.
#[derive(Clone, Debug, Default)]
pub struct Fabric {
    /// Nodes.
    pub nodes: Vec<Node>,
    /// Ports.
    pub ports: Vec<FabricPort>,
    /// Interfaces: of gateways and routers first, then of hosts, in the order of the site.
    pub interfaces: Vec<WiredInterface>,
    /// Which segments VLAN numbers mean.
    pub(super) vlan_segments: VlanSegments,
    /// Live ports that belong to no segment, in the order of the site.
    pub unclaimed: Vec<Unclaimed>,
    /// Group of each of those ports.
    pub(super) unclaimed_at: FxHashMap<PortId, UnclaimedId>,
    /// Where devices of each segment sit.
    pub(super) attach_points: Vec<Vec<AttachPoint>>,
    /// Segments that a device at each port can be part of, whatever tag it needs.
    pub(super) claimed: Vec<SmallVec<[SegmentId; 1]>>,
    /// The other way round: segments of which devices sit at each port.
    pub(super) seated: Vec<Seated>,
    /// Interfaces of hosts whose frames start where no other device can be plugged in: inside a host that bridges, at
    /// a port that is shared with a gateway; ascending.
    pub(super) placeless: Vec<InterfaceId>,
    /// First interface of each router, then of each host.
    pub(super) first_interface: [Vec<u32>; 2],
}

/// Segments of which devices sit at one port, with the tag that they use.
pub(super) type Seated = SmallVec<[(SegmentId, Option<VlanId>); 1]>;

/// A port where devices of a segment sit or may be plugged in.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct AttachPoint {
    /// The port.
    pub port: PortId,
    /// Tag that plain devices of the segment use there.
    pub tag: Option<VlanId>,
    /// The interface there that the file puts on the segment; `None`: any device that may be plugged in.
    pub interface: Option<InterfaceId>,
}

impl AttachPoint {
    /// Whether plain devices of the segment may be expected there: they use no tag, unless the file gives one
    /// to an interface. A device that uses another tag of the port is a hostile one.
    pub fn is_usual(&self) -> bool {
        self.tag.is_none() || self.interface.is_some()
    }
}

impl Fabric {
    /// The node of a number.
    pub fn node(&self, id: NodeId) -> &Node {
        &self.nodes[id.0 as usize]
    }

    /// The port of a number.
    pub fn port(&self, id: PortId) -> &FabricPort {
        &self.ports[id.0 as usize]
    }

    /// Whether a port is isolated; nowhere is not.
    pub fn is_isolated(&self, id: PortId) -> bool {
        let port = self.ports.get(id.0 as usize);
        port.is_some_and(|port| port.isolated)
    }

    /// The interface of a number.
    pub fn interface(&self, id: InterfaceId) -> &WiredInterface {
        &self.interfaces[id.0 as usize]
    }

    /// The number of an interface.
    pub fn interface_of(&self, of: InterfaceOf) -> InterfaceId {
        let (first, interface) = match of {
            InterfaceOf::Router(router, interface) => {
                (self.first_interface[0][router.0], interface)
            }
            InterfaceOf::Host(host, interface) => (self.first_interface[1][host.0], interface),
        };
        InterfaceId(first + interface as u32)
    }

    /// How many segments the site has.
    pub fn segments(&self) -> usize {
        self.attach_points.len()
    }

    /// Numbers of all interfaces.
    pub fn interface_ids(&self) -> impl Iterator<Item = InterfaceId> + use<> {
        (0..self.interfaces.len() as u32).map(InterfaceId)
    }

    /// Numbers of all ports.
    pub fn port_ids(&self) -> impl Iterator<Item = PortId> + use<> {
        (0..self.ports.len() as u32).map(PortId)
    }

    /// The segments of a VLAN at a switch: one, but for two segments that share a number in one part of layer 2; none
    /// where no segment has it there. A VLAN number means something within one part only: switches joined by cables
    /// that carry frames.
    pub fn segments_of(&self, node: NodeId, vlan: VlanId) -> &[SegmentId] {
        self.vlan_segments.of(node, vlan)
    }

    /// The group of a port that belongs to no segment.
    pub fn unclaimed_at(&self, port: PortId) -> Option<UnclaimedId> {
        self.unclaimed_at.get(&port).copied()
    }

    /// A group of ports that belong to no segment.
    pub fn unclaimed(&self, id: UnclaimedId) -> &Unclaimed {
        &self.unclaimed[id.0 as usize]
    }

    /// Numbers of all groups of ports that belong to no segment.
    pub fn unclaimed_ids(&self) -> impl Iterator<Item = UnclaimedId> + use<> {
        (0..self.unclaimed.len() as u32).map(UnclaimedId)
    }

    /// Everywhere that a hostile device may be: each segment, then each group of unclaimed ports.
    pub fn origins(&self) -> impl Iterator<Item = Origin> + use<> {
        (0..self.attach_points.len())
            .map(SegmentId)
            .map(Origin::Segment)
            .chain(self.unclaimed_ids().map(Origin::Unclaimed))
    }

    /// Where devices of a segment sit: every live place to plug in that puts their frames into its VLAN,
    /// and every interface that the file puts on it, wherever that is plugged in.
    pub fn attach_points(&self, segment: SegmentId) -> &[AttachPoint] {
        &self.attach_points[segment.0]
    }

    /// Whether frames of an interface of a host start where no other device can be plugged in.
    pub fn is_placeless(&self, interface: InterfaceId) -> bool {
        self.placeless.binary_search(&interface).is_ok()
    }

    /// Segments that a device at a port can be part of, whatever tag it needs: a hostile one there hears what comes
    /// out, with a tag or without.
    pub fn claimed(&self, port: PortId) -> &[SegmentId] {
        &self.claimed[port.0 as usize]
    }

    /// Segments of which plain devices may sit at a port, with the tag that they use.
    pub fn seated(&self, port: PortId) -> &[(SegmentId, Option<VlanId>)] {
        &self.seated[port.0 as usize]
    }
}
