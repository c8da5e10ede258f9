//! `boundwalk rules --clean`: a shorter rule list as a patch.

use std::io;

use boundwalk_analysis::privilege::party_text;
use boundwalk_analysis::rules::{Cleaned, Comparison, GatewayReview, Judge, Merge};
use boundwalk_load::{Edit, EditError, EditedFile, RuleField, apply_edits, load_edited};
use boundwalk_model::{RouterId, RuleParty, Site};
use boundwalk_render::{CleanedBook, clean_document, clean_json};

use super::format::{Format, print};
use super::output::Output;
use super::site::Opened;
use super::verdict::Verdict;
use super::write::replace;

/// How a cleaned list is wanted.
#[derive(Clone, Copy)]
pub(super) struct Wish {
    pub(super) format: Format,
    pub(super) write: bool,
}

/// Rounds after which a list is taken as it is: each leaves fewer rules, and two nearly always do.
const MOST_ROUNDS: usize = 12;

/// Shows what can be left out of the lists, and writes it where that is asked for.
pub(super) fn run(
    opened: &Opened,
    gateway_reviews: &[GatewayReview<'_>],
    wish: Wish,
    output: &mut Output,
) -> io::Result<Verdict> {
    let found = match rounds(opened, gateway_reviews) {
        Ok(found) => found,
        Err(Failed::Unproved(name)) => {
            output.refuse(&format!(
                "{name}: a shorter list was found, but could not be proved to decide every packet alike: nothing is \
                 suggested"
            ))?;
            return Ok(Verdict::Failed);
        }
        Err(Failed::Edit(error)) => {
            return output.failed(&format!("can't edit the site file: {error}"));
        }
    };
    let cleaned: Vec<CleanedBook<'_, '_>> = gateway_reviews.iter().zip(found.lists).collect();
    let files = found.files;
    if wish.write
        && let Err(error) = replace(&files)
    {
        return output.failed(&error.to_string());
    }
    let document = || clean_document(&opened.site, &cleaned, &files);
    print(wish.format, output, document, || {
        clean_json(&cleaned, &files)
    })?;
    ended(&files, wish.format, wish.write, output)
}

/// Why no shorter list is shown.
enum Failed {
    /// The list of this gateway was not proved to be the same.
    Unproved(String),
    Edit(EditError),
}

/// What is left out of each list, and the files without it.
struct Found {
    lists: Vec<Cleaned>,
    files: Vec<EditedFile>,
}

/// Cleans until nothing is left to clean: a rule that is gone may have been all that another one was needed for.
fn rounds(opened: &Opened, gateway_reviews: &[GatewayReview<'_>]) -> Result<Found, Failed> {
    let (mut lists, mut files) = round(opened, gateway_reviews)?;
    let mut left: Vec<Vec<usize>> = Vec::new();
    for (gateway_review, list) in gateway_reviews.iter().zip(&lists) {
        left.push(
            (0..gateway_review.rules.len())
                .filter(|rule| !is_gone(list, *rule))
                .collect(),
        );
    }
    for _ in 1..MOST_ROUNDS {
        let loaded = load_edited(&opened.sources, &files);
        let (Some(site), false) = (loaded.site, files.is_empty()) else {
            break;
        };
        let again = Opened {
            site,
            sources: loaded.sources,
            problems: Vec::new(),
            today: opened.today,
            effort: opened.effort,
        };
        let network = again.network();
        let shorter: Vec<GatewayReview<'_>> = gateway_reviews
            .iter()
            .map(|gateway_review| gateway_review.id)
            .filter_map(|id| GatewayReview::new(&network, id))
            .collect();
        let (more, edited) = round(&again, &shorter)?;
        for ((list, numbers), more) in lists.iter_mut().zip(&mut left).zip(&more) {
            add(list, numbers, more);
        }
        if edited.is_empty() {
            break;
        }
        files = after_both(files, edited);
    }
    Ok(Found { lists, files })
}

/// One look at each list.
fn round(
    opened: &Opened,
    gateway_reviews: &[GatewayReview<'_>],
) -> Result<(Vec<Cleaned>, Vec<EditedFile>), Failed> {
    let mut lists = Vec::new();
    let mut edits = Vec::new();
    for gateway_review in gateway_reviews {
        let judge = Judge::new(&gateway_review.space, gateway_review.space.effort());
        let list = Cleaned::new(&judge, &gateway_review.review);
        if list.comparison != Comparison::Same {
            return Err(Failed::Unproved(gateway_review.router.name.value.clone()));
        }
        edits.extend(edits_of(&opened.site, gateway_review.id, &list));
        lists.push(list);
    }
    let files = apply_edits(&opened.site, &opened.sources, &edits).map_err(Failed::Edit)?;
    Ok((lists, files))
}

fn is_gone(list: &Cleaned, rule: usize) -> bool {
    let mut merged = list.merges.iter().flat_map(|merge| &merge.from);
    list.removed.contains(&rule) || merged.any(|&gone| gone == rule)
}

/// Adds what a later round leaves out, by the numbers of the first list; `numbers`: those of the rules that were left.
fn add(list: &mut Cleaned, numbers: &mut Vec<usize>, more: &Cleaned) {
    let number = |rule: &usize| numbers[*rule];
    list.removed.extend(more.removed.iter().map(number));
    list.removed.sort_unstable();
    list.merges.extend(more.merges.iter().map(|merge| Merge {
        into: numbers[merge.into],
        from: merge.from.iter().map(number).collect(),
        ..merge.clone()
    }));
    list.kept = more
        .kept
        .iter()
        .map(|(rule, why)| (numbers[*rule], *why))
        .collect();
    let mut at = 0..numbers.len();
    numbers.retain(|_| at.next().is_some_and(|rule| !is_gone(more, rule)));
}

/// Files after two rounds of edits.
fn after_both(first: Vec<EditedFile>, second: Vec<EditedFile>) -> Vec<EditedFile> {
    let mut files = first;
    for edited in second {
        match files.iter_mut().find(|file| file.file == edited.file) {
            Some(file) => file.after = edited.after,
            None => files.push(edited),
        }
    }
    files.sort_by_key(|file| file.file.0);
    files
}

/// How a suggestion ends that was shown, and perhaps written before: with the files that were written.
pub(super) fn ended(
    files: &[EditedFile],
    format: Format,
    written: bool,
    output: &mut Output,
) -> io::Result<Verdict> {
    if !written {
        return Ok(if files.is_empty() {
            Verdict::Clean
        } else {
            Verdict::Findings
        });
    }
    for file in files.iter().filter(|_| !format.is_json()) {
        let name = boundwalk_render::escape_control(&file.name);
        output.print(&format!("\nwritten: {name}\n"))?;
    }
    Ok(Verdict::Clean)
}

fn edits_of(site: &Site, router: RouterId, cleaned: &Cleaned) -> Vec<Edit> {
    let merged = cleaned.merges.iter().flat_map(|merge| &merge.from);
    let removals = cleaned
        .removed
        .iter()
        .chain(merged)
        .map(|&rule| Edit::RemoveRule { router, rule });
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
    let parties = |field: &Option<Vec<RuleParty>>| {
        field
            .iter()
            .flatten()
            .map(|&party| party_text(site, party))
            .collect()
    };
    let addresses = |field: &Option<boundwalk_model::AddressMatch>| {
        field
            .iter()
            .flat_map(|field| &field.written)
            .map(|item| item.value.clone())
            .collect()
    };
    match merge.field {
        RuleField::From => parties(&rule.from),
        RuleField::To => parties(&rule.to),
        RuleField::Source => addresses(&rule.source),
        RuleField::Destination => addresses(&rule.destination),
        RuleField::Services => rule
            .services
            .iter()
            .flat_map(|list| &list.written)
            .map(|item| item.value.clone())
            .collect(),
    }
}
