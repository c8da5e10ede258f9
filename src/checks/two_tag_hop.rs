//! A second tag that comes to light behind a trunk.

use crate::analysis::vlan_name;
use crate::diagnostic::{Check, Severity};
use crate::model::VlanId;

use super::report::{Report, found};
use super::view::View;
use super::wiring::Far;
use super::words::vlans;

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
    for (number, socket) in view.wiring.live() {
        for outer in socket.vlans.untagged.iter() {
            let inner = exposed(view, number, outer);
            if inner.is_empty() {
                continue;
            }
            let Some(seat) = seat(view, number, outer) else {
                continue;
            };
            let what = format!(
                "sends {} untagged: a tag below it may lead on into {}",
                vlan_name(view.site, outer),
                vlans(view.site, &inner)
            );
            let place = view.wiring.sockets[seat].place;
            report.add(
                found(&CHECK, socket.place, view.wiring.name(number), what)
                    .note(
                        place,
                        format!("a device at {} could do it", view.wiring.name(seat)),
                    )
                    .help("tag this VLAN on the cable too"),
            );
        }
    }
}

/// VLANs that the device at the other end of a cable takes a frame into by its tag, when the frame was in
/// another VLAN before.
fn exposed(view: &View<'_>, number: usize, outer: VlanId) -> Vec<VlanId> {
    let socket = &view.wiring.sockets[number];
    let mut inner: Vec<VlanId> = Vec::new();
    for far in &socket.far {
        match *far {
            Far::Socket(peer) if view.wiring.sockets[peer].counts() => {
                let there = &view.wiring.sockets[peer];
                let members = there.members().into_iter();
                inner.extend(members.filter(|&vlan| there.admits_tag(vlan)));
            }
            Far::Router(router, port) => {
                let interfaces = view.site.router(router).interfaces_on(port);
                inner.extend(interfaces.filter_map(|(_, interface)| interface.vlan));
            }
            Far::Socket(_) | Far::Host(..) => {}
        }
    }
    inner.retain(|&vlan| vlan != outer);
    inner.sort_unstable();
    inner.dedup();
    inner
}

/// A port from which a device's frames come to a socket in a VLAN, over any switches.
fn seat(view: &View<'_>, number: usize, vlan: VlanId) -> Option<usize> {
    // Frames go both ways between well-set ports, so what is reached from here is where they come from.
    let reached = view.wiring.behind(number, vlan).into_iter();
    let mut seats = reached.filter(|&(at, inside)| {
        let socket = &view.wiring.sockets[at];
        let enters = socket.untagged_into() == Some(inside) || socket.admits_tag(inside);
        socket.is_seat() && socket.aware && enters
    });
    seats.next().map(|(at, _)| at)
}
