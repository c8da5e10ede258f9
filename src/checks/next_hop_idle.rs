//! A next hop that does not forward.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "next-hop-idle",
    severity: Severity::Warning,
    summary: "a next hop that no forwarding device of the site has",
    why: "What the route sends is lost: nobody answers for the next hop, or whoever has the address does not \
        forward. A device that is there and not described would get it all.",
    fine_when: "The device that forwards is not described on purpose. Answers about what the route sends then do \
        not hold.",
    remedy: "Describe the device, or correct the address.",
    references: &[
        "RFC 1812 section 5.2.4 (the next hop is an adjacent host or router, to which the packet goes)",
    ],
    fires: include_str!("examples/next-hop-idle.fires.toml"),
    quiet: include_str!("examples/next-hop-idle.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
