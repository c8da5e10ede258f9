//! An interface with a prefix length of its own.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "prefix-length-differs",
    severity: Severity::Warning,
    summary: "an interface with another prefix length than its segment",
    why: "With a longer prefix the device sends to its gateway what it could reach directly; with a shorter \
        one it asks the wire for addresses that are elsewhere, and does not reach them.",
    fine_when: "The segment is being renumbered, or the device is meant to reach only part of it directly.",
    remedy: "Write the prefix length of the segment, here and on the device.",
    references: &["RFC 1122 section 3.3.1.1 (the mask decides what is on the own network)"],
    fires: include_str!("examples/prefix-length-differs.fires.toml"),
    quiet: include_str!("examples/prefix-length-differs.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
