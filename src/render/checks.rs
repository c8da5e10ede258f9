//! What checks look for, for people and for programs.

use std::fmt::Write;

use serde::Serialize;

use boundwalk_diagnostic::{Check, Kind};

use super::json_text::to_text;
use super::matrix::TextStyle;
use super::text::{fit, width, wrapped};

/// A line or two for each check.
pub fn checks_text<'c>(
    checks: impl Iterator<Item = &'c Check> + Clone,
    paint: TextStyle,
) -> String {
    let longest = checks.clone().map(|check| width(check.name)).max();
    let name_columns = longest.unwrap_or(0) + 2;
    let indent = name_columns + 9;
    let mut out = String::new();
    for check in checks {
        let room = paint.columns.saturating_sub(indent).max(30);
        for (number, line) in wrapped(check.summary, room).into_iter().enumerate() {
            let _ = match number {
                0 => {
                    let name = paint.strong(&fit(check.name, name_columns));
                    let severity = fit(check.severity.word(), 9);
                    writeln!(out, "{name}{severity}{line}")
                }
                _ => writeln!(out, "{}{line}", " ".repeat(indent)),
            };
        }
    }
    out
}

/// Everything about one check.
pub fn check_text(check: &Check, paint: TextStyle) -> String {
    let mut out = format!(
        "{} ({}): {}\n",
        paint.strong(check.name),
        check.severity.word(),
        check.summary
    );
    for (title, text) in [
        ("Why it matters", check.why),
        ("When it is fine", check.fine_when),
        ("What to do", check.remedy),
    ] {
        let _ = writeln!(out, "\n{}", paint.strong(title));
        for line in wrapped(text, paint.columns.saturating_sub(2).max(30)) {
            let _ = writeln!(out, "  {line}");
        }
    }
    let _ = writeln!(out, "\n{}", paint.strong("Sources"));
    for source in check.references {
        let lines = wrapped(source, paint.columns.saturating_sub(4).max(30));
        let _ = writeln!(out, "  - {}", lines.join("\n    "));
    }
    for (title, text) in [
        ("A site in which it is found", check.fires),
        ("A site in which it is not", check.quiet),
    ] {
        let _ = writeln!(out, "\n{}\n", paint.strong(title));
        for line in text.lines() {
            let _ = match line.is_empty() {
                true => writeln!(out),
                false => writeln!(out, "    {line}"),
            };
        }
    }
    out
}

/// What there is to say of a kind of problem that loading finds.
pub fn kind_text(kind: &Kind, paint: TextStyle) -> String {
    let name = paint.strong(kind.name);
    let severity = kind.severity.word();
    let text = "Found while the site is loaded. The problem itself says where it stands and what to write \
        instead.";
    let lines = wrapped(text, paint.columns.max(30)).join("\n");
    format!("{name} ({severity}): {}\n\n{lines}\n", kind.summary)
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
