//! Names that differ and look alike.

use rustc_hash::FxHashMap;
use unicode_security::skeleton;

use boundwalk_diagnostic::{Problem, Spanned};

use super::context::Context;
use super::kinds;
use super::names::NameTable;
use super::spelling::difference;

/// Warns of two names of one kind that a reader takes for the same: their skeletons are equal (UTS #39 section 4).
/// Cost: the letters of all names.
pub(super) fn check(cx: &mut Context<'_>) {
    let tables = [
        &cx.zones,
        &cx.segments,
        &cx.groups,
        &cx.services,
        &cx.devices,
    ];
    let problems: Vec<Problem> = tables.into_iter().flat_map(alike).collect();
    problems.into_iter().for_each(|problem| cx.report(problem));
}

fn alike(table: &NameTable<'_>) -> Vec<Problem> {
    let mut seen: FxHashMap<String, Spanned<&str>> = FxHashMap::default();
    let mut problems = Vec::new();
    for number in 0..table.len() {
        let name = table.name(number);
        let first = *seen.entry(skeleton(name.value).collect()).or_insert(name);
        if first.value != name.value {
            let message = format!(
                "the {} `{}` looks like `{}`{}",
                table.what,
                name.value,
                first.value,
                difference(name.value, first.value)
            );
            let problem = Problem::at(&kinds::NAMES_LOOK_ALIKE, name.span, message);
            let problem = problem.note(first.span, "the other one").about(name.value);
            problems.push(problem.help("give one of them a name that nobody takes for the other"));
        }
    }
    problems
}
