//! A destination translation that some segment can use and gets no answer by.

use boundwalk_diagnostic::{Check, Severity};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "translation-unanswered",
    severity: Severity::Warning,
    summary: "a published service that clients of some segment reach and get no answer from",
    why: "The answer must come back by the gateway that translated, else the client gets it from an address that it never asked. Clients beside the server are answered straight, and drop the answer: what works outside fails inside.",
    fine_when: "Clients there use the server's own name and address.",
    remedy: "Translate the source of those packets too, to the gateway's address on the server's side; or give clients inside the server's own address by DNS.",
    references: &[
        "RFC 4787 section 6: hairpinning",
        "RFC 5382 section 7.2: hairpinning of TCP",
    ],
    fires: include_str!("examples/translation-unanswered.fires.toml"),
    quiet: include_str!("examples/translation-unanswered.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for published in view.published() {
        let (line, fate) = (published.line, &published.fate);
        let names: Vec<&str> = fate
            .unanswered
            .iter()
            .map(|&segment| view.site.segment(segment).name.value.as_str())
            .collect();
        if names.is_empty() {
            continue;
        }
        let what = format!(
            "takes packets from {} to the server, and no answer comes back",
            names.join(", ")
        );
        let help = "translate their source as well, or give clients there the server's own address";
        let draft = found(&CHECK, line.place(), line.subject(view.site), what).help(help);
        report.add(draft.measured(of_things(names.iter().map(|one| format!("from {one}")))));
    }
}
