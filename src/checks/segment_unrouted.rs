//! A segment without a gateway.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "segment-unrouted",
    severity: Severity::Note,
    summary: "a segment that no gateway or router is on",
    why: "Devices there reach only each other. That is isolation, or an interface that was forgotten: the \
        file says neither.",
    fine_when: "It is meant to be closed. Then say `isolated = true`, and it is proved.",
    remedy: "Describe the interface that is missing, or say `isolated = true`.",
    references: &["common practice, no source"],
    fires: include_str!("examples/segment-unrouted.fires.toml"),
    quiet: include_str!("examples/segment-unrouted.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
