//! A permit from a less trusted zone into a more trusted one that is not narrow.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Family, SegmentId, Zone};

use super::measured::of_permit;
use super::permit::PermitRule;
use super::report::{FindingReport, found};
use super::view::CheckContext;
use super::zone_pairs::zone_pairs;

pub(super) static CHECK: Check = Check {
    name: "permit-upward",
    severity: Severity::Warning,
    summary: "a permit from a less trusted zone into a more trusted one that is not narrow",
    why: "Zones are there so that what is less trusted does not reach what is more trusted. Where it must, single services of single hosts suffice: that is how a service is published.",
    fine_when: "The higher zone is there to be used by the lower one as a whole; then its trust is set too high.",
    remedy: "Name both the addresses in `destination` and the services.",
    references: &[
        "NIST SP 800-53 SC-7 and AC-4: flows between systems are controlled",
        "IEC 62443-3-3 SR 5.2: zone boundary protection, deny by default",
        "PCI DSS v4.0.1 1.4.2: inbound from untrusted networks only to published services",
    ],
    fires: include_str!("examples/permit-upward.fires.toml"),
    quiet: include_str!("examples/permit-upward.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        if permit.only_messages() || permit.for_gateway_only() {
            continue;
        }
        let upward = |from: &Zone, to: &Zone| from.trust < to.trust;
        let pairs = zone_pairs(view, permit, upward, |to| !is_narrow(view, permit, to));
        if pairs.is_empty() {
            continue;
        }
        let gateway = permit.gateway;
        let what = format!(
            "permits upward, from less to more trusted zones, without naming both hosts and services: {}",
            pairs.join(", ")
        );
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .measured(of_permit(view, permit))
            .help(help(permit)),
        );
    }
}

/// What it does not name yet.
fn help(permit: &PermitRule<'_>) -> String {
    let missing = match (&permit.rule.destination, permit.any_service()) {
        (_, true) => "`destination` and `services`",
        (None, false) => "the hosts in `destination`",
        (Some(_), false) => "single hosts in `destination`",
    };
    format!("name {missing}, or keep the higher zones out of `to`")
}

/// Whether it names services, and addresses that are fewer than a segment has.
fn is_narrow(view: &CheckContext<'_>, permit: &PermitRule<'_>, to: SegmentId) -> bool {
    let Some(field) = &permit.rule.destination else {
        return false;
    };
    let whole = Family::ALL.iter().any(|&family| {
        let own = &view.network.plan(family).segment(to).addresses;
        !own.is_empty() && own.is_subset(field.set.of(family))
    });
    !whole && !permit.any_service()
}
