//! What was accepted, what was known before and what is gone, for a review.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use boundwalk_checks::{JudgedFindings, KnownFinding};
use boundwalk_diagnostic::{Finding, Problem, Sources};
use boundwalk_model::Accepted;

use super::document::{Document, Mark, Rank, Tone};

/// What a review found.
#[derive(Clone, Copy)]
pub struct ReviewShown<'a> {
    /// Texts of the site.
    pub sources: &'a Sources,
    /// Problems of the file that did not keep it from loading.
    pub problems: &'a [Problem],
    /// Findings, by what is to be done about them.
    pub reviewed: &'a JudgedFindings<'a>,
    /// One line that sums it up.
    pub summary: &'a str,
}

/// Names of things that are gone or known that are listed.
const NAMES: usize = 40;

/// Why, who and how long: `it is due to go (network, until 2026-12-31)`.
pub(super) fn decision(entry: &Accepted) -> String {
    let (reason, owner) = (entry.reason.trim(), entry.owner.trim());
    format!("{reason} ({owner}, until {})", entry.until.value)
}

/// Words for the line that sums a review up: what is there besides open findings; empty where nothing is.
pub fn reviewed_summary(reviewed: &JudgedFindings<'_>) -> String {
    let mut out = String::new();
    if !reviewed.accepted.is_empty() {
        let _ = write!(out, "; {} accepted", reviewed.accepted.len());
    }
    if let Some(gone) = &reviewed.gone {
        let _ = write!(out, "; {} known from the baseline", reviewed.known.len());
        if !gone.is_empty() {
            let _ = write!(out, ", {} of it gone", gone.len());
        }
    }
    out
}

/// The same at length; empty where there is nothing besides open findings.
pub fn reviewed_document<'a>(reviewed: &JudgedFindings<'_>) -> Document<'a> {
    let mut out = Document::new("Findings that do not count", "");
    let accepted = reviewed.accepted.iter().map(|(finding, entry)| {
        let (name, message) = (finding.check.name, &finding.message);
        format!("{name}: {message}: accepted: {}", decision(entry))
    });
    list(&mut out, "Accepted, not counted", accepted.collect());
    let known = by_check(&reviewed.known);
    list(&mut out, "Known from the baseline, not counted", known);
    let gone = reviewed.gone.as_deref().unwrap_or_default();
    let mut lines: Vec<String> = gone.iter().take(NAMES).map(known_name).collect();
    if gone.len() > NAMES {
        lines.push(format!("and {} more", gone.len() - NAMES));
    }
    list(&mut out, "In the baseline, found no more", lines);
    out
}

fn list(out: &mut Document<'_>, title: &str, lines: Vec<String>) {
    if !lines.is_empty() {
        out.heading(Rank::Answer, title);
        out.bullets(lines);
        out.gap();
    }
}

/// A check and a subject, as a list names them.
fn known_name(known: &KnownFinding) -> String {
    format!("{}: {}", known.check, known.subject)
}

/// A line for each check: how many findings, and whom they speak of.
fn by_check(findings: &[Finding]) -> Vec<String> {
    let mut order: Vec<&str> = Vec::new();
    let mut of_check: FxHashMap<&str, Vec<&Finding>> = FxHashMap::default();
    for finding in findings {
        let name = finding.check.name;
        let own = of_check.entry(name).or_default();
        if own.is_empty() {
            order.push(name);
        }
        own.push(finding);
    }
    let line = |name: &&str| {
        let own = &of_check[name];
        let mut names: Vec<&str> = own
            .iter()
            .flat_map(|finding| &finding.subjects)
            .map(String::as_str)
            .collect();
        names.dedup();
        let dots = if names.len() > NAMES { " …" } else { "" };
        names.truncate(NAMES);
        format!("{} of {name}: {}{dots}", own.len(), names.join(", "))
    };
    order.iter().map(line).collect()
}

/// The findings of a review as chapters of a page.
pub(super) fn put_reviewed<'a>(
    out: &mut Document<'a>,
    sources: &'a Sources,
    reviewed: &'a JudgedFindings<'_>,
) {
    if !reviewed.open.is_empty() {
        out.heading(Rank::Answer, "Findings");
        out.findings(sources, &reviewed.open, true);
    }
    if !reviewed.accepted.is_empty() {
        out.heading(Rank::Answer, "Accepted, not counted");
    }
    for (finding, entry) in &reviewed.accepted {
        let place = finding.span.map(|span| sources.place(span));
        let (place, name) = (place.unwrap_or_default(), finding.check.name);
        let word = Mark::State {
            word: "accepted",
            width: 8,
            tone: Tone::Plain,
        };
        let why = decision(entry);
        out.line(
            2,
            word,
            format!("{} ({place}, {name}): {why}", finding.message),
        );
    }
    if !reviewed.known.is_empty() {
        out.heading(Rank::Answer, "Known from the baseline, not counted");
        out.findings(sources, &reviewed.known, true);
    }
    let gone = reviewed.gone.as_deref().unwrap_or_default();
    let gone = gone.iter().map(known_name).collect();
    list(out, "In the baseline, found no more", gone);
}
