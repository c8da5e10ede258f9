//! Two interfaces of a router on one segment.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "segment-twice",
    severity: Severity::Warning,
    summary: "a router with two interfaces on one segment",
    why: "Mostly one of the two is written for the wrong segment, and the segment that it should serve has \
        no gateway. Where it is true, packets may come in by one interface and go out by the other, and \
        rules between zones see none of it.",
    fine_when: "The router has two cables to the segment on purpose, as a spare.",
    remedy: "Correct the segment; an interface that needs several addresses may have them all.",
    references: &[
        "RFC 1122 section 3.3.4.1 (multihoming: several interfaces may be on one network)",
    ],
    fires: include_str!("examples/segment-twice.fires.toml"),
    quiet: include_str!("examples/segment-twice.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
