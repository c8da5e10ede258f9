//! A host that joins segments.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::Forwards;

use super::report::{FindingReport, found};
use super::several_homes::homes;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "host-forwards",
    severity: Severity::Error,
    summary: "a host that routes or bridges between segments",
    why: "It passes on what arrives from one segment to the other, and no rule is asked: the two segments are \
        parted on paper only.",
    fine_when: "It is a router or an access point in its own right, and the segments may be joined.",
    remedy: "Turn forwarding off on the host; where it must forward, describe it as a gateway with rules. \
        While it \
        forwards it counts as a router or a switch; afterwards it is a device like any other, which sends and can be hostile itself.",
    references: &[
        "RFC 1122 section 3.1: forwarding can be switched off in a host, and is off unless somebody turns it on",
    ],
    fires: include_str!("examples/host-forwards.fires.toml"),
    quiet: include_str!("examples/host-forwards.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for host in &view.site.hosts {
        let homes = homes(view, host);
        let does = match host.forwards.value {
            Forwards::No => continue,
            Forwards::Routes => "routes",
            Forwards::Bridges => "bridges",
        };
        if homes.len() < 2 {
            continue;
        }
        let what = format!("{does} between {}, past every rule", homes.join(" and "));
        report.add(
            found(&CHECK, host.forwards.span, &host.name.value, what)
                .help("turn it off, or describe the host as a gateway with rules"),
        );
    }
}
