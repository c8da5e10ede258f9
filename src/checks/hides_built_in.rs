//! A service of the site that takes a name of the built-in list.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "hides-built-in",
    severity: Severity::Warning,
    summary: "a service that gives a built-in name another meaning",
    why: "Whoever reads a rule knows what `https` is. Here the name means other ports, so that the rule says \
        one thing and permits another; ready-made sets of expectations still mean the built-in one.",
    fine_when: "The site really runs this service on these ports only, and everybody who reads the rules knows it.",
    remedy: "Give the service a name of its own and use that in the rules.",
    references: &["RFC 6335 section 5 (a service name is the unique key of the registry)"],
    fires: include_str!("examples/hides-built-in.fires.toml"),
    quiet: include_str!("examples/hides-built-in.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
