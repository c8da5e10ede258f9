//! A VLAN on a cable that nothing behind it needs.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Far, InterfaceId, PortId, Start, Taken, flood};
use boundwalk_model::VlanId;

use super::report::{FindingReport, found};
use super::view::CheckContext;

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

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (near, far) in view.fabric.trunks() {
        let (Some(here), Some(there)) = (view.fabric.vlans(near), view.fabric.vlans(far)) else {
            continue;
        };
        let members = here.members();
        let idle: Vec<VlanId> = members
            .iter()
            .filter(|&vlan| there.carries(vlan) && !used_behind(view, near, far, vlan))
            .collect();
        add(
            view,
            report,
            near,
            &idle,
            &format!("behind {}", view.name(far)),
        );
    }
    for (near, port_id, vlans) in view.fabric.vlan_ports() {
        let Far::Interfaces(interfaces) = &port_id.far else {
            continue;
        };
        let Some((_, name)) = view.router_at(near) else {
            continue;
        };
        let idle: Vec<VlanId> = vlans
            .tagged
            .iter()
            .filter(|&vlan| {
                !interfaces
                    .iter()
                    .any(|&interface| takes(view, near, vlan, interface))
            })
            .collect();
        add(view, report, near, &idle, &format!("of {name}"));
    }
}

fn add(
    view: &CheckContext<'_>,
    report: &mut FindingReport,
    near: PortId,
    idle: &[VlanId],
    whose: &str,
) {
    if idle.is_empty() {
        return;
    }
    let what = format!(
        "carries {}, and no port or interface {whose} uses it",
        view.vlans(near, idle)
    );
    report.add(
        found(&CHECK, view.fabric.port(near).place, view.name(near), what)
            .help("take it off the cable, unless the switch behind it is managed there"),
    );
}

/// Whether an interface takes a frame of a VLAN as a port sends it.
fn takes(view: &CheckContext<'_>, port: PortId, vlan: VlanId, interface: InterfaceId) -> bool {
    let sent = view.fabric.sent(port, vlan);
    sent.is_some_and(|frame| frame.fits(view.fabric.interface(interface).tag))
}

/// Whether anything takes frames of a VLAN that cross a cable.
fn used_behind(view: &CheckContext<'_>, near: PortId, far: PortId, vlan: VlanId) -> bool {
    let sent = view.fabric.sent(near, vlan);
    // Frames that do not get in are another check's business.
    let Some(frame) = sent.filter(|&frame| matches!(view.fabric.taken(far, frame), Some(Ok(_))))
    else {
        return true;
    };
    let reached = flood(view.fabric, &[Start::AttachPoint(far, frame)]);
    reached.taken.iter().any(|taken| is_use(view, taken))
}

/// Whether a device takes a frame, or one that may be plugged in would: at a port for untagged frames, or at a
/// switch that knows no VLANs.
fn is_use(view: &CheckContext<'_>, taken: &Taken) -> bool {
    let open = view.fabric.port(taken.port).far == Far::Open;
    let plain = taken.frame.outer().is_none() || view.fabric.vlans(taken.port).is_none();
    taken.interface.is_some() || open && plain
}
