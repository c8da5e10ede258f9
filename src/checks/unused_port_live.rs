//! A live socket in the wall.

use crate::diagnostic::{Check, Severity};

use super::report::{Report, found};
use super::view::View;
use super::words::vlans;

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

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (number, socket) in view.wiring.sockets.iter().enumerate() {
        if !socket.live || !socket.far.is_empty() || socket.described() {
            continue;
        }
        let members = socket.members();
        let what = match (socket.aware, members.is_empty()) {
            (true, false) => format!(
                "live in {}, and nothing is plugged in",
                vlans(view.site, &members)
            ),
            (true, true) => "live, and nothing is plugged in".to_owned(),
            (false, _) => {
                "live on a switch that knows no VLANs, and nothing is plugged in".to_owned()
            }
        };
        report.add(
            found(&CHECK, socket.place, view.wiring.name(number), what)
                .help("set `enabled = false`, or say in `description` what it is for"),
        );
    }
}
