//! Where devices of each segment sit.

use rustc_hash::{FxHashMap, FxHashSet};
use smallvec::SmallVec;

use boundwalk_model::{PortVlans, SegmentId, Site, SwitchId, VlanId, VlanSet};

use super::fabric::{
    AttachPoint, Fabric, Far, InterfaceId, InterfaceOf, Members, NodeId, NodeKind, PortId,
    PortName, Tagging, Unclaimed, UnclaimedId,
};
use super::flood::untag;
use super::frame::{Frame, admit_tagged, admit_untagged};

/// A segment and the tag that its devices use at some port.
type Form = (SegmentId, Option<VlanId>);

/// Fills in what follows from the finished graph: member lists, and attachment points.
pub(super) fn settle(site: &Site, fabric: &mut Fabric) {
    for number in 0..fabric.nodes.len() {
        fabric.nodes[number].members = members(fabric, NodeId(number as u32));
    }
    let mut attach_points: Vec<Vec<AttachPoint>> = vec![Vec::new(); site.segments.len()];
    fabric.seated = vec![SmallVec::new(); fabric.ports.len()];
    fabric.claimed = vec![SmallVec::new(); fabric.ports.len()];
    let mut known = Known::new(site, fabric);
    for port in fabric.port_ids() {
        let found = seats_at(fabric, &mut known, port);
        for (segment, attach_point) in found {
            if let Some(list) = attach_points.get_mut(segment.0) {
                list.push(attach_point);
                let form = (segment, attach_point.tag);
                let claimed = &mut fabric.claimed[port.0 as usize];
                if !claimed.contains(&segment) {
                    claimed.push(segment);
                }
                let seated = &mut fabric.seated[port.0 as usize];
                if attach_point.is_usual() && !seated.contains(&form) {
                    seated.push(form);
                }
            }
        }
    }
    fabric.placeless = placeless(fabric, &attach_points);
    fabric.attach_points = attach_points;
    find_unclaimed(fabric);
}

/// Interfaces of hosts whose frames start at no place to plug in.
fn placeless(fabric: &Fabric, attach_points: &[Vec<AttachPoint>]) -> Vec<InterfaceId> {
    let attach_points = attach_points.iter().flatten();
    let starts = |attach_point: &&AttachPoint| {
        let interface = attach_point
            .interface
            .map(|interface| fabric.interface(interface));
        interface.is_some_and(|interface| interface.ports.contains(&attach_point.port))
    };
    let placed: FxHashSet<InterfaceId> = attach_points
        .filter(starts)
        .filter_map(|attach_point| attach_point.interface)
        .collect();
    let hosts = fabric.interface_ids();
    let hosts =
        hosts.filter(|&interface| matches!(fabric.interface(interface).of, InterfaceOf::Host(..)));
    hosts
        .filter(|interface| !placed.contains(interface))
        .collect()
}

/// Groups the live ports that belong to no segment, by switch and by the VLAN of untagged frames.
fn find_unclaimed(fabric: &mut Fabric) {
    let mut claimed: FxHashSet<PortId> = FxHashSet::default();
    claimed.extend(
        fabric
            .attach_points
            .iter()
            .flatten()
            .map(|attach_point| attach_point.port),
    );
    let mut groups: FxHashMap<(SwitchId, Option<VlanId>), UnclaimedId> = FxHashMap::default();
    for id in fabric.port_ids() {
        let port = fabric.port(id);
        let named = matches!(port.name, PortName::Port(..) | PortName::Lag(..));
        if !named || claimed.contains(&id) || !fabric.is_for_devices(id) {
            continue;
        }
        let (switch, vlan) = match (fabric.node(port.node).kind, &port.tagging) {
            (NodeKind::Aware(switch), Tagging::Vlans(vlans)) => {
                (switch, admit_untagged(vlans).ok().map(|(vlan, _)| vlan))
            }
            (NodeKind::Unaware(switch), _) => (switch, None),
            _ => continue,
        };
        let next = UnclaimedId(fabric.unclaimed.len() as u32);
        let group = *groups.entry((switch, vlan)).or_insert(next);
        if group == next {
            fabric.unclaimed.push(Unclaimed {
                switch,
                vlan,
                ports: Vec::new(),
            });
        }
        fabric.unclaimed[group.0 as usize].ports.push(id);
        fabric.unclaimed_at.insert(id, group);
    }
}

/// Member ports of each VLAN.
fn members(fabric: &Fabric, node: NodeId) -> Members {
    let node = fabric.node(node);
    if !matches!(node.kind, NodeKind::Aware(_)) {
        return Members::default();
    }
    let sets: Vec<_> = node
        .ports
        .iter()
        .map(|&port| match &fabric.port(port).tagging {
            Tagging::Vlans(vlans) => vlans.members(),
            Tagging::Through(_) => Default::default(),
        })
        .collect();
    // Up to the highest VLAN of the switch: most use few and low numbers, and many fabrics are built in a search.
    let highest = sets.iter().filter_map(VlanSet::highest).max();
    let mut start = vec![0u32; highest.map_or(0, |vlan| usize::from(vlan.get())) + 2];
    for vlan in sets.iter().flat_map(VlanSet::iter) {
        start[usize::from(vlan.get()) + 1] += 1;
    }
    for at in 1..start.len() {
        start[at] += start[at - 1];
    }
    let mut next = start.clone();
    let mut list = vec![0u16; start[start.len() - 1] as usize];
    for (place, set) in sets.iter().enumerate() {
        for vlan in set.iter() {
            let slot = &mut next[usize::from(vlan.get())];
            list[*slot as usize] = place as u16;
            *slot += 1;
        }
    }
    Members { start, list }
}

fn seats_at(fabric: &Fabric, known: &mut Known, id: PortId) -> Vec<(SegmentId, AttachPoint)> {
    let mut attach_points = Vec::new();
    if !fabric.is_for_devices(id) {
        return attach_points;
    }
    for (number, tag) in fabric.hosts_at(id) {
        let attach_point = AttachPoint {
            port: id,
            tag,
            interface: Some(number),
        };
        attach_points.push((fabric.interface(number).segment, attach_point));
    }
    for (segment, tag) in forms(fabric, known, id) {
        let taken = |(known, attach_point): &(SegmentId, AttachPoint)| {
            *known == segment && attach_point.tag == tag
        };
        if !attach_points.iter().any(taken) {
            let attach_point = AttachPoint {
                port: id,
                tag,
                interface: None,
            };
            attach_points.push((segment, attach_point));
        }
    }
    attach_points
}

/// Segments whose VLAN a device at a port sends into, with the tag that it needs.
fn forms(fabric: &Fabric, known: &mut Known, id: PortId) -> Vec<Form> {
    let port = fabric.port(id);
    match (&port.tagging, fabric.node(port.node).kind) {
        (Tagging::Vlans(vlans), _) => port_forms(fabric, port.node, vlans),
        // What a host that bridges passes on is no place of its own.
        (_, NodeKind::Bridge(_)) => Vec::new(),
        (_, NodeKind::Assumed(segment)) => match port.far {
            Far::Open => vec![(segment, None)],
            _ => Vec::new(),
        },
        _ => known.beyond(fabric, id),
    }
}

fn port_forms(fabric: &Fabric, node: NodeId, vlans: &PortVlans) -> Vec<Form> {
    let mut forms = Vec::new();
    let mut add = |vlan, tag| {
        let segments = fabric.segments_of(node, vlan).iter();
        forms.extend(segments.map(|&segment| (segment, tag)));
    };
    let native = admit_untagged(vlans).ok().map(|(vlan, _)| vlan);
    native.into_iter().for_each(|vlan| add(vlan, None));
    for vlan in vlans.members().iter() {
        if native != Some(vlan) && admit_tagged(vlans, vlan).is_ok() {
            add(vlan, Some(vlan));
        }
    }
    forms
}

/// The VLAN of a plain device's frame at a port, as [`port_forms`] lists them.
fn plain(vlans: &PortVlans, tags: &[u16]) -> Option<VlanId> {
    let native = admit_untagged(vlans).ok().map(|(vlan, _)| vlan);
    match tags {
        [] => native,
        &[tag] => VlanId::new(tag).filter(|&vlan| {
            native != Some(vlan) && vlans.carries(vlan) && admit_tagged(vlans, vlan).is_ok()
        }),
        _ => None,
    }
}

/// What is known of places on nodes without VLANs.
struct Known {
    /// Tags that plain devices may use: none, or that of a segment or an interface.
    tags: Vec<Option<VlanId>>,
    /// Forms at all places of a node that are alike.
    forms: FxHashMap<(NodeId, bool), Vec<Form>>,
}

impl Known {
    fn new(site: &Site, fabric: &Fabric) -> Self {
        let segments = site
            .segments
            .iter()
            .filter_map(|segment| segment.vlan)
            .map(|vlan| vlan.value);
        let interfaces = fabric
            .interfaces
            .iter()
            .filter_map(|interface| interface.tag);
        let mut tags: Vec<Option<VlanId>> = segments.chain(interfaces).map(Some).collect();
        tags.push(None);
        tags.sort_unstable();
        tags.dedup();
        Self {
            tags,
            forms: FxHashMap::default(),
        }
    }

    /// Segments that a device on a node without VLANs can be part of: those of the ports and interfaces where
    /// its frames come out.
    fn beyond(&mut self, fabric: &Fabric, id: PortId) -> Vec<Form> {
        let port = fabric.port(id);
        // Places without anything that passes frames on differ only by what sits there already.
        let alike = !matches!(port.far, Far::Ports(_));
        let key = (port.node, port.isolated);
        if let Some(forms) = self.forms.get(&key).filter(|_| alike) {
            return forms.clone();
        }
        let mut forms: Vec<Form> = Vec::new();
        for &tag in &self.tags {
            let segments = segments_of(fabric, id, Frame::of(tag)).into_iter();
            forms.extend(segments.map(|segment| (segment, tag)));
        }
        forms.sort_unstable();
        forms.dedup();
        if alike {
            self.forms.insert(key, forms.clone());
        }
        forms
    }
}

/// Segments that a plain frame comes to, by nodes without VLANs, at the first port or interface that has any.
fn segments_of(fabric: &Fabric, from: PortId, frame: Frame) -> Vec<SegmentId> {
    let mut segments = Vec::new();
    let mut seen: FxHashSet<(PortId, Frame)> = FxHashSet::default();
    let mut open = vec![(from, frame)];
    while let Some((id, frame)) = open.pop() {
        if !seen.insert((id, frame)) {
            continue;
        }
        if let Tagging::Vlans(vlans) = &fabric.port(id).tagging {
            let node = fabric.port(id).node;
            let vlan = plain(vlans, frame.tags()).into_iter();
            segments.extend(vlan.flat_map(|vlan| fabric.segments_of(node, vlan)));
            continue;
        }
        for (far, frame) in passed(fabric, id, frame) {
            match far {
                Far::Open | Far::Dead => {}
                Far::Interfaces(interfaces) => {
                    let taking = interfaces
                        .iter()
                        .map(|&interface| fabric.interface(interface))
                        .filter(|interface| frame.fits(interface.tag));
                    segments.extend(taking.map(|interface| interface.segment));
                }
                Far::Ports(far) => open.extend(far.iter().map(|&far| (far, frame))),
            }
        }
    }
    segments
}

/// What a node without VLANs passes on of a frame, and to where.
fn passed(fabric: &Fabric, id: PortId, frame: Frame) -> Vec<(&Far, Frame)> {
    let here = fabric.port(id);
    let inside = match here.tagging {
        Tagging::Through(Some(tag)) => untag(frame, tag),
        _ => Some(frame),
    };
    let Some(inside) = inside else {
        return Vec::new();
    };
    let others = fabric
        .node(here.node)
        .ports
        .iter()
        .map(|&out| (out, fabric.port(out)))
        .filter(|(number, out)| {
            // Alike places have the same forms: what sits at the first one itself counts too.
            let back = *number == id && matches!(out.far, Far::Ports(_));
            !(back || here.isolated && out.isolated)
        });
    let copies = others.filter_map(|(_, out)| match out.tagging {
        Tagging::Through(Some(tag)) => Some((&out.far, inside.pushed(tag.get())?)),
        _ => Some((&out.far, inside)),
    });
    copies.collect()
}
