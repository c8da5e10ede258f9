//! Settings that traffic inside segments needs: changing one of them cuts more than a way round.

use rustc_hash::FxHashSet;

use boundwalk_forwarding::Network;
use boundwalk_forwarding::layer2::frame::admit_untagged;
use boundwalk_forwarding::layer2::{
    Fabric, Far, FrameWay, InterfaceId, InterfaceOf, PortId, Start, Tagging, flood,
};
use boundwalk_model::{SegmentId, VlanId};

use super::setting::{PortKey, Setting};

/// Settings that traffic inside segments needs.
#[derive(Clone, Debug, Default)]
pub struct Needed(FxHashSet<Setting>);

impl Needed {
    /// Floods from the interfaces that stand where the file says, within the VLAN of their segment.
    pub fn new(network: &Network<'_>) -> Self {
        let mut needed = Self::default();
        let fabric = &network.fabric;
        for port in fabric.port_ids() {
            needed.add_access(network, port);
        }
        for interface in fabric.interface_ids() {
            needed.add_ways(network, interface);
        }
        needed
    }

    /// Whether a setting is needed.
    pub fn has(&self, setting: Setting) -> bool {
        self.0.contains(&setting)
    }

    /// A port for devices of one VLAN needs its PVID and its membership, whatever is plugged in: a device of
    /// another segment there is the fault of its cable.
    fn add_access(&mut self, network: &Network<'_>, id: PortId) {
        let (site, fabric) = (network.site, &network.fabric);
        let port = fabric.port(id);
        let (Tagging::Vlans(vlans), Some(key)) = (&port.tagging, PortKey::of(site, port.name))
        else {
            return;
        };
        let Some(pvid) = vlans.pvid.filter(|pvid| vlans.untagged.contains(*pvid)) else {
            return;
        };
        let fits = match &port.far {
            Far::Open => true,
            Far::Interfaces(interfaces) => interfaces
                .iter()
                .any(|&interface| fabric.interface(interface).tag.is_none()),
            Far::Ports(_) | Far::Dead => false,
        };
        if fits {
            self.0.insert(Setting::Pvid(key, pvid));
            self.0.insert(Setting::Member(key, pvid));
        }
    }

    /// Ways of an interface to the others of its segment.
    fn add_ways(&mut self, network: &Network<'_>, from: InterfaceId) {
        let (site, fabric) = (network.site, &network.fabric);
        let interface = fabric.interface(from);
        let Some(vlan) = site.segment(interface.segment).vlan.map(|vlan| vlan.value) else {
            return;
        };
        let flood = flood(fabric, &[Start::WiredInterface(from)]);
        for taken in &flood.taken {
            let mine = match taken.interface {
                Some(other) => fabric.interface(other).segment == interface.segment,
                None => port_segments(fabric, taken.port).contains(&interface.segment),
            };
            if mine {
                let way = flood.way(fabric, taken);
                if stays_in(&way, vlan) {
                    self.add_way(network, &way, vlan);
                }
            }
        }
    }

    fn add_way(&mut self, network: &Network<'_>, way: &FrameWay, vlan: VlanId) {
        let (site, fabric) = (network.site, &network.fabric);
        let key = |port: PortId| {
            let port = fabric.ports.get(port.0 as usize)?;
            PortKey::of(site, port.name)
        };
        for step in &way.steps {
            if let Some(port) = key(step.ingress) {
                self.0.insert(Setting::Member(port, vlan));
                if step.arrived.is_empty() {
                    self.0.insert(Setting::Pvid(port, vlan));
                }
            }
            if let Some(port) = key(step.egress) {
                self.0.insert(Setting::Member(port, vlan));
            }
        }
    }
}

fn stays_in(way: &FrameWay, vlan: VlanId) -> bool {
    let mut steps = way.steps.iter();
    steps.all(|step| step.vlan.is_none_or(|(there, _)| there == vlan))
}

/// Segments that the configuration of a port puts untagged devices on, or for which its cable's interfaces
/// have the tag.
pub(super) fn port_segments(fabric: &Fabric, id: PortId) -> Vec<SegmentId> {
    let port = fabric.port(id);
    let Tagging::Vlans(vlans) = &port.tagging else {
        return fabric
            .seated(id)
            .iter()
            .map(|(segment, _)| *segment)
            .collect();
    };
    let mut segments: Vec<SegmentId> = Vec::new();
    let native = admit_untagged(vlans).ok().map(|(vlan, _)| vlan);
    let here = |vlan| fabric.segments_of(port.node, vlan).iter().copied();
    segments.extend(native.into_iter().flat_map(here));
    if let Far::Interfaces(interfaces) = &port.far {
        let tags = interfaces.iter().filter_map(|&interface| {
            let interface = fabric.interface(interface);
            let router = matches!(interface.of, InterfaceOf::Router(..));
            interface.tag.filter(|tag| vlans.carries(*tag) || router)
        });
        segments.extend(tags.flat_map(here));
    }
    segments
}

#[cfg(test)]
mod tests {
    use boundwalk_forwarding::layer2::frame::{Admitted, Frame};
    use boundwalk_forwarding::layer2::{FrameStep, NodeId};

    use super::*;

    #[test]
    fn a_way_stays_in_a_vlan_where_every_switch_on_it_that_knows_vlans_took_it_so() {
        let vlan = |number| VlanId::new(number).expect("a VLAN");
        let way = |vlans: &[Option<u16>]| FrameWay {
            start: Start::AttachPoint(PortId(0), Frame::UNTAGGED),
            sent: Vec::new(),
            steps: vlans
                .iter()
                .map(|there| FrameStep {
                    node: NodeId(0),
                    ingress: PortId(0),
                    arrived: Vec::new(),
                    vlan: there.map(|number| (vlan(number), Admitted::Pvid)),
                    egress: PortId(0),
                    left: Vec::new(),
                })
                .collect(),
            interface: None,
        };
        for (vlans, stays) in [
            (&[][..], true),
            (&[None], true),
            (&[Some(10), None, Some(10)], true),
            (&[Some(20)], false),
            (&[Some(10), Some(20)], false),
        ] {
            assert_eq!(stays_in(&way(vlans), vlan(10)), stays, "{vlans:?}");
        }
    }
}
