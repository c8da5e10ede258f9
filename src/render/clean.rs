//! A shorter rule list, in words.

use serde::Serialize;

use boundwalk_analysis::CAUTION;
use boundwalk_analysis::rules::{Cleaned, GatewayReview, Kept, RuleStatus};
use boundwalk_load::EditedFile;
use boundwalk_model::Site;

use super::document::{Document, Mark};
use super::json_text::to_text;
use super::patch::patch_text;
use super::rules::state;
use super::text_style::TextStyle;

/// A gateway's book and the shorter list that was found for it.
pub type CleanedBook<'a, 'n> = (&'a GatewayReview<'n>, Cleaned);

/// What goes, what stays and why, and the patch.
pub fn clean_document<'a>(
    site: &'a Site,
    gateway_reviews: &[CleanedBook<'_, '_>],
    files: &'a [EditedFile],
) -> Document<'a> {
    let mut out = Document::new("Shorter rule lists", &site.name);
    for (gateway_review, cleaned) in gateway_reviews {
        out.line(0, Mark::Hanging, statement(gateway_review, cleaned));
        for line in changes(gateway_review, cleaned) {
            out.line(2, Mark::Hanging, line);
        }
    }
    out.plain(0, CAUTION);
    if !files.is_empty() {
        out.gap();
        out.patch(files);
    }
    out
}

/// What was proved, in one sentence.
fn statement(gateway_review: &GatewayReview<'_>, cleaned: &Cleaned) -> String {
    let name = &gateway_review.router.name.value;
    if cleaned.is_same() {
        return format!(
            "{name}: there is nothing to clean in its {} rules.",
            gateway_review.rules.len()
        );
    }
    let merged: usize = cleaned.merges.iter().map(|merge| merge.from.len()).sum();
    let left = gateway_review.rules.len() - cleaned.removed.len() - merged;
    format!(
        "{name}: {left} of {} rules are left. Verdicts are identical for every packet that can arrive at {name} and \
         leave it: both lists were compared.",
        gateway_review.rules.len()
    )
}

/// A line for each rule that goes, is merged, or stays although it could go.
fn changes(gateway_review: &GatewayReview<'_>, cleaned: &Cleaned) -> Vec<String> {
    let name = |rule: usize| format!("{} \"{}\"", rule + 1, gateway_review.rules[rule].name.value);
    let removed = cleaned.removed.iter().map(|&rule| {
        format!(
            "goes: {}: {}",
            name(rule),
            reason(&gateway_review.review.rules[rule])
        )
    });
    let merged = cleaned.merges.iter().map(|merge| {
        let from: Vec<String> = merge.from.iter().map(|&rule| name(rule)).collect();
        let (into, field) = (name(merge.into), merge.field.key());
        format!("joined: {} into {into}, in `{field}`", from.join(", "))
    });
    let kept = cleaned
        .kept
        .iter()
        .map(|&(rule, kept)| format!("stays: {}: {}", name(rule), why(kept)));
    removed.chain(merged).chain(kept).collect()
}

fn reason(status: &RuleStatus) -> String {
    match state(status) {
        "repeated" => "it only repeats earlier rules".to_owned(),
        "redundant" => "later rules or the default do the same".to_owned(),
        _ => "with the other rules gone nothing changes without it".to_owned(),
    }
}

/// Why a rule stays that could go.
fn why(kept: Kept) -> &'static str {
    match kept {
        Kept::Contradicted => "earlier rules do the opposite: decide which is meant",
        Kept::Counted => "the gateway has counted packets at it: the file and the network differ",
        Kept::Default => "it writes the default out",
        Kept::Logs => "it logs, and what decides in its place may not",
        Kept::Irrelevant => "nothing can match it now: correct it, or remove it by hand",
        Kept::Needed => "with the other rules that stay it is needed",
    }
}

#[derive(Serialize)]
struct JsonClean<'a> {
    document: &'static str,
    version: u32,
    gateways: Vec<JsonCleaned<'a>>,
    patch: String,
    note: &'static str,
}

#[derive(Serialize)]
struct JsonCleaned<'a> {
    gateway: &'a str,
    verdicts_identical: bool,
    removed: Vec<usize>,
    merged: Vec<JsonMerge>,
    kept: Vec<JsonKept>,
}

#[derive(Serialize)]
struct JsonMerge {
    into: usize,
    from: Vec<usize>,
    field: &'static str,
}

#[derive(Serialize)]
struct JsonKept {
    rule: usize,
    why: &'static str,
}

/// The same as a JSON document.
pub fn clean_json(gateway_reviews: &[CleanedBook<'_, '_>], files: &[EditedFile]) -> String {
    to_text(&JsonClean {
        document: "boundwalk-clean",
        version: 1,
        gateways: gateway_reviews
            .iter()
            .map(|(gateway_review, cleaned)| json_cleaned(gateway_review, cleaned))
            .collect(),
        patch: patch_text(files, TextStyle::PLAIN),
        note: CAUTION,
    })
}

fn json_cleaned<'a>(gateway_review: &'a GatewayReview<'_>, cleaned: &Cleaned) -> JsonCleaned<'a> {
    JsonCleaned {
        gateway: &gateway_review.router.name.value,
        // What was not proved alike is not suggested.
        verdicts_identical: true,
        removed: cleaned.removed.iter().map(|rule| rule + 1).collect(),
        merged: cleaned
            .merges
            .iter()
            .map(|merge| JsonMerge {
                into: merge.into + 1,
                from: merge.from.iter().map(|rule| rule + 1).collect(),
                field: merge.field.key(),
            })
            .collect(),
        kept: cleaned
            .kept
            .iter()
            .map(|&(rule, kept)| JsonKept {
                rule: rule + 1,
                why: why(kept),
            })
            .collect(),
    }
}
