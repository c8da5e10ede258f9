//! A permit that says neither where packets leave nor to whom.

use crate::diagnostic::{Check, Severity};

use super::permits::{permits, zones_as_list};
use super::report::{Report, found};
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "permit-any-destination",
    severity: Severity::Warning,
    summary: "a permit that says neither where packets leave nor to whom",
    why: "It holds for every segment behind the gateway, the inner ones too, and for those that are added later. Mostly the internet was meant.",
    fine_when: "It is for messages that every network needs.",
    remedy: "Name the zones or segments in `to`, or the addresses in `destination`.",
    references: &[
        "Wool 2004, error class: rules with service or destination any (from memory)",
        "NIST SP 800-53 AC-6 and CM-7: least privilege, least functionality",
    ],
    fires: include_str!("examples/permit-any-destination.fires.toml"),
    quiet: include_str!("examples/permit-any-destination.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for permit in permits(view) {
        let rule = permit.rule;
        if rule.to.is_some() || rule.destination.is_some() || permit.only_messages() {
            continue;
        }
        let gateway = permit.gateway;
        let count = gateway.0.router.interfaces.len();
        let what = format!(
            "permits packets to any destination: out by any of the {count} interfaces, and to the gateway itself"
        );
        let zones = zones_as_list(view.site, &permit.targets(view.site));
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .help(format!(
                "add `to` with those that are meant, out of {zones}"
            )),
        );
    }
}
