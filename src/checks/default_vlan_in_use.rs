//! VLAN 1, where every port is until somebody says otherwise.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::frame::admit_untagged;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "default-vlan-in-use",
    severity: Severity::Warning,
    summary: "VLAN 1 carries a segment, or takes the untagged frames of a live port",
    why: "VLAN 1 is where a port is when nobody has set it: a new switch, a reset, a forgotten port. A \
        segment that uses it is open at all of them, and a port that leaves its PVID at 1 feeds it.",
    fine_when: "A small network with one segment and no other VLAN.",
    remedy: "Move the segment to another number. On trunks, take tagged frames only: leave `pvid` out and \
        use the short form, or set `accept = \"tagged\"`.",
    references: &["RFC 4363, dot1qPvid and dot1qVlanStaticUntaggedPorts (both default to VLAN 1)"],
    fires: include_str!("examples/default-vlan-in-use.fires.toml"),
    quiet: include_str!("examples/default-vlan-in-use.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    if !view.site.switches.is_empty() && !segments(view, report) {
        ports(view, report);
    }
}

/// Segments that use it; whether there are any.
fn segments(view: &CheckContext<'_>, report: &mut FindingReport) -> bool {
    let mut carried = false;
    for segment in &view.site.segments {
        if let Some(vlan) = segment.vlan.filter(|vlan| vlan.value.get() == 1) {
            carried = true;
            report.add(
                found(
                    &CHECK,
                    vlan.span,
                    &segment.name.value,
                    "uses VLAN 1, the default of every port",
                )
                .help("give the segment another number"),
            );
        }
    }
    carried
}

/// Ports that lead into it though no segment uses it.
fn ports(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, own) in view.fabric.vlan_ports() {
        let into_one = admit_untagged(own).is_ok_and(|(vlan, _)| vlan.get() == 1);
        // Other ways to have it: another untagged VLAN beside it, or no VLAN at all.
        let elsewhere =
            !own.untagged.is_empty() && !own.untagged.iter().any(|vlan| vlan.get() == 1);
        if into_one && !elsewhere && !own.members().is_empty() {
            report.add(
                found(
                    &CHECK,
                    port_id.place,
                    view.name(port),
                    "takes untagged frames into VLAN 1",
                )
                .help("set `pvid`, or `accept = \"tagged\"` on a trunk"),
            );
        }
    }
}
