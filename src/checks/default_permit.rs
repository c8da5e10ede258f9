//! A gateway that permits what no rule names.

use boundwalk_analysis::rules::is_backstop;
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::Action;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "default-permit",
    severity: Severity::Error,
    summary: "a gateway that permits what no rule names",
    why: "What nobody thought of is open: every new service, segment and device. A filter that permits by default is a list of exceptions that is never complete.",
    fine_when: "Never on a gateway that is to separate anything.",
    remedy: "Set `default = \"deny\"` and permit what is needed.",
    references: &[
        "NIST SP 800-53 SC-7(5): deny by default, allow by exception",
        "NIST SP 800-41 rev. 1: block all traffic that the policy does not expressly permit (deny by default)",
        "PCI DSS v4.0.1 1.3.1 and 1.3.2: all other traffic is denied",
    ],
    fires: include_str!("examples/default-permit.fires.toml"),
    quiet: include_str!("examples/default-permit.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let gateway_review = gateway.0;
        let Some(filter) = gateway_review.router.filter() else {
            continue;
        };
        // A rule that denies everything leaves nothing to the default.
        let written_out = gateway_review.rules.iter().any(|rule| {
            let everywhere = rule.from.is_none() && rule.to.is_none();
            is_backstop(rule) && everywhere && rule.active(view.network.today)
        });
        if filter.default.value == Action::Permit && !written_out {
            let name = gateway_review.router.name.value.clone();
            report.add(
                found(
                    &CHECK,
                    filter.default.span,
                    name,
                    "permits whatever no rule names",
                )
                .help("write `default = \"deny\"`"),
            );
        }
    }
}
