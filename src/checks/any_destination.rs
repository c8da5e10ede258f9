//! A destination translation that names no destination.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "any-destination",
    severity: Severity::Warning,
    summary: "a destination translation of every destination",
    why: "Every packet that comes in at these interfaces and has this service is sent to the same host, \
        whoever it was for: what users send to the internet, or what other published hosts should get, \
        ends there too.",
    fine_when: "All of it is meant to go to one host, as to a proxy that looks at what users open.",
    remedy: "Add `destination`, the address that outsiders know.",
    references: &[
        "RFC 3022 section 2.2 (a service at the address that outsiders know is mapped to one host inside)",
    ],
    fires: include_str!("examples/any-destination.fires.toml"),
    quiet: include_str!("examples/any-destination.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
