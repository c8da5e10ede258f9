//! A matrix and a review as Markdown.

use std::fmt::Write;

use boundwalk_diagnostic::{Finding, Severity, Sources, Span};

use super::key::Key;
use super::matrix::{LETTERS, fixed_codes, used_signs};
use super::shape::Sheet;
use super::standing::{ReviewShown, standing_markdown};
use super::text::clean;

/// A matrix as a Markdown table with its legend.
pub fn matrix_markdown(sheet: &Sheet, key: &Key, codes: &[Vec<String>]) -> String {
    let mut out = String::new();
    title(&mut out, "Who can reach what", sheet);
    table(&mut out, sheet, key, codes);
    notes(&mut out, sheet);
    out
}

/// A review as Markdown.
pub fn review_markdown(
    shown: ReviewShown<'_>,
    sheet: &Sheet,
    key: &Key,
    codes: &[Vec<String>],
) -> String {
    let mut out = String::new();
    title(&mut out, "Review", sheet);
    let _ = writeln!(out, "{}\n", escape(shown.summary));
    let problems = shown.problems.iter().map(|problem| Item {
        name: problem.kind.name,
        severity: problem.severity(),
        message: &problem.message,
        span: problem.span,
        help: problem.help.as_deref(),
    });
    list(
        &mut out,
        "Problems of the site file",
        shown.sources,
        problems,
    );
    standing_markdown(&mut out, shown.sources, shown.standing);
    let _ = writeln!(out, "## Who can reach what, by zone\n");
    table(&mut out, sheet, key, codes);
    notes(&mut out, sheet);
    out
}

/// A chapter of findings.
pub(super) fn findings_list(
    out: &mut String,
    title: &str,
    sources: &Sources,
    findings: &[Finding],
) {
    let findings = findings.iter().map(|finding| Item {
        name: finding.check.name,
        severity: finding.severity(),
        message: &finding.message,
        span: finding.span,
        help: finding.help.as_deref(),
    });
    list(out, title, sources, findings);
}

/// A problem or a finding.
struct Item<'a> {
    name: &'static str,
    severity: Severity,
    message: &'a str,
    span: Option<Span>,
    help: Option<&'a str>,
}

/// A chapter with a line for each item; none where there is nothing to say.
fn list<'a>(
    out: &mut String,
    title: &str,
    sources: &Sources,
    items: impl Iterator<Item = Item<'a>>,
) {
    let mut lines = String::new();
    for item in items {
        let place = item.span.map(|span| sources.place(span));
        let place = place.unwrap_or_default();
        let word = item.severity.word();
        let _ = write!(lines, "- **{word}** {}", escape(item.message));
        let _ = write!(lines, " ({}, `{}`)", escape(&place), item.name);
        let help = item.help.map(|help| format!(": {}", escape(help)));
        let _ = writeln!(lines, "{}", help.unwrap_or_default());
    }
    if !lines.is_empty() {
        let _ = writeln!(out, "## {title}\n\n{lines}");
    }
}

fn title(out: &mut String, what: &str, sheet: &Sheet) {
    let _ = match sheet.site.is_empty() {
        true => writeln!(out, "# {what}\n"),
        false => writeln!(out, "# {what}: {}\n", escape(&sheet.site)),
    };
}

fn table(out: &mut String, sheet: &Sheet, key: &Key, codes: &[Vec<String>]) {
    let _ = write!(out, "| from \\ to |");
    for side in &sheet.columns {
        let itself = if matches!(side.kind, "gateway" | "router") {
            " itself"
        } else {
            ""
        };
        let _ = write!(out, " {}{itself} |", escape(&side.name));
    }
    let _ = writeln!(out, "\n|---|{}", "---|".repeat(sheet.columns.len()));
    for (side, line) in sheet.rows.iter().zip(codes) {
        let _ = write!(out, "| **{}** |", escape(&side.name));
        for code in line {
            let _ = write!(out, " {} |", escape(code));
        }
        out.push('\n');
    }
    let _ = writeln!(
        out,
        "\n| code | what passes, from the row to the column |\n|---|---|"
    );
    for (code, text) in fixed_codes(sheet) {
        let _ = writeln!(out, "| {code} | {text} |");
    }
    for (code, text) in key.lines() {
        let _ = writeln!(out, "| {code} | {} |", escape(&text));
    }
    for (sign, meaning) in used_signs(codes) {
        let _ = writeln!(out, "| {} | {meaning} |", escape(&sign.to_string()));
    }
    let _ = writeln!(out, "\n{LETTERS}.\n");
}

fn notes(out: &mut String, sheet: &Sheet) {
    let _ = writeln!(out, "## What was modelled and assumed\n");
    for note in &sheet.notes {
        let _ = writeln!(out, "- {}", escape(note));
    }
}

/// A text in which nothing is taken for Markdown or HTML.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::new();
    for character in clean(text).chars() {
        match character {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#' | '!' | '~' => {
                out.push('\\');
                out.push(character);
            }
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn names_stay_names() {
        assert_eq!(escape("<b>|a*b"), "&lt;b&gt;\\|a\\*b");
    }
}
