//! A decision to live with what no check finds.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_load::KINDS;

use super::acceptance::{OWN, can_be_accepted, name};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "acceptance-unknown",
    severity: Severity::Warning,
    summary: "an accepted finding of a check that there is not, or that can't be accepted",
    why: "The entry accepts nothing: the name of its check is misspelt, or what it names is no finding of a check. Whoever wrote it believes something else.",
    fine_when: "The file is also read by a newer version that has this check.",
    remedy: "Write the name of the check as it stands in brackets in front of the finding; `boundwalk explain` lists all of them.",
    references: &["How this format is read; no source beyond it"],
    fires: include_str!("examples/acceptance-unknown.fires.toml"),
    quiet: include_str!("examples/acceptance-unknown.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for entry in &view.site.accepted {
        let check = entry.check.value.as_str();
        if can_be_accepted(view, check) {
            continue;
        }
        let (what, help) = if OWN.contains(&check) {
            (
                "what this check finds can't be accepted: it speaks of such entries itself",
                "mend the entry that it names".to_owned(),
            )
        } else if KINDS.iter().any(|kind| kind.name == check) {
            (
                "this problem keeps a site from loading, or is about the reading itself: it can't be accepted",
                "mend it in the file".to_owned(),
            )
        } else {
            ("there is no check of this name", hint(view, check))
        };
        report.add(found(&CHECK, entry.check.span, name(entry), what).help(help));
    }
}

/// The nearest name, where one is near: at most a third of its letters are other ones.
fn hint(view: &CheckContext<'_>, name: &str) -> String {
    let known = view.names.iter();
    let near = known
        .map(|known| (strsim::damerau_levenshtein(name, known), known))
        .min_by_key(|(distance, _)| *distance)
        .filter(|(distance, _)| *distance <= name.chars().count().div_ceil(3));
    near.map_or_else(
        || "`boundwalk explain` lists all checks".to_owned(),
        |(_, near)| format!("did you mean `{near}`?"),
    )
}
