//! Why frames of a segment stay where they are: a closed set that a reader can check.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_forwarding::Network;
use boundwalk_forwarding::layer2::frame::{admit, admit_tagged, admit_untagged};
use boundwalk_forwarding::layer2::{
    Far, Flood, Frame, InterfaceId, NodeId, NodeKind, PortId, PortName, Refused, StoppedFrame,
    Tagging,
};
use boundwalk_model::{SegmentId, SwitchId, VlanId};

/// The closed set of a segment's frames.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Certificate {
    /// The segment.
    pub segment: SegmentId,
    /// Switches (and whatever else passes frames) with the VLAN that the frames are in there.
    pub inside: Vec<(NodeId, Option<VlanId>)>,
    /// Ports that the frames leave by, each with the frame on the cable.
    pub sends: Vec<(PortId, Frame)>,
    /// Interfaces that take them: of hosts on the segment that do not forward.
    pub takers: Vec<InterfaceId>,
    /// Ports of those switches that do not belong to the set, and why nothing passes there.
    pub closed: Vec<Closed>,
    /// Frames that get as far as a cable, and why they go no further.
    pub ends: Vec<End>,
    /// Every port and LAG of every switch, in the order of the site, each once.
    pub ports: Vec<(PortName, PortPart)>,
}

/// What part a port plays in a certificate.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PortPart {
    /// Frames of the segment come in or leave here.
    Carries,
    /// Frames of the segment come to its switch and do not leave here, and a device here gets nothing in.
    Closed,
    /// Frames of the segment do not come to its switch, nor do frames from here come to the segment.
    Elsewhere,
    /// It is disabled, or its cable leads to a disabled end.
    Off,
    /// It is a member of a LAG, which is listed by itself.
    Member,
}

/// A port beside the set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Closed {
    /// The port.
    pub port: PortId,
    /// The VLAN of the set at its switch.
    pub vlan: VlanId,
    /// The VLAN that untagged frames take there; `None`: they are dropped.
    pub untagged: Option<VlanId>,
    /// Why frames with the tag of the set's VLAN are dropped there.
    pub tagged: Refused,
}

/// A frame that nobody takes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct End {
    /// Where it left.
    pub from: PortId,
    /// Its tags on the cable.
    pub frame: Frame,
    /// Why it goes no further.
    pub why: EndReason,
}

/// Why a frame goes no further than a cable.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum EndReason {
    /// The port at the other end drops it.
    Dropped(PortId, Refused),
    /// The devices at the other end have no interface for it.
    NoInterface,
    /// The other end is disabled.
    Dead,
}

impl Certificate {
    /// The ports and LAGs of switches that frames of the segment come in or leave by.
    pub fn carrying(&self) -> impl Iterator<Item = PortName> + '_ {
        self.ports
            .iter()
            .filter(|(_, part)| *part == PortPart::Carries)
            .map(|(name, _)| *name)
    }

    /// How many ports and LAGs of how many switches that are.
    pub fn extent(&self) -> (usize, usize) {
        let switches = self.carrying().filter_map(|name| match name {
            PortName::Port(switch, _) | PortName::Lag(switch, _) => Some(switch),
            PortName::Interface(..) | PortName::Unnamed => None,
        });
        let switches: FxHashSet<SwitchId> = switches.collect();
        (self.carrying().count(), switches.len())
    }

    /// Writes down what a flood of everything that a hostile device on a segment sends has visited.
    pub(super) fn new(network: &Network<'_>, segment: SegmentId, flood: &Flood) -> Self {
        let mut inside: Vec<(NodeId, Option<VlanId>)> = Vec::new();
        for visit in &flood.visits {
            if !inside.contains(&(visit.node, visit.vlan)) {
                inside.push((visit.node, visit.vlan));
            }
        }
        let mut takers: Vec<InterfaceId> = flood.interfaces().collect();
        takers.sort_unstable();
        let closed = inside
            .iter()
            .filter_map(|&(node, vlan)| Some((node, vlan?)))
            .flat_map(|(node, vlan)| closed_beside(network, node, vlan, &inside))
            .collect();
        let ends = flood
            .stopped
            .iter()
            .filter_map(|stopped| end(network, stopped))
            .collect();
        Self {
            segment,
            inside,
            sends: flood.sends(&network.fabric),
            takers,
            closed,
            ports: ports(network, flood),
            ends,
        }
    }
}

/// The part of every port and LAG. The flood has shown already that nothing comes in from elsewhere.
fn ports(network: &Network<'_>, flood: &Flood) -> Vec<(PortName, PortPart)> {
    let fabric = &network.fabric;
    let mut at: FxHashMap<PortName, PortId> = FxHashMap::default();
    at.extend(fabric.port_ids().map(|id| (fabric.port(id).name, id)));
    let sends: FxHashSet<PortId> = flood.sends(fabric).into_iter().map(|(id, _)| id).collect();
    let carries: FxHashSet<PortId> = flood
        .visits
        .iter()
        .map(|visit| visit.arrived)
        .chain(sends)
        .collect();
    let inside: FxHashSet<NodeId> = flood.visits.iter().map(|visit| visit.node).collect();
    let part = |name: PortName, member: bool, enabled: bool| match at.get(&name) {
        _ if !enabled => PortPart::Off,
        None if member => PortPart::Member,
        None => PortPart::Off,
        Some(id) if carries.contains(id) => PortPart::Carries,
        Some(&id) if fabric.port(id).far == Far::Dead => PortPart::Off,
        Some(&id) if inside.contains(&fabric.port(id).node) => PortPart::Closed,
        Some(_) => PortPart::Elsewhere,
    };
    let mut ports = Vec::new();
    for (number, switch) in network.site.switches.iter().enumerate() {
        let id = SwitchId(number);
        for (at, port) in switch.ports.iter().enumerate() {
            let member = switch.lag_of(&port.name.value).is_some();
            let name = PortName::Port(id, at);
            ports.push((name, part(name, member, port.enabled)));
        }
        for lag in 0..switch.lags.len() {
            let name = PortName::Lag(id, lag);
            // A LAG that does not form is judged as its single ports.
            ports.push((name, part(name, true, true)));
        }
    }
    ports
}

/// Ports of a switch where frames neither leave nor enter a VLAN.
fn closed_beside(
    network: &Network<'_>,
    node: NodeId,
    vlan: VlanId,
    inside: &[(NodeId, Option<VlanId>)],
) -> Vec<Closed> {
    let fabric = &network.fabric;
    let node_here = fabric.node(node);
    if !matches!(node_here.kind, NodeKind::Aware(_)) {
        return Vec::new();
    }
    let closed = node_here.ports.iter().filter_map(|&port| {
        let Tagging::Vlans(vlans) = &fabric.port(port).tagging else {
            return None;
        };
        if vlans.carries(vlan) {
            return None;
        }
        let untagged = admit_untagged(vlans).ok().map(|(vlan, _)| vlan);
        let tagged = admit_tagged(vlans, vlan).err()?;
        let other = untagged.is_none_or(|other| !inside.contains(&(node, Some(other))));
        other.then_some(Closed {
            port,
            vlan,
            untagged,
            tagged,
        })
    });
    closed.collect()
}

fn end(network: &Network<'_>, stopped: &StoppedFrame) -> Option<End> {
    if stopped.from == PortId::NOWHERE {
        return None;
    }
    let fabric = &network.fabric;
    let why = match stopped.at {
        Some(at) => EndReason::Dropped(at, refusal(network, at, stopped.frame)),
        None if fabric.port(stopped.from).far == Far::Dead => EndReason::Dead,
        None => EndReason::NoInterface,
    };
    Some(End {
        from: stopped.from,
        frame: stopped.frame,
        why,
    })
}

/// Why a port drops a frame.
fn refusal(network: &Network<'_>, at: PortId, frame: Frame) -> Refused {
    match &network.fabric.port(at).tagging {
        Tagging::Vlans(vlans) => admit(vlans, frame).err(),
        Tagging::Through(_) => None,
    }
    .unwrap_or(Refused::NotMember)
}
