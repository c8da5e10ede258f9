//! Texts in Markdown: what must be escaped, and lists of findings.

use std::fmt::Write;

use boundwalk_diagnostic::{Finding, Severity, Sources, Span};

use super::text::escape_control;

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
pub(super) struct Item<'a> {
    pub(super) name: &'static str,
    pub(super) severity: Severity,
    pub(super) message: &'a str,
    pub(super) span: Option<Span>,
    pub(super) help: Option<&'a str>,
}

/// A chapter with a line for each item; none where there is nothing to say.
pub(super) fn list<'a>(
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

/// A text in which nothing is taken for Markdown or HTML.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::new();
    for character in escape_control(text).chars() {
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
