//! `boundwalk rules --clean`: a shorter rule list as a patch.

use std::io;

use crate::analysis::privilege::party_text;
use crate::analysis::rules::{Cleaned, Comparison, Effort, Judge, Merge, RuleBook};
use crate::load::{Edit, EditedFile, RuleField, apply_edits};
use crate::model::{Party, RouterId, Site};
use crate::render::{CleanedBook, clean_json, clean_text};

use super::site::Opened;
use super::write::replace;
use super::{Output, Verdict};

/// How a cleaned list is wanted.
#[derive(Clone, Copy)]
pub(super) struct Wish {
    pub(super) json: bool,
    pub(super) write: bool,
}

/// Shows what can be left out of the lists, and writes it where that is asked for.
pub(super) fn run(
    opened: &Opened,
    books: &[RuleBook<'_>],
    wish: Wish,
    output: &mut Output,
) -> io::Result<Verdict> {
    let mut cleaned: Vec<CleanedBook<'_, '_>> = Vec::new();
    let mut edits = Vec::new();
    for book in books {
        let judge = Judge::new(&book.space, Effort::default());
        let list = Cleaned::new(&judge, &book.review);
        if list.comparison != Comparison::Same {
            let name = &book.router.name.value;
            output.refuse(&format!(
                "{name}: a shorter list was found, but could not be proved to decide every packet alike: nothing is \
                 suggested"
            ))?;
            return Ok(Verdict::Failed);
        }
        edits.extend(edits_of(&opened.site, book.id, &list));
        cleaned.push((book, list));
    }
    let files = match apply_edits(&opened.site, &opened.sources, &edits) {
        Ok(files) => files,
        Err(error) => {
            return output.failed(&format!("can't edit the site file: {error}"));
        }
    };
    let paint = output.paint();
    output.print(&match wish.json {
        true => clean_json(&cleaned, &files),
        false => clean_text(&cleaned, &files, paint),
    })?;
    match wish.write {
        true => written(&files, wish.json, output),
        false if files.is_empty() => Ok(Verdict::Clean),
        false => Ok(Verdict::Findings),
    }
}

pub(super) fn written(
    files: &[EditedFile],
    json: bool,
    output: &mut Output,
) -> io::Result<Verdict> {
    if let Err(error) = replace(files) {
        return output.failed(&error.to_string());
    }
    for file in files.iter().filter(|_| !json) {
        output.print(&format!(
            "\nwritten: {}\n",
            crate::render::clean(&file.name)
        ))?;
    }
    Ok(Verdict::Clean)
}

fn edits_of(site: &Site, router: RouterId, cleaned: &Cleaned) -> Vec<Edit> {
    let merged = cleaned.merges.iter().flat_map(|merge| &merge.from);
    let gone = cleaned.removed.iter().chain(merged);
    let removals = gone.map(|&rule| Edit::RemoveRule { router, rule });
    let joined = cleaned.merges.iter().map(|merge| Edit::SetRuleField {
        router,
        rule: merge.into,
        field: merge.field,
        items: items(site, merge),
    });
    removals.chain(joined).collect()
}

/// The joined list as the file writes it.
fn items(site: &Site, merge: &Merge) -> Vec<String> {
    let rule = &merge.rule;
    let parties = |field: &Option<Vec<Party>>| {
        let parties = field.iter().flatten();
        parties.map(|&party| party_text(site, party)).collect()
    };
    let addresses = |field: &Option<crate::model::AddressMatch>| {
        let items = field.iter().flat_map(|field| &field.written);
        items.map(|item| item.value.clone()).collect()
    };
    match merge.field {
        RuleField::From => parties(&rule.from),
        RuleField::To => parties(&rule.to),
        RuleField::Source => addresses(&rule.source),
        RuleField::Destination => addresses(&rule.destination),
        RuleField::Services => {
            let items = rule.services.iter().flat_map(|list| &list.written);
            items.map(|item| item.value.clone()).collect()
        }
    }
}
