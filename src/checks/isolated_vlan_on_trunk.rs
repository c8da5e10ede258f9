//! A VLAN that claims to be isolated leaves its switch.

use crate::analysis::vlan_name;
use crate::diagnostic::{Check, Severity};

use super::report::{Report, found};
use super::view::View;
use super::wiring::Far;

pub(super) static CHECK: Check = Check {
    name: "isolated-vlan-on-trunk",
    severity: Severity::Note,
    summary: "the VLAN of a segment that claims to be isolated, on a cable to another switch or a gateway",
    why: "On a shared cable only tags part it from the others: one port set wrongly at either end joins \
        them. Towards a gateway nothing but a missing interface keeps it apart.",
    fine_when: "Switches have to be managed over the same cables that they switch; then look twice at the \
        settings of these ports.",
    remedy: "Give the segment cables of its own, or none; at the least keep it off cables to gateways.",
    references: &["common practice, no source"],
    fires: include_str!("examples/isolated-vlan-on-trunk.fires.toml"),
    quiet: include_str!("examples/isolated-vlan-on-trunk.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for segment in &view.site.segments {
        let (Some(claim), Some(own)) = (segment.claims_isolation(), segment.vlan) else {
            continue;
        };
        for (number, socket) in view.wiring.live() {
            if !socket.carries(own.value) {
                continue;
            }
            for far in &socket.far {
                let to = match *far {
                    // The other end of the same cable says the same.
                    Far::Socket(peer) if told_there(view, number, peer, own.value) => continue,
                    Far::Socket(peer) => view.wiring.name(peer),
                    Far::Router(router, _) => view.site.router(router).name.value.clone(),
                    Far::Host(..) => continue,
                };
                let what = format!("carries {} to {to}", vlan_name(view.site, own.value));
                report.add(
                    found(&CHECK, socket.place, view.wiring.name(number), what)
                        .note(claim, "the claim that it is isolated")
                        .help("keep it off shared cables, or see that both ends are set right"),
                );
            }
        }
    }
}

fn told_there(view: &View<'_>, number: usize, peer: usize, vlan: crate::model::VlanId) -> bool {
    let socket = &view.wiring.sockets[peer];
    peer < number && socket.counts() && socket.carries(vlan)
}
