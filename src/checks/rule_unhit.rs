//! A rule that could match packets but never has.

use boundwalk_analysis::rules::RuleStatus;
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::Action;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-unhit",
    severity: Severity::Note,
    summary: "a rule that could match packets but never has",
    why: "What it permits nobody uses, as far as the gateway counted: it opens a way for nothing.",
    fine_when: "The count is young, or the rule is for rare events: backups, year ends, emergencies.",
    remedy: "Ask its owner, and remove it where nobody needs it.",
    references: &[
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
        "NIST SP 800-53 CM-7(1): review functions, ports and protocols",
    ],
    fires: include_str!("examples/rule-unhit.fires.toml"),
    quiet: include_str!("examples/rule-unhit.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let gateway_review = gateway.0;
        // All at zero: the counters were cleared, or were never read.
        if !gateway_review
            .rules
            .iter()
            .any(|rule| rule.hits.is_some_and(|hits| hits > 0))
        {
            continue;
        }
        for (number, rule) in gateway_review.rules.iter().enumerate() {
            let decides = matches!(
                gateway_review.review.rules[number],
                RuleStatus::Decides { .. }
            );
            // A denial that nothing meets is a good one.
            if decides && rule.action.value == Action::Permit && rule.hits == Some(0) {
                let what = "permits packets, but none has come by since the gateway counts";
                report.add(
                    found(&CHECK, gateway.place(number), gateway.name(number), what)
                        .help("ask its owner whether it is needed"),
                );
            }
        }
    }
}
