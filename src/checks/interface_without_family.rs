//! A translation to an address that an interface lacks.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "interface-without-family",
    severity: Severity::Warning,
    summary: "a translation to an address that the interface does not have",
    why: "What leaves by this interface in that family is not translated: it is sent with its own source, or \
        not at all, and nobody answers it.",
    fine_when: "Nothing of that family leaves there. Then say so with a `source` or `destination` of the other \
        family.",
    remedy: "Give the interface an address of the family, or name the address to translate to.",
    references: &["RFC 3022 section 2.2 (a private network shares the one address of its router)"],
    fires: include_str!("examples/interface-without-family.fires.toml"),
    quiet: include_str!("examples/interface-without-family.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
