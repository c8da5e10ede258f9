//! A matrix and a review as Markdown.

use std::fmt::Write;

use super::legend::Legend;
use super::markdown_text::{Item, escape, list};
use super::matrix::{LETTERS, fixed_codes, used_signs};
use super::shape::Sheet;
use super::standing::{ReviewShown, standing_markdown};

/// A matrix as a Markdown table with its legend.
pub fn matrix_markdown(sheet: &Sheet, key: &Legend, codes: &[Vec<String>]) -> String {
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
    key: &Legend,
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

fn title(out: &mut String, what: &str, sheet: &Sheet) {
    let _ = match sheet.site.is_empty() {
        true => writeln!(out, "# {what}\n"),
        false => writeln!(out, "# {what}: {}\n", escape(&sheet.site)),
    };
}

fn table(out: &mut String, sheet: &Sheet, key: &Legend, codes: &[Vec<String>]) {
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

#[cfg(test)]
mod tests {
    use crate::markdown_text::escape;

    #[test]
    fn names_stay_names() {
        assert_eq!(escape("<b>|a*b"), "&lt;b&gt;\\|a\\*b");
    }
}
