//! An expectation that speaks of nothing.

use boundwalk_analysis::intent::IntentStatus;
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "expectation-vacuous",
    severity: Severity::Warning,
    summary: "an expectation that no packet can meet or break",
    why: "It holds only because it speaks of nobody: its addresses are not those of the segments that it names, or \
        the segments have none. Whoever reads it believes that something is watched.",
    fine_when: "Never for long: what it was meant for is not there, or is called otherwise.",
    remedy: "Correct `source`, `destination` or the parties, or remove it.",
    references: &["Common practice, no source"],
    fires: include_str!("examples/expectation-vacuous.fires.toml"),
    quiet: include_str!("examples/expectation-vacuous.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for judged in view.expectations() {
        if judged.status == IntentStatus::Vacuous {
            let line = judged.expectation;
            let what = "speaks of no packet: nobody with these addresses is there";
            report.add(found(&CHECK, line.name.span, &line.name.value, what));
        }
    }
}
