//! An interface of a gateway whose VLAN its cable does not carry.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::frame::admit_untagged;
use boundwalk_forwarding::layer2::{Far, InterfaceOf, PortId, WiredInterface};
use boundwalk_model::PortVlans;

use super::report::{FindingReport, found};
use super::view::CheckContext;

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

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, vlans) in view.fabric.vlan_ports() {
        let Far::Interfaces(interfaces) = &port_id.far else {
            continue;
        };
        for interface in interfaces
            .iter()
            .map(|&interface| view.fabric.interface(interface))
        {
            let InterfaceOf::Router(id, at) = interface.of else {
                continue;
            };
            let Some(what) = missing(view, interface, port, vlans) else {
                continue;
            };
            let router = view.site.router(id);
            let interface = &router.interfaces[at].name;
            let subject = format!("{}:{}", router.name.value, interface.value);
            report.add(
                found(&CHECK, interface.span, subject, what)
                    .note(port_id.place, "the port at the other end")
                    .help("make the port carry the VLAN in the way that the interface expects it"),
            );
        }
    }
}

/// What an interface misses at the other end of its cable.
fn missing(
    view: &CheckContext<'_>,
    interface: &WiredInterface,
    port: PortId,
    vlans: &PortVlans,
) -> Option<String> {
    let wanted = match interface.tag {
        Some(tag) => tag,
        None => view.site.segment(interface.segment).vlan?.value,
    };
    let sent = view.fabric.sent(port, wanted);
    if sent.is_some_and(|frame| frame.fits(interface.tag)) {
        return None;
    }
    // Untagged frames belong to another segment: then `host-off-segment` says it.
    let into = admit_untagged(vlans).ok().map(|(vlan, _)| vlan);
    let elsewhere =
        into.is_some_and(|into| into != wanted && !view.segments_at(port, into).is_empty());
    if interface.tag.is_none() && elsewhere {
        return None;
    }
    let (name, peer) = (view.vlan_name(port, wanted), view.name(port));
    let expected = match interface.tag {
        Some(_) => "tagged",
        None => "untagged",
    };
    Some(match sent.map(|frame| frame.outer().is_some()) {
        Some(true) => format!("expects {name} {expected}, and {peer} sends it tagged"),
        Some(false) => format!("expects {name} {expected}, and {peer} sends it untagged"),
        None => format!("expects {name} {expected}, and {peer} does not carry it"),
    })
}
