//! Questions about single ports and cables, answered by the frames that cross them.

use rustc_hash::FxHashSet;

use boundwalk_model::{PortVlans, SwitchId, VlanId};

use super::fabric::{
    Fabric, FabricPort, Far, InterfaceId, InterfaceOf, NodeId, NodeKind, PortId, PortName, Tagging,
    WiredInterface,
};
use super::flood::{Flood, Start, Visit, departing};
use super::frame::{Admitted, Frame, Refused, admit, egress};
use super::wiring::hostile_starts;

/// Where a frame comes to before any switch that knows VLANs has passed it on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Arrival {
    /// At a port of a switch that knows VLANs: the VLAN that it takes there, or why it is dropped.
    Port(PortId, Result<(VlanId, Admitted), Refused>),
    /// At an interface that takes it.
    WiredInterface(InterfaceId),
}

/// A port that frames of a hostile device leave without the tag of their VLAN, with one below of its choice.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Exposed {
    /// The port.
    pub port: PortId,
    /// The VLAN that they leave untagged.
    pub vlan: VlanId,
    /// A place from which a device can have sent them.
    pub place: PortId,
}

impl Fabric {
    /// Live ports and LAGs of switches; not where the part of a segment that no file describes is joined on.
    pub fn ports(&self) -> impl Iterator<Item = (PortId, &FabricPort)> {
        self.port_ids()
            .map(|id| (id, self.port(id)))
            .filter(|(_, port)| is_named(port))
    }

    /// Those of switches that know VLANs, with their VLANs.
    pub fn vlan_ports(&self) -> impl Iterator<Item = (PortId, &FabricPort, &PortVlans)> {
        self.ports().filter_map(|(id, port)| match &port.tagging {
            Tagging::Vlans(vlans) => Some((id, port, &**vlans)),
            Tagging::Through(_) => None,
        })
    }

    /// The VLANs of a port; `None` where it knows none.
    pub fn vlans(&self, id: PortId) -> Option<&PortVlans> {
        match &self.port(id).tagging {
            Tagging::Vlans(vlans) => Some(vlans),
            Tagging::Through(_) => None,
        }
    }

    /// The node of a switch.
    pub fn switch(&self, id: SwitchId) -> Option<NodeId> {
        let of = |kind| matches!(kind, NodeKind::Aware(at) | NodeKind::Unaware(at) if at == id);
        let at = self.nodes.iter().position(|node| of(node.kind))?;
        Some(NodeId(at as u32))
    }

    /// Whether a LAG of a switch forms.
    #[must_use]
    pub fn forms(&self, switch: SwitchId, lag: usize) -> bool {
        let name = PortName::Lag(switch, lag);
        self.ports.iter().any(|port| port.name == name)
    }

    /// Whether nothing is plugged in at a port, or nothing but hosts.
    pub fn is_for_devices(&self, id: PortId) -> bool {
        let port = self.port(id);
        match &port.far {
            Far::Open => true,
            Far::Dead => false,
            Far::Interfaces(interfaces) => {
                let host =
                    |&interface| matches!(self.interface(interface).of, InterfaceOf::Host(..));
                let bridge = matches!(self.node(port.node).kind, NodeKind::Bridge(_));
                let inside = bridge && port.name == PortName::Unnamed;
                !inside && !interfaces.is_empty() && interfaces.iter().all(host)
            }
            Far::Ports(far) => far.iter().all(|&far| {
                let beyond = self.node(self.port(far).node).kind;
                matches!(beyond, NodeKind::Bridge(_))
            }),
        }
    }

    /// Interfaces of hosts that are plugged in at a port, with the tag that each uses on the cable.
    pub fn hosts_at(&self, id: PortId) -> Vec<(InterfaceId, Option<VlanId>)> {
        match &self.port(id).far {
            Far::Interfaces(interfaces) => {
                let host = |interface: &InterfaceId| {
                    matches!(self.interface(*interface).of, InterfaceOf::Host(..))
                };
                interfaces
                    .iter()
                    .copied()
                    .filter(host)
                    .map(|interface| (interface, self.interface(interface).tag))
                    .collect()
            }
            Far::Ports(far) => {
                let far = far.iter().map(|&far| self.port(far));
                let bridging = far.filter_map(|far| match (far.name, &far.tagging) {
                    (PortName::Interface(host, at), &Tagging::Through(tag)) => {
                        Some((self.interface_of(InterfaceOf::Host(host, at)), tag))
                    }
                    _ => None,
                });
                bridging.collect()
            }
            Far::Open | Far::Dead => Vec::new(),
        }
    }

    /// The cables between two ports of switches that know VLANs, once from either end.
    pub fn trunks(&self) -> impl Iterator<Item = (PortId, PortId)> {
        self.vlan_ports().flat_map(move |(near, port, _)| {
            let far = match &port.far {
                Far::Ports(far) => &far[..],
                _ => &[],
            };
            far.iter()
                .copied()
                .filter(|&far| self.vlans(far).is_some())
                .map(move |far| (near, far))
        })
    }

    /// A frame of a VLAN, with nothing below its tag, as a port sends it; `None`: it does not.
    pub fn sent(&self, id: PortId, vlan: VlanId) -> Option<Frame> {
        egress(self.vlans(id)?, vlan, Frame::UNTAGGED)
    }

    /// What a port does with a frame that arrives; `None` where it knows no VLANs.
    pub fn taken(&self, id: PortId, frame: Frame) -> Option<Result<(VlanId, Admitted), Refused>> {
        let taken = admit(self.vlans(id)?, frame);
        Some(taken.map(|(vlan, _, why)| (vlan, why)))
    }

    /// Where frames of an interface come to first, with the frame on the cable. Of a host that bridges: what
    /// leaves it by that interface.
    pub fn sent_by(&self, id: InterfaceId) -> Vec<(PortId, Frame)> {
        let interface = self.interface(id);
        if let Some(own) = self.bridging(interface) {
            let frame = match own.tagging {
                Tagging::Through(tag) => Frame::of(tag),
                Tagging::Vlans(_) => Frame::UNTAGGED,
            };
            let ports = match &own.far {
                Far::Ports(far) => &far[..],
                _ => &[],
            };
            return ports.iter().map(|&far| (far, frame)).collect();
        }
        interface
            .ports
            .iter()
            .map(|&port| (port, Frame::of(interface.tag)))
            .collect()
    }

    /// Where the cable of an interface of a host that bridges is plugged in: the addresses sit behind it.
    fn bridging(&self, interface: &WiredInterface) -> Option<&FabricPort> {
        let InterfaceOf::Host(host, at) = interface.of else {
            return None;
        };
        let inside = self.node(self.port(*interface.ports.first()?).node);
        let ports = inside.ports.iter().map(|&port| self.port(port));
        let name = PortName::Interface(host, at);
        ports
            .filter(|_| matches!(inside.kind, NodeKind::Bridge(_)))
            .find(|port| port.name == name)
    }

    /// Where frames on cables come to: at once, or through switches that know no VLANs. What arrives at a host
    /// that bridges is left out.
    ///
    /// O(ports of those switches) for each frame.
    pub fn arrivals(&self, sent: &[(PortId, Frame)]) -> Vec<Arrival> {
        let mut seen: FxHashSet<(PortId, Frame)> = FxHashSet::default();
        let mut open = sent.to_vec();
        let mut found = Vec::new();
        while let Some((id, frame)) = open.pop() {
            if !seen.insert((id, frame)) {
                continue;
            }
            if let Some(taken) = self.taken(id, frame) {
                found.push(Arrival::Port(id, taken));
                continue;
            }
            if !matches!(self.node(self.port(id).node).kind, NodeKind::Unaware(_)) {
                continue;
            }
            for (far, frame) in self.passed_on(id, frame) {
                match far {
                    Far::Ports(far) => open.extend(far.iter().map(|&far| (far, frame))),
                    Far::Interfaces(interfaces) => {
                        let takes =
                            |interface: &InterfaceId| frame.fits(self.interface(*interface).tag);
                        let interfaces = interfaces.iter().copied().filter(takes);
                        found.extend(interfaces.map(Arrival::WiredInterface));
                    }
                    Far::Open | Far::Dead => {}
                }
            }
        }
        found
    }

    /// What a switch that knows no VLANs sends on, and to where.
    fn passed_on(&self, id: PortId, frame: Frame) -> Vec<(&Far, Frame)> {
        let visit = Visit {
            node: self.port(id).node,
            vlan: None,
            below: frame,
            arrived: id,
            admitted: None,
            parent: None,
            start: 0,
        };
        let others = self.node(visit.node).ports.iter();
        let others =
            others.filter(|&&out| out != id && !(self.is_isolated(id) && self.is_isolated(out)));
        let sent = others.filter_map(|&out| {
            let frame = departing(self, &visit, out)?;
            Some((&self.port(out).far, frame))
        });
        sent.collect()
    }

    /// All that hostile devices send, wherever one may be.
    #[must_use]
    pub fn hostile_anywhere(&self) -> Vec<Start> {
        let all = self
            .origins()
            .flat_map(|origin| hostile_starts(self, origin));
        let mut seen: FxHashSet<Start> = FxHashSet::default();
        all.filter(|&start| seen.insert(start)).collect()
    }

    /// Ports that frames of a flood leave without the tag of their VLAN, with a tag below that the sender may
    /// choose; each with each VLAN once.
    #[must_use]
    pub fn exposed(&self, flood: &Flood) -> Vec<Exposed> {
        let mut seen: FxHashSet<(PortId, VlanId)> = FxHashSet::default();
        let mut found = Vec::new();
        for visit in &flood.visits {
            let open = visit.below.outer().is_none() && visit.below.free() > 0;
            let (Some(vlan), Start::AttachPoint(place, _), true) =
                (visit.vlan, flood.starts[visit.start as usize], open)
            else {
                continue;
            };
            let node = self.node(visit.node);
            for &member in node.members.of(vlan.get()) {
                let port = node.ports[usize::from(member)];
                let vlans = self.vlans(port).filter(|_| is_named(self.port(port)));
                let bare = vlans.is_some_and(|vlans| vlans.untagged.contains(vlan));
                let blocked = self.is_isolated(visit.arrived) && self.is_isolated(port);
                let back = visit.arrived == port;
                if bare && !blocked && !back && seen.insert((port, vlan)) {
                    found.push(Exposed { port, vlan, place });
                }
            }
        }
        found
    }
}

/// Whether the file describes it as a port or LAG of a switch.
fn is_named(port: &FabricPort) -> bool {
    matches!(port.name, PortName::Port(..) | PortName::Lag(..))
}
