//! A live port_id in the wall.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::Far;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "unused-port-live",
    severity: Severity::Warning,
    summary: "a live port with nothing plugged in",
    why: "Anybody who walks past can plug in and is inside. The port is one of the ways into its segment \
        that every answer here reckons with.",
    fine_when: "The port is open on purpose (a meeting room, a wireless name) or used by devices that the \
        site does not list: say so in the port's `description`, and the check is quiet.",
    remedy: "Set `enabled = false` on the switch and here; enable the port when it is needed.",
    references: &["common practice, no source"],
    fires: include_str!("examples/unused-port-live.fires.toml"),
    quiet: include_str!("examples/unused-port-live.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id) in view.fabric.ports() {
        if port_id.far != Far::Open || view.is_described(port) {
            continue;
        }
        let members = view.fabric.vlans(port).map(|vlans| vlans.members());
        let members: Option<Vec<_>> = members.map(|members| members.iter().collect());
        let what = match members.as_deref() {
            Some([]) => "live, and nothing is plugged in".to_owned(),
            Some(members) => format!(
                "live in {}, and nothing is plugged in",
                view.vlans(port, members)
            ),
            None => "live on a switch that knows no VLANs, and nothing is plugged in".to_owned(),
        };
        report.add(
            found(&CHECK, port_id.place, view.port_name(port), what)
                .help("set `enabled = false`, or say in `description` what it is for"),
        );
    }
}
