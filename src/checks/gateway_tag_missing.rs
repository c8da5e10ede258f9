//! An interface of a gateway whose VLAN its cable does not carry.

use crate::analysis::vlan_name;
use crate::diagnostic::{Check, Severity};
use crate::model::{Interface, Site, VlanId};

use super::report::{Report, found};
use super::view::View;
use super::wiring::{Far, Socket};

pub(super) static CHECK: Check = Check {
    name: "gateway-tag-missing",
    severity: Severity::Error,
    summary: "an interface of a gateway or router whose VLAN the port at the other end does not carry so",
    why: "The segment has no way to this interface: the gateway waits for frames with one tag, the switch \
        sends none, or sends them with another. Somebody will put it right in a hurry, and perhaps wrongly.",
    fine_when: "The interface is prepared for a segment that is not connected yet.",
    remedy: "Carry the VLAN on the port at the other end, tagged where the interface has `vlan`, untagged \
        where it has none.",
    references: &["RFC 4363, dot1qVlanStaticEgressPorts and dot1qVlanStaticUntaggedPorts"],
    fires: include_str!("examples/gateway-tag-missing.fires.toml"),
    quiet: include_str!("examples/gateway-tag-missing.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (number, socket) in view.wiring.live() {
        for far in &socket.far {
            let Far::Router(id, port) = *far else {
                continue;
            };
            for (_, interface) in view.site.router(id).interfaces_on(port) {
                let Some(what) = missing(view.site, socket, interface, &view.wiring.name(number))
                else {
                    continue;
                };
                let router = &view.site.router(id).name.value;
                let subject = format!("{router}:{}", interface.name.value);
                report.add(
                    found(&CHECK, interface.name.span, subject, what)
                        .note(socket.place, "the port at the other end")
                        .help(
                            "make the port carry the VLAN in the way that the interface expects it",
                        ),
                );
            }
        }
    }
}

/// What an interface misses at the other end of its cable.
fn missing(site: &Site, socket: &Socket<'_>, interface: &Interface, peer: &str) -> Option<String> {
    let own = socket.vlans;
    if let Some(tag) = interface.vlan {
        let carried = own.tagged.contains(tag);
        let bare = own.untagged.contains(tag);
        let name = vlan_name(site, tag);
        return match (carried, bare) {
            (true, _) => None,
            (false, true) => Some(format!(
                "expects {name} tagged, and {peer} sends it untagged"
            )),
            (false, false) => Some(format!(
                "expects {name} tagged, and {peer} does not carry it"
            )),
        };
    }
    let wanted = site.segment(interface.segment).vlan?.value;
    if own.untagged.contains(wanted) || in_another_segment(site, socket, wanted) {
        return None;
    }
    let name = vlan_name(site, wanted);
    Some(match own.tagged.contains(wanted) {
        true => format!("expects {name} untagged, and {peer} sends it tagged"),
        false => format!("expects {name} untagged, and {peer} does not carry it"),
    })
}

/// Whether untagged frames belong to another segment: then `host-off-segment` says it.
fn in_another_segment(site: &Site, socket: &Socket<'_>, wanted: VlanId) -> bool {
    let into = socket.untagged_into();
    into.is_some_and(|into| into != wanted && site.segment_of_vlan(into).is_some())
}
