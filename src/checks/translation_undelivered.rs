//! A destination translation of which nothing arrives.

use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "translation-undelivered",
    severity: Severity::Warning,
    summary: "a destination translation whose packets arrive nowhere: no rule permits them, or nobody is there",
    why: "A service is published by two things: the translation, and a rule that permits what it makes. Where one is missing, or the address is nobody's, people outside meet silence.",
    fine_when: "The service is closed for the time being: disable the line then.",
    remedy: "Permit the translated packets, to the address and port that the line writes; or correct the address; or remove the line.",
    references: &["Rules see the translated destination: common practice, no source"],
    fires: include_str!("examples/translation-undelivered.fires.toml"),
    quiet: include_str!("examples/translation-undelivered.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for published in view.published() {
        let fate = &published.fate;
        let line = published.line;
        if fate.arrives != Some(false) {
            continue;
        }
        let why = fate.why.as_ref().map_or(String::new(), |why| {
            format!(": behind it a packet is {why}")
        });
        let what = format!("translates packets of which none arrives{why}");
        let help =
            "permit what it makes, to the address and port that it writes; or correct the address";
        report.add(found(&CHECK, line.place(), line.subject(view.site), what).help(help));
    }
}
