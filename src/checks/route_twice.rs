//! Several routes to one destination with the same preference.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "route-twice",
    severity: Severity::Warning,
    summary: "two routes for one destination, of which none is said to be the backup",
    why: "Which of them a device uses depends on the device and on the order of configuration; some use \
        both. Answers hold for both: what only one of them lets through may pass, and does not surely \
        pass.",
    fine_when: "The device shares its traffic between both routes on purpose.",
    remedy: "Give the backup a higher `preference`, or remove one.",
    references: &["RFC 8349 (route preference: a lower number is preferred)"],
    fires: include_str!("examples/route-twice.fires.toml"),
    quiet: include_str!("examples/route-twice.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
