//! Which segment a VLAN number means, part by part.
//!
//! A VLAN number means something within one *part* of layer 2: nodes joined by cables that carry frames. The same
//! number in two parts is two VLANs.

use boundwalk_model::{SegmentId, Site, VlanId};
use petgraph::unionfind::UnionFind;

use super::fabric::{Fabric, Far, NodeId, NodeKind};
use super::vlan_segments::{Named, VlanSegments};

impl VlanSegments {
    /// Reads the VLANs of a site. To be asked before anything is joined that only an assumption joins.
    pub(super) fn new(site: &Site, fabric: &Fabric) -> Self {
        let mut segments = Self {
            by_number: by_number(site),
            ..Self::default()
        };
        if segments.by_number.iter().any(|named| 1 < named.len()) {
            segments.parts = parts(fabric);
            segments.share(site, fabric);
        }
        segments
    }

    /// The segments of a number at a node.
    pub(super) fn of(&self, node: NodeId, vlan: VlanId) -> &[SegmentId] {
        let all = self.by_number.get(usize::from(vlan.get()));
        let all = all.map_or(&[][..], |named| named.as_slice());
        if all.len() < 2 {
            return all;
        }
        // Nodes that an assumption adds later are in no part.
        let part = self.parts.get(node.0 as usize);
        let named = part.and_then(|&part| self.shared.get(&(part, vlan)));
        named.map_or(&[][..], |named| named.as_slice())
    }

    /// Which of several segments of one number each part means: those that it names, else those that no part names.
    fn share(&mut self, site: &Site, fabric: &Fabric) {
        let anchored = anchored(site, fabric, &self.parts);
        let lives = |segment: SegmentId, part: u32| anchored.contains(&(segment, part));
        let nowhere = |segment: SegmentId| !anchored.iter().any(|&(known, _)| known == segment);
        let mut parts = self.parts.clone();
        parts.sort_unstable();
        parts.dedup();
        for (number, all) in self.by_number.iter().enumerate() {
            let Some(vlan) = VlanId::new(number as u16).filter(|_| 1 < all.len()) else {
                continue;
            };
            for &part in &parts {
                let mut named: Named = all.iter().copied().filter(|&id| lives(id, part)).collect();
                if named.is_empty() {
                    named = all.iter().copied().filter(|&id| nowhere(id)).collect();
                }
                self.shared.insert((part, vlan), named);
            }
        }
    }
}

fn by_number(site: &Site) -> Vec<Named> {
    let highest = site
        .segments
        .iter()
        .filter_map(|segment| segment.vlan)
        .map(|vlan| usize::from(vlan.value.get()))
        .max();
    let mut segments = vec![Named::new(); highest.map_or(0, |highest| highest + 1)];
    for (number, segment) in site.segments.iter().enumerate() {
        if let Some(vlan) = segment.vlan {
            segments[usize::from(vlan.value.get())].push(SegmentId(number));
        }
    }
    segments
}

/// The part of each node, as the number of some node in it.
fn parts(fabric: &Fabric) -> Vec<u32> {
    let mut joined = UnionFind::new(fabric.nodes.len());
    for (node, ports) in (0..).zip(fabric.nodes.iter().map(|node| &node.ports)) {
        for &port in ports {
            if let Far::Ports(far) = &fabric.port(port).far {
                for &far in far {
                    joined.union(node, fabric.port(far).node.0);
                }
            }
        }
    }
    joined.into_labeling()
}

/// Segments with the parts that name them: by a port or LAG, or by an interface that is cabled there.
fn anchored(site: &Site, fabric: &Fabric, parts: &[u32]) -> Vec<(SegmentId, u32)> {
    let mut anchored: Vec<(SegmentId, u32)> = Vec::new();
    for (number, node) in fabric.nodes.iter().enumerate() {
        let switch = match node.kind {
            NodeKind::Aware(id) | NodeKind::Unaware(id) => &site.switches[id.0],
            NodeKind::Bridge(_) | NodeKind::Neighbours(_) | NodeKind::Assumed(_) => continue,
        };
        anchored.extend(switch.named.iter().map(|&segment| (segment, parts[number])));
    }
    for interface in &fabric.interfaces {
        let nodes = interface.ports.iter().map(|&port| fabric.port(port).node);
        // A cable without a switch at either end is no part: nothing there goes by VLAN numbers.
        let nodes =
            nodes.filter(|&node| !matches!(fabric.node(node).kind, NodeKind::Neighbours(_)));
        anchored.extend(nodes.map(|node| (interface.segment, parts[node.0 as usize])));
    }
    anchored.sort_unstable();
    anchored.dedup();
    anchored
}
