//! A source check that has no addresses to check against.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "source-check-idle",
    severity: Severity::Warning,
    summary: "a source check on an interface without addresses",
    why: "A strict check admits what the routes would send back by this interface. Without an address there \
        is no on-link prefix, so it refuses what the segment sends.",
    fine_when: "Routes lead back by this interface, and nobody on the segment itself sends to it.",
    remedy: "Give the interface its addresses, or turn the check off.",
    references: &["RFC 3704 section 2.2 (strict reverse path forwarding)"],
    fires: include_str!("examples/source-check-idle.fires.toml"),
    quiet: include_str!("examples/source-check-idle.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
