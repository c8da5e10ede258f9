//! A need or expectation inside one segment.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "same-segment-only",
    severity: Severity::Warning,
    summary: "a need or expectation inside one segment",
    why: "No gateway sees traffic inside one segment. The line is met or broken by switches alone and says \
        nothing about rules.",
    fine_when: "It is there for readers, to record what the devices of a segment use among themselves.",
    remedy: "Name two segments, or remove the line.",
    references: &["common practice, no source"],
    fires: include_str!("examples/same-segment-only.fires.toml"),
    quiet: include_str!("examples/same-segment-only.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
