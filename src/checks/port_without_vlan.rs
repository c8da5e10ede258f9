//! Something is plugged in where no frame gets through.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::Far;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "port-without-vlan",
    severity: Severity::Error,
    summary: "a live port with a cable that is in no VLAN",
    why: "The switch sends nothing out of this port, so whatever is plugged in is cut off. What it sends \
        may still get in: the standard's defaults are PVID 1, any tag and no filter.",
    fine_when: "A cable that is kept ready; set `enabled = false` until it is wanted.",
    remedy: "Give the port its VLAN, as in `access = \"SEGMENT\"`, or disable it.",
    references: &["RFC 4363, dot1qVlanStaticEgressPorts (a port that is in no list gets nothing)"],
    fires: include_str!("examples/port-without-vlan.fires.toml"),
    quiet: include_str!("examples/port-without-vlan.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, vlans) in view.fabric.vlan_ports() {
        let lag = view.lag_of(port_id.name).is_some();
        let attached = port_id.far != Far::Open && !lag;
        if attached && vlans.members().is_empty() {
            report.add(
                found(
                    &CHECK,
                    port_id.place,
                    view.name(port),
                    "has a cable and is in no VLAN",
                )
                .help("add `access = …`, or `enabled = false`"),
            );
        }
    }
}
