//! A rule that has been disabled for long.

use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::review_overdue::{due, months};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-disabled",
    severity: Severity::Note,
    summary: "a rule that has been disabled for long",
    why: "It does nothing, and one word brings it back as it was, whatever the network looks like by then.",
    fine_when: "It is for emergencies and its reason says so.",
    remedy: "Remove it; the change that brings it back can bring the text back too.",
    references: &[
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
    ],
    fires: include_str!("examples/rule-disabled.fires.toml"),
    quiet: include_str!("examples/rule-disabled.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let months = months(view);
    for gateway in view.reviewed() {
        let disabled = gateway.0.rules.iter().enumerate();
        for (number, rule) in disabled.filter(|(_, rule)| !rule.enabled) {
            let what = match &rule.reviewed {
                Some(reviewed) if due(reviewed.value, months) >= view.network.today => continue,
                Some(reviewed) => format!(
                    "is disabled, and nobody has looked at it since {}",
                    reviewed.value
                ),
                None => "is disabled, and the file does not say since when".to_owned(),
            };
            report.add(
                found(&CHECK, gateway.place(number), gateway.name(number), what)
                    .help("remove it, or write into `reviewed` when it was last looked at"),
            );
        }
    }
}
