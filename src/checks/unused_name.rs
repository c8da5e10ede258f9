//! A group or service that nothing uses.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "unused-name",
    severity: Severity::Note,
    summary: "a group or service that nothing uses",
    why: "Somebody meant it for a rule. Perhaps a rule writes out the same addresses instead, and is \
        forgotten when they change.",
    fine_when: "It is kept for rules to come.",
    remedy: "Remove it, or use it where its items are written out.",
    references: &["common practice, no source"],
    fires: include_str!("examples/unused-name.fires.toml"),
    quiet: include_str!("examples/unused-name.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
