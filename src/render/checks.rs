//! What checks look for, for people and for programs.

use serde::Serialize;

use boundwalk_diagnostic::{Check, Kind, Severity};

use super::document::{Document, Mark, Rank, Tone};
use super::json_text::to_text;
use super::text::{fit, width};

/// A line for each check.
pub fn checks_document<'c>(checks: impl Iterator<Item = &'c Check> + Clone) -> Document<'static> {
    let longest = checks.clone().map(|check| width(check.name)).max();
    let columns = longest.unwrap_or(0) + 1;
    let mut out = Document::new("Checks", "");
    for check in checks {
        let state = Mark::State {
            word: check.name,
            width: columns,
            tone: Tone::Strong,
        };
        let severity = fit(check.severity.word(), 9);
        out.line(0, state, format!("{severity}{}", check.summary));
    }
    out.gap();
    out.own(0, MORE);
    out
}

const MORE: &str =
    "`boundwalk explain NAME` says all about one. Problems that loading reports have names too.";

/// What a name stands for.
fn named(out: &mut Document<'_>, name: &'static str, severity: Severity, summary: &str) {
    let word = Mark::State {
        word: name,
        width: 0,
        tone: Tone::Strong,
    };
    out.line(0, word, format!("({}): {summary}", severity.word()));
}

/// Everything about one check.
pub fn check_document(check: &'static Check) -> Document<'static> {
    let mut out = Document::new("Check", check.name);
    named(&mut out, check.name, check.severity, check.summary);
    for (title, text) in [
        ("Why it matters", check.why),
        ("When it is fine", check.fine_when),
        ("What to do", check.remedy),
    ] {
        out.heading(Rank::Part, title);
        out.own(2, text);
    }
    out.section("Sources", check.references.iter().copied());
    for (title, text) in [
        ("A site in which it is found", check.fires),
        ("A site in which it is not", check.quiet),
    ] {
        out.heading(Rank::Part, title);
        out.gap();
        out.code("toml", 4, text);
    }
    out
}

/// What there is to say of a kind of problem that loading finds.
pub fn kind_document(kind: &'static Kind) -> Document<'static> {
    let mut out = Document::new("Problem", kind.name);
    named(&mut out, kind.name, kind.severity, kind.summary);
    out.gap();
    out.own(
        0,
        "Found while the site is loaded. The problem itself says where it stands and what to write instead.",
    );
    out
}

#[derive(Serialize)]
struct JsonCheck {
    name: &'static str,
    severity: &'static str,
    summary: &'static str,
    why: &'static str,
    fine_when: &'static str,
    remedy: &'static str,
    references: &'static [&'static str],
    fires: &'static str,
    quiet: &'static str,
}

#[derive(Serialize)]
struct JsonKind {
    name: &'static str,
    severity: &'static str,
    summary: &'static str,
}

#[derive(Serialize)]
struct JsonChecks {
    document: &'static str,
    version: u32,
    checks: Vec<JsonCheck>,
    problems: Vec<JsonKind>,
}

/// Checks, and kinds of problems that loading finds, as a JSON document.
pub fn checks_json<'c>(
    checks: impl Iterator<Item = &'c Check>,
    kinds: impl Iterator<Item = &'c Kind>,
) -> String {
    let checks = checks.map(|check| JsonCheck {
        name: check.name,
        severity: check.severity.word(),
        summary: check.summary,
        why: check.why,
        fine_when: check.fine_when,
        remedy: check.remedy,
        references: check.references,
        fires: check.fires,
        quiet: check.quiet,
    });
    let kinds = kinds.map(|kind| JsonKind {
        name: kind.name,
        severity: kind.severity.word(),
        summary: kind.summary,
    });
    to_text(&JsonChecks {
        document: "boundwalk-checks",
        version: 1,
        checks: checks.collect(),
        problems: kinds.collect(),
    })
}
