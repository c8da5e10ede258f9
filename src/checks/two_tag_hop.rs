//! A second tag that comes to light behind a trunk.

use crate::diagnostic::{Check, Severity};
use crate::forwarding::layer2::{
    Exposed, Fabric, Far, Flood, Frame, SocketId, Start, Taken, flood,
};
use crate::model::{VlanId, VlanSet};

use super::report::{Report, found};
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "two-tag-hop",
    severity: Severity::Warning,
    summary: "a VLAN that leaves untagged by a cable where others are tagged, and that devices sit in",
    why: "A device in that VLAN sends frames with a tag of its choice below the one the switch looks at (or \
        below a priority tag). The switch takes the outer tag off at this port; the next device sees the \
        inner one and puts the frame into another VLAN. One way, but past every rule.",
    fine_when: "The switch is known to drop or rewrite what comes with a tag from the ports of that VLAN, \
        priority-tagged frames included.",
    remedy: "Tag every VLAN on the cable, or leave untagged one that no port for devices is in.",
    references: &[
        "RFC 4363, dot1qPvid: untagged and priority-tagged frames take the PVID",
        "seen with a Linux 6.1 bridge: the inner tag is exposed wherever the outer VLAN leaves untagged",
    ],
    fires: include_str!("examples/two-tag-hop.fires.toml"),
    quiet: include_str!("examples/two-tag-hop.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    let fabric = view.fabric;
    let sent = flood(fabric, &fabric.hostile_starts_everywhere());
    let tags = tags_in_use(fabric);
    // One device that can do it is enough for each port and VLAN.
    let mut found_at: Vec<(SocketId, VlanId, SocketId, Vec<VlanId>)> = Vec::new();
    for exposed in fabric.exposed(&sent) {
        let inner: Vec<VlanId> = tags
            .iter()
            .filter(|&tag| tag != exposed.vlan && leads_on(fabric, &exposed, tag))
            .collect();
        let known = found_at
            .iter_mut()
            .find(|(port, vlan, ..)| (*port, *vlan) == (exposed.port, exposed.vlan));
        match known {
            _ if inner.is_empty() => {}
            Some((.., all)) => all.extend(inner),
            None => found_at.push((exposed.port, exposed.vlan, exposed.place, inner)),
        }
    }
    for (port, outer, place, mut inner) in found_at {
        inner.sort_unstable();
        inner.dedup();
        let what = format!(
            "sends {} untagged: a tag below it may lead on into {}",
            view.vlan_name(port, outer),
            view.vlans(port, &inner)
        );
        let note = format!("a device at {} could do it", view.port_name(place));
        report.add(
            found(&CHECK, fabric.socket(port).place, view.name(port), what)
                .note(fabric.socket(place).place, note)
                .help("tag this VLAN on the cable too"),
        );
    }
}

/// VLANs that a port or an interface uses.
fn tags_in_use(fabric: &Fabric) -> VlanSet {
    let ports = fabric.vlan_ports();
    let members = ports.flat_map(|(_, _, vlans)| vlans.members().iter().collect::<Vec<_>>());
    let own = fabric.feet.iter().filter_map(|foot| foot.tag);
    members.chain(own).collect()
}

/// Whether the tag that comes to light brings the frame to a device in that VLAN, or to a port where one may be
/// plugged in.
fn leads_on(fabric: &Fabric, exposed: &Exposed, tag: VlanId) -> bool {
    let frame = match exposed.frame.outer() {
        Some(outer) if outer != tag.get() => return false,
        Some(_) => exposed.frame,
        None => Frame::of(Some(tag)),
    };
    match &fabric.socket(exposed.port).far {
        Far::Feet(feet) => {
            let takes = |tag: Option<VlanId>| tag.is_some() && frame.fits(tag);
            feet.iter().any(|&foot| takes(fabric.foot(foot).tag))
        }
        Far::Sockets(far) => {
            let starts: Vec<Start> = far.iter().map(|&far| Start::Seat(far, frame)).collect();
            let reached = flood(fabric, &starts);
            let mut taken = reached.taken.iter();
            taken.any(|taken| by_its_tag(fabric, &reached, taken, frame))
        }
        Far::Open | Far::Dead => false,
    }
}

/// Whether a device takes a frame, or may, and the tag that came to light decided it: a switch put it into that
/// VLAN, or the interface has that tag.
fn by_its_tag(fabric: &Fabric, reached: &Flood, taken: &Taken, frame: Frame) -> bool {
    let interface = taken
        .foot
        .is_some_and(|foot| fabric.foot(foot).tag.is_some());
    let device = taken.foot.is_some() || fabric.is_for_devices(taken.socket);
    device && (interface || crossed_by_tag(reached, taken, frame))
}

fn crossed_by_tag(reached: &Flood, taken: &Taken, frame: Frame) -> bool {
    let mut at = Some(taken.visit);
    while let Some(number) = at {
        let visit = &reached.visits[number as usize];
        if visit.vlan.is_some() || visit.below != frame {
            return true;
        }
        at = visit.parent.map(|(parent, _)| parent);
    }
    false
}
