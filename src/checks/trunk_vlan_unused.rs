//! A VLAN on a cable that nothing behind it needs.

use crate::diagnostic::{Check, Severity};
use crate::model::VlanId;

use super::report::{Report, found};
use super::view::View;
use super::wiring::{Far, Socket};
use super::words::vlans;

pub(super) static CHECK: Check = Check {
    name: "trunk-vlan-unused",
    severity: Severity::Note,
    summary: "a VLAN on a cable between switches, or to a gateway, that nothing behind it uses",
    why: "Each VLAN that a switch carries is one more that can be reached from there: by a port set wrongly \
        one day, by a tag, by whoever gets into the switch. What is not needed behind a cable need not be on \
        it.",
    fine_when: "The switch behind the cable is itself configured in that VLAN: the site file has no place \
        for a switch's own address, so this check can't know.",
    remedy: "Take the VLAN off both ends of the cable.",
    references: &["common practice, no source"],
    fires: include_str!("examples/trunk-vlan-unused.fires.toml"),
    quiet: include_str!("examples/trunk-vlan-unused.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (near, far) in view.wiring.trunks() {
        let there = &view.wiring.sockets[far];
        let members = view.wiring.sockets[near].members().into_iter();
        let idle: Vec<VlanId> = members
            .filter(|&vlan| there.carries(vlan) && !used_behind(view, near, far, vlan))
            .collect();
        let peer = view.wiring.name(far);
        add(view, report, near, &idle, &format!("behind {peer}"));
    }
    for (near, socket) in view.wiring.live() {
        let Some((router, port)) = only_router(socket) else {
            continue;
        };
        let tags = view.site.router(router).interfaces_on(port);
        let tags: Vec<_> = tags.map(|(_, interface)| interface.vlan).collect();
        let tagged = socket.vlans.tagged.iter();
        let idle: Vec<VlanId> = tagged.filter(|&vlan| !tags.contains(&Some(vlan))).collect();
        let name = &view.site.router(router).name.value;
        add(view, report, near, &idle, &format!("of {name}:{port}"));
    }
}

fn add(view: &View<'_>, report: &mut Report, near: usize, idle: &[VlanId], whose: &str) {
    if idle.is_empty() {
        return;
    }
    let what = format!(
        "carries {}, and no port or interface {whose} uses it",
        vlans(view.site, idle)
    );
    let place = view.wiring.sockets[near].place;
    report.add(
        found(&CHECK, place, view.wiring.name(near), what)
            .help("take it off the cable, unless the switch behind it is managed there"),
    );
}

fn only_router<'s>(socket: &Socket<'s>) -> Option<(crate::model::RouterId, &'s str)> {
    match socket.far.as_slice() {
        [Far::Router(router, port)] => Some((*router, *port)),
        _ => None,
    }
}

/// Whether anything takes frames of a VLAN that cross a cable.
fn used_behind(view: &View<'_>, near: usize, far: usize, vlan: VlanId) -> bool {
    // Frames that do not get in are another check's business.
    let Some(vlan) = view.wiring.cross(near, far, vlan) else {
        return true;
    };
    let mut out = view.wiring.behind(far, vlan).into_iter();
    out.any(|(socket, vlan)| socket != near && takes(view, &view.wiring.sockets[socket], vlan))
}

/// Whether a device at a socket, or one that may be plugged in, takes frames of a VLAN.
fn takes(view: &View<'_>, socket: &Socket<'_>, vlan: VlanId) -> bool {
    let untagged = socket.vlans.untagged.contains(vlan);
    let fits = |tag: Option<VlanId>| match socket.aware {
        true if untagged => tag.is_none(),
        true => tag == Some(vlan),
        // Whoever sits at a switch that knows no VLANs may use any.
        false => true,
    };
    let device = |far: &Far<'_>| match *far {
        Far::Host(host, at) => fits(view.site.host(host).interfaces[at].vlan),
        Far::Router(router, port) => {
            let mut interfaces = view.site.router(router).interfaces_on(port);
            interfaces.any(|(_, interface)| fits(interface.vlan))
        }
        Far::Socket(_) => false,
    };
    let open = socket.far.is_empty() && (untagged || !socket.aware);
    open || socket.far.iter().any(device)
}
