//! A zone without a segment.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "zone-empty",
    severity: Severity::Warning,
    summary: "a zone without a segment",
    why: "Rules and expectations that name the zone speak of nobody: a denial that was meant to protect \
        something protects nothing.",
    fine_when: "Its segments are to be added soon.",
    remedy: "Name the zone in a segment, or remove it.",
    references: &["common practice, no source"],
    fires: include_str!("examples/zone-empty.fires.toml"),
    quiet: include_str!("examples/zone-empty.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
