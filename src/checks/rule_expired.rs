//! A rule that has expired and still stands in the list.

use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-expired",
    severity: Severity::Warning,
    summary: "a rule that has expired and still stands in the list",
    why: "It matches nothing any more, whatever it says. If it is still needed something is broken; if not, somebody may renew it without asking why it was limited.",
    fine_when: "It waits for its removal, and that is planned.",
    remedy: "Remove it, or renew it with a new reason and date.",
    references: &[
        "NIST SP 800-53 SC-7(4): exceptions are limited in time, reviewed and removed",
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
    ],
    fires: include_str!("examples/rule-expired.fires.toml"),
    quiet: include_str!("examples/rule-expired.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let today = view.network.today;
    for gateway in view.reviewed() {
        for (number, rule) in gateway.0.rules.iter().enumerate() {
            let Some(expires) = rule
                .expires
                .filter(|date| date.value < today && rule.enabled)
            else {
                continue;
            };
            let days = (today - expires.value).get_days();
            let what = format!(
                "expired on {}, {days} days ago: it matches nothing any more",
                expires.value
            );
            report.add(
                found(&CHECK, gateway.place(number), gateway.name(number), what)
                    .note(expires.span, "its last day")
                    .help("remove it, or renew it with a reason"),
            );
        }
    }
}
