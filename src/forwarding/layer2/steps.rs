//! The way of one frame, cable by cable.

use boundwalk_model::{FrameTypes, PortVlans, VlanId};

use super::fabric::{Fabric, InterfaceId, NodeId, PortId, Tagging};
use super::flood::{Flood, Start, Taken, Visit};
use super::frame::{Admitted, Frame};

/// What one switch, or whatever else passes frames, did.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FrameStep {
    /// The node.
    pub node: NodeId,
    /// Where the frame came in.
    pub ingress: PortId,
    /// Its tags as it came in, outermost first.
    pub arrived: Vec<u16>,
    /// The VLAN that it took and why; `None`: the node knows no VLANs.
    pub vlan: Option<(VlanId, Admitted)>,
    /// Where it left.
    pub egress: PortId,
    /// Its tags as it left, outermost first.
    pub left: Vec<u16>,
}

/// The way of one frame from its sender to an interface or an open port.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FrameWay {
    /// Where it began.
    pub start: Start,
    /// The tags that its sender put on, outermost first.
    pub sent: Vec<u16>,
    /// Switches that it crossed.
    pub steps: Vec<FrameStep>,
    /// The interface that took it; `None`: whatever may be plugged in.
    pub interface: Option<InterfaceId>,
}

impl Flood {
    /// How a frame got to where it was taken: a shortest way, with the tags that its sender needs.
    pub fn way(&self, fabric: &Fabric, taken: &Taken) -> FrameWay {
        let tag = taken
            .interface
            .and_then(|interface| fabric.interface(interface).tag);
        let mut tags = settled(taken.frame, tag);
        let mut steps = Vec::new();
        let mut at = (taken.visit, taken.port);
        let start = loop {
            let visit = &self.visits[at.0 as usize];
            let left = tags.clone();
            let below = below(fabric, visit, at.1, tags);
            let arrived = before(fabric, visit, below);
            steps.push(FrameStep {
                node: visit.node,
                ingress: visit.arrived,
                arrived: arrived.clone(),
                vlan: visit.vlan.zip(visit.admitted),
                egress: at.1,
                left,
            });
            tags = arrived;
            match visit.parent {
                Some(parent) => at = parent,
                None => break self.starts[visit.start as usize],
            }
        };
        steps.reverse();
        FrameWay {
            start,
            sent: tags,
            steps,
            interface: taken.interface,
        }
    }
}

/// The tags of a frame as it is taken: an interface with a tag takes a frame whose sender chose it.
fn settled(frame: Frame, tag: Option<VlanId>) -> Vec<u16> {
    match (frame.tags(), tag) {
        ([], Some(tag)) => vec![tag.get()],
        (tags, _) => tags.to_vec(),
    }
}

/// Tags inside a node of what left by a port.
fn below(fabric: &Fabric, visit: &Visit, port: PortId, left: Vec<u16>) -> Vec<u16> {
    let added = match (&fabric.port(port).tagging, visit.vlan) {
        (Tagging::Vlans(vlans), Some(vlan)) => !vlans.untagged.contains(vlan),
        (Tagging::Through(tag), _) => tag.is_some(),
        _ => false,
    };
    if added {
        left.into_iter().skip(1).collect()
    } else {
        left
    }
}

/// Tags on the cable before a frame came into a node.
fn before(fabric: &Fabric, visit: &Visit, below: Vec<u16>) -> Vec<u16> {
    let Some(port) = fabric.ports.get(visit.arrived.0 as usize) else {
        return below;
    };
    let outer = match (&port.tagging, visit.admitted) {
        (Tagging::Through(tag), _) => tag.map(VlanId::get),
        (_, Some(Admitted::Pvid)) if below.is_empty() => None,
        (Tagging::Vlans(vlans), Some(Admitted::Pvid)) => Some(native_tag(vlans)),
        (_, _) => visit.vlan.map(VlanId::get),
    };
    outer.into_iter().chain(below).collect()
}

/// The outer tag that takes a frame into the PVID's VLAN and leaves a tag below: the PVID itself where the
/// port takes tags, else a priority tag.
fn native_tag(vlans: &PortVlans) -> u16 {
    let taken = |vlan: &VlanId| {
        vlans.accept != FrameTypes::Untagged && (vlans.carries(*vlan) || !vlans.ingress_filter)
    };
    vlans.pvid.filter(taken).map_or(0, VlanId::get)
}
