//! A rule or translation that names a zone or segment its gateway is not on.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "party-not-here",
    severity: Severity::Warning,
    summary: "a zone or segment that the gateway is not on",
    why: "`from` and `to` mean interfaces of the gateway. It has none there, so this part of the line \
        matches nothing: a permit does not permit, and a denial does not protect.",
    fine_when: "The interface is to be added soon, and the rule was written first.",
    remedy: "For what lies behind another router, name the segment that leads there and use `source` or \
        `destination`.",
    references: &["common practice, no source"],
    fires: include_str!("examples/party-not-here.fires.toml"),
    quiet: include_str!("examples/party-not-here.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
