//! Where devices of each segment sit.

use rustc_hash::FxHashSet;
use smallvec::SmallVec;

use crate::model::{PortVlans, SegmentId, Site, VlanId};

use super::fabric::{
    Fabric, Far, FootOf, Members, NodeId, NodeKind, Seat, SocketId, SocketName, Tagging,
};
use super::frame::{admit_tagged, admit_untagged};

/// A segment and the tag that its devices use at some socket.
type Form = (SegmentId, Option<VlanId>);

/// Fills in what follows from the finished graph: member lists, and seats.
pub(super) fn settle(site: &Site, fabric: &mut Fabric) {
    for number in 0..fabric.nodes.len() {
        fabric.nodes[number].members = members(fabric, NodeId(number as u32));
    }
    let mut seats: Vec<Vec<Seat>> = vec![Vec::new(); site.segments.len()];
    fabric.seated = vec![SmallVec::new(); fabric.sockets.len()];
    for socket in fabric.socket_ids() {
        let found = seats_at(fabric, socket);
        for (segment, seat) in found {
            if let Some(list) = seats.get_mut(segment.0) {
                list.push(seat);
                let form = (segment, seat.tag);
                let seated = &mut fabric.seated[socket.0 as usize];
                if seat.is_usual() && !seated.contains(&form) {
                    seated.push(form);
                }
            }
        }
    }
    fabric.seats = seats;
}

/// Member sockets of each VLAN.
fn members(fabric: &Fabric, node: NodeId) -> Members {
    let node = fabric.node(node);
    if !matches!(node.kind, NodeKind::Aware(_)) {
        return Members::default();
    }
    let sets: Vec<_> = node
        .sockets
        .iter()
        .map(|&socket| match &fabric.socket(socket).tagging {
            Tagging::Vlans(vlans) => vlans.members(),
            Tagging::Through(_) => Default::default(),
        })
        .collect();
    let mut start = vec![0u32; 4097];
    for vlan in sets.iter().flat_map(|set| set.iter()) {
        start[usize::from(vlan.get()) + 1] += 1;
    }
    for at in 1..start.len() {
        start[at] += start[at - 1];
    }
    let mut next = start.clone();
    let mut list = vec![0u16; start[4096] as usize];
    for (place, set) in sets.iter().enumerate() {
        for vlan in set.iter() {
            let slot = &mut next[usize::from(vlan.get())];
            list[*slot as usize] = place as u16;
            *slot += 1;
        }
    }
    Members { start, list }
}

fn seats_at(fabric: &Fabric, id: SocketId) -> Vec<(SegmentId, Seat)> {
    let socket = fabric.socket(id);
    let mut seats = Vec::new();
    if !is_place_for_devices(fabric, id) {
        return seats;
    }
    if let Far::Feet(feet) = &socket.far {
        for &number in feet {
            let foot = fabric.foot(number);
            let tag = match socket.tagging {
                // The assumed socket of a tagged interface does the tagging itself.
                Tagging::Through(Some(tag)) => Some(tag),
                _ => foot.tag,
            };
            let seat = Seat {
                socket: id,
                tag,
                foot: Some(number),
            };
            seats.push((foot.segment, seat));
        }
    }
    for (segment, tag) in forms(fabric, id) {
        let taken = |(known, seat): &(SegmentId, Seat)| *known == segment && seat.tag == tag;
        if !seats.iter().any(taken) {
            let seat = Seat {
                socket: id,
                tag,
                foot: None,
            };
            seats.push((segment, seat));
        }
    }
    seats
}

/// Whether hosts are plugged in there, or nothing yet: a gateway, router or switch behaves as configured.
fn is_place_for_devices(fabric: &Fabric, id: SocketId) -> bool {
    let socket = fabric.socket(id);
    match &socket.far {
        Far::Open => true,
        Far::Dead => false,
        Far::Feet(feet) => {
            let host = |&foot| matches!(fabric.foot(foot).of, FootOf::Host(..));
            let inside = matches!(fabric.node(socket.node).kind, NodeKind::Bridge(_));
            feet.iter().all(host) && (!inside || socket.name != SocketName::Unnamed)
        }
        Far::Sockets(far) => far.iter().all(|&far| {
            matches!(
                fabric.node(fabric.socket(far).node).kind,
                NodeKind::Bridge(_)
            )
        }),
    }
}

/// Segments whose VLAN a device at a socket sends into, with the tag that it needs.
fn forms(fabric: &Fabric, id: SocketId) -> Vec<Form> {
    let socket = fabric.socket(id);
    match (&socket.tagging, fabric.node(socket.node).kind) {
        (Tagging::Vlans(vlans), _) => port_forms(fabric, vlans),
        // What a host that bridges passes on is no place of its own.
        (_, NodeKind::Bridge(_)) => Vec::new(),
        (_, NodeKind::Assumed(segment)) => match socket.far {
            Far::Open => vec![(segment, None)],
            _ => Vec::new(),
        },
        _ => beyond(fabric, socket.node),
    }
}

fn port_forms(fabric: &Fabric, vlans: &PortVlans) -> Vec<Form> {
    let mut forms = Vec::new();
    let native = admit_untagged(vlans).ok().map(|(vlan, _)| vlan);
    forms.extend(native.and_then(|vlan| Some((fabric.segment_of(vlan)?, None))));
    for vlan in vlans.members().iter() {
        if native != Some(vlan) && admit_tagged(vlans, vlan).is_ok() {
            forms.extend(fabric.segment_of(vlan).map(|segment| (segment, Some(vlan))));
        }
    }
    forms
}

/// Segments that a device on a node without VLANs can be part of: those of the ports and interfaces where
/// its frames come out.
fn beyond(fabric: &Fabric, from: NodeId) -> Vec<Form> {
    let mut forms: Vec<Form> = Vec::new();
    let mut seen: FxHashSet<NodeId> = FxHashSet::default();
    let mut open = vec![from];
    while let Some(node) = open.pop() {
        if !seen.insert(node) {
            continue;
        }
        for &socket in &fabric.node(node).sockets {
            match &fabric.socket(socket).far {
                Far::Open | Far::Dead => {}
                Far::Feet(feet) => {
                    let feet = feet.iter().map(|&foot| fabric.foot(foot));
                    forms.extend(feet.map(|foot| (foot.segment, foot.tag)));
                }
                Far::Sockets(far) => {
                    for &far in far {
                        match &fabric.socket(far).tagging {
                            Tagging::Vlans(vlans) => forms.extend(port_forms(fabric, vlans)),
                            Tagging::Through(_) => open.push(fabric.socket(far).node),
                        }
                    }
                }
            }
        }
    }
    forms.sort_unstable();
    forms.dedup();
    forms
}
