//! A permit that says neither where packets come in nor from whom.

use boundwalk_diagnostic::{Check, Severity};

use super::extent::existing;
use super::measured::of_permit;
use super::permits::{is_anything, segments, zones_as_list};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-any-source",
    severity: Severity::Warning,
    summary: "a permit that says neither where packets come in nor from whom",
    why: "It holds for every interface: guests and the internet may use it like the office. Mostly one zone was meant.",
    fine_when: "It is for messages that every network needs, or the destination is meant for everybody.",
    remedy: "Name the zones or segments in `from`, or the addresses in `source`.",
    references: &[
        "NIST SP 800-41 rev. 1, executive summary: rule sets as specific as possible about the traffic they control",
        "NIST SP 800-53 AC-6 and CM-7: least privilege, least functionality",
    ],
    fires: include_str!("examples/permit-any-source.fires.toml"),
    quiet: include_str!("examples/permit-any-source.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        let rule = permit.rule;
        if rule.from.is_some() || !is_anything(&rule.source) || permit.only_messages() {
            continue;
        }
        let gateway = permit.gateway;
        let count = gateway.0.router.interfaces.len();
        let what = format!(
            "permits packets that come in by any of the {count} interfaces, from any source: {}",
            existing(view, &segments(&permit.senders))
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
                "add `from = {zones}` without those that are not meant"
            )),
        );
    }
}
