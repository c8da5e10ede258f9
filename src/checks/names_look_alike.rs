//! Two names that a reader takes for one.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "names-look-alike",
    severity: Severity::Warning,
    summary: "two names that differ and look alike",
    why: "Whoever reads a rule or reviews a change takes one for the other, by chance or because somebody wanted it: a rule for \
        the wrong group then looks right.",
    fine_when: "Both are printed on the devices like that, and everybody who reads the file knows it.",
    remedy: "Give one of them a name that nobody takes for the other.",
    references: &["UTS #39 section 4 (confusable detection: equal skeletons)"],
    fires: include_str!("examples/names-look-alike.fires.toml"),
    quiet: include_str!("examples/names-look-alike.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
