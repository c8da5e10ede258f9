//! A translation that never applies.

use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::translation::{List, TranslationLine};
use super::translations::{lines, taken};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "translation-dead",
    severity: Severity::Warning,
    summary: "a translation that never applies, because earlier lines take all that it names",
    why: "Who wrote the line expects another address to be reached, or to be seen outside. The first line that matches is applied, and that is always an earlier one.",
    fine_when: "Never for long: one of the lines is left over, or stands in the wrong place.",
    remedy: "Remove the line, or move it before those that take its packets.",
    references: &["First match in lists of translations: common practice, no source"],
    fires: include_str!("examples/translation-dead.fires.toml"),
    quiet: include_str!("examples/translation-dead.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for line in lines(view) {
        let taken = taken(view, line);
        let applies = taken
            .iter()
            .flat_map(|one| &one.regions)
            .any(|region| !region.is_empty());
        let mut before: Vec<usize> = taken.into_iter().flat_map(|one| one.before).collect();
        before.sort_unstable();
        before.dedup();
        if applies || before.is_empty() {
            continue;
        }
        let names = before.iter().map(|&number| {
            let name = &earlier(view, line, number).name.value;
            format!("\"{name}\"")
        });
        let names: Vec<String> = names.collect();
        let takes = if names.len() == 1 { "takes" } else { "take" };
        let what = format!(
            "never applies: {} {takes} all that it names",
            names.join(", ")
        );
        let mut draft = found(&CHECK, line.place(), line.subject(view.site), what)
            .help("remove it, or move it before those");
        for number in before {
            let place = earlier(view, line, number).name.span;
            draft = draft.note(place, "comes before");
        }
        report.add(draft);
    }
}

fn earlier<'v>(
    view: &CheckContext<'v>,
    line: TranslationLine<'v>,
    number: usize,
) -> &'v boundwalk_model::Translation {
    let filter = view.site.router(line.router).filter();
    let list = filter.map(|filter| match line.list {
        List::Arriving => &filter.destination_translations,
        List::Leaving => &filter.source_translations,
    });
    list.map_or(line.translation, |list| &list[number])
}
