//! A permit that says neither where packets leave nor to whom.

use boundwalk_diagnostic::{Check, Severity};

use super::extent::existing;
use super::measured::of_permit;
use super::permits::{is_anything, segments, zones_as_list};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-any-destination",
    severity: Severity::Warning,
    summary: "a permit that says neither where packets leave nor to whom",
    why: "It holds for every segment behind the gateway, the inner ones too, and for those that are added later. Mostly the internet was meant.",
    fine_when: "It is for messages that every network needs.",
    remedy: "Name the zones or segments in `to`, or the addresses in `destination`.",
    references: &[
        "NIST SP 800-41 rev. 1, executive summary: rule sets as specific as possible about the traffic they control",
        "NIST SP 800-53 AC-6 and CM-7: least privilege, least functionality",
    ],
    fires: include_str!("examples/permit-any-destination.fires.toml"),
    quiet: include_str!("examples/permit-any-destination.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        let rule = permit.rule;
        if rule.to.is_some() || !is_anything(&rule.destination) || permit.only_messages() {
            continue;
        }
        let gateway = permit.gateway;
        let count = gateway.0.router.interfaces.len();
        let what = format!(
            "permits packets to any destination: out by any of the {count} interfaces to {}, and to the gateway itself",
            existing(view, &segments(&permit.targets))
        );
        let zones = zones_as_list(view.site, gateway);
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .measured(of_permit(view, permit))
            .help(format!(
                "add `to = {zones}` without those that are not meant"
            )),
        );
    }
}
