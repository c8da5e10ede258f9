//! A gateway that believes every source address.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::SourceCheck;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "source-check-off",
    severity: Severity::Warning,
    summary: "an interface of a filtering gateway without a source check",
    why: "A device behind this interface may send with the address of any other, and rules that go by source \
        addresses believe it. Replies go to the real owner, but one way is enough to do harm.",
    fine_when: "Packets really come in by another interface than the way back leaves by; then a `loose` check, or \
        rules on the interface, do what can be done.",
    remedy: "Set `source_check = \"strict\"`; `\"loose\"` where ways differ.",
    references: &[
        "RFC 2827 section 3",
        "RFC 3704 section 2",
        "RFC 6092 REC-5 and REC-6 (IPv6)",
    ],
    fires: include_str!("examples/source-check-off.fires.toml"),
    quiet: include_str!("examples/source-check-off.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for router in view
        .site
        .routers
        .iter()
        .filter(|router| router.filter().is_some())
    {
        for interface in &router.interfaces {
            let off = interface.source_check == SourceCheck::Off;
            // Without an address there is no route to check against.
            if off && !interface.addresses.is_empty() {
                let subject = format!("{}:{}", router.name.value, interface.name.value);
                report.add(
                    found(
                        &CHECK,
                        interface.name.span,
                        subject,
                        "lets in any source address",
                    )
                    .help("add `source_check = \"strict\"`"),
                );
            }
        }
    }
}
