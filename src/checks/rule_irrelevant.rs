//! A rule that no packet can match, because of interfaces, routes or translations.

use boundwalk_analysis::rules::RuleStatus;
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-irrelevant",
    severity: Severity::Warning,
    summary: "a rule that no packet can match, because of interfaces, routes or translations",
    why: "Nothing that it names can arrive at this gateway and leave it so that the rule sees it. Mostly a network moved and the rule did not; whoever reads the list believes that it does something.",
    fine_when: "It is prepared for a network that does not exist yet, and says so in its reason.",
    remedy: "Correct the addresses, `from` or `to`; or remove the rule.",
    references: &[
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
    ],
    fires: include_str!("examples/rule-irrelevant.fires.toml"),
    quiet: include_str!("examples/rule-irrelevant.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        for (rule, status) in gateway.review.rules.iter().enumerate() {
            if !matches!(status, RuleStatus::Irrelevant) {
                continue;
            }
            let what = format!("no packet can match it: {}", gateway.obstacle_text(rule));
            let mut draft = found(&CHECK, gateway.place(rule), gateway.name(rule), what)
                .help("correct its addresses, `from` or `to`, or remove it");
            if let Some(counted) = gateway.counted(rule) {
                draft = draft.note(gateway.place(rule), counted);
            }
            report.add(draft);
        }
    }
}
