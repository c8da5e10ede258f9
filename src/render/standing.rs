//! What was accepted, what was known before and what is gone, for a review.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use boundwalk_checks::{JudgedFindings, KnownFinding};
use boundwalk_diagnostic::{Finding, Problem, Sources};
use boundwalk_model::Accepted;

use super::markdown_text::{escape, findings_list};
use super::matrix::TextStyle;
use super::text::{escape_control, wrapped};

/// What a review found.
#[derive(Clone, Copy)]
pub struct ReviewShown<'a> {
    /// Texts of the site.
    pub sources: &'a Sources,
    /// Problems of the file that did not keep it from loading.
    pub problems: &'a [Problem],
    /// Findings, by what is to be done about them.
    pub standing: &'a JudgedFindings<'a>,
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
pub fn standing_summary(standing: &JudgedFindings<'_>) -> String {
    let mut out = String::new();
    if !standing.accepted.is_empty() {
        let _ = write!(out, "; {} accepted", standing.accepted.len());
    }
    if let Some(gone) = &standing.gone {
        let _ = write!(out, "; {} known from the baseline", standing.known.len());
        if !gone.is_empty() {
            let _ = write!(out, ", {} of it gone", gone.len());
        }
    }
    out
}

/// The same at length, for a terminal; empty where there is nothing besides open findings.
pub fn standing_text(standing: &JudgedFindings<'_>, paint: TextStyle) -> String {
    let mut out = String::new();
    if !standing.accepted.is_empty() {
        let lines = standing.accepted.iter().map(|(finding, entry)| {
            let (name, message) = (finding.check.name, &finding.message);
            format!("{name}: {message}: accepted: {}", decision(entry))
        });
        let lines: Vec<String> = lines.collect();
        list(&mut out, "Accepted, not counted", &lines, paint);
    }
    if !standing.known.is_empty() {
        let title = "Known from the baseline, not counted";
        list(&mut out, title, &by_check(&standing.known), paint);
    }
    if let Some(gone) = standing.gone.as_ref().filter(|gone| !gone.is_empty()) {
        let mut lines: Vec<String> = gone.iter().take(NAMES).map(known_name).collect();
        if gone.len() > NAMES {
            lines.push(format!("and {} more", gone.len() - NAMES));
        }
        list(&mut out, "In the baseline, found no more", &lines, paint);
    }
    out
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
        let subjects = own.iter().flat_map(|finding| &finding.subjects);
        let mut names: Vec<&str> = subjects.map(String::as_str).collect();
        names.dedup();
        let dots = if names.len() > NAMES { " …" } else { "" };
        names.truncate(NAMES);
        format!("{} of {name}: {}{dots}", own.len(), names.join(", "))
    };
    order.iter().map(line).collect()
}

fn list(out: &mut String, title: &str, lines: &[String], paint: TextStyle) {
    let _ = writeln!(out, "{}", paint.strong(title));
    for line in lines {
        let room = paint.columns.saturating_sub(4).max(30);
        let lines = wrapped(&escape_control(line), room).join("\n    ");
        let _ = writeln!(out, "  - {lines}");
    }
    out.push('\n');
}

/// The findings of a review as chapters of a Markdown document.
pub(super) fn standing_markdown(
    out: &mut String,
    sources: &Sources,
    standing: &JudgedFindings<'_>,
) {
    findings_list(out, "Findings", sources, &standing.open);
    if !standing.accepted.is_empty() {
        let _ = writeln!(out, "## Accepted, not counted\n");
        for (finding, entry) in &standing.accepted {
            let place = finding.span.map(|span| sources.place(span));
            let place = escape(&place.unwrap_or_default());
            let (message, why) = (escape(&finding.message), escape(&decision(entry)));
            let name = finding.check.name;
            let _ = writeln!(out, "- **accepted** {message} ({place}, `{name}`): {why}");
        }
        out.push('\n');
    }
    let title = "Known from the baseline, not counted";
    findings_list(out, title, sources, &standing.known);
    if let Some(gone) = standing.gone.as_ref().filter(|gone| !gone.is_empty()) {
        let _ = writeln!(out, "## In the baseline, found no more\n");
        for known in gone {
            let _ = writeln!(out, "- {}", escape(&known_name(known)));
        }
        out.push('\n');
    }
}
