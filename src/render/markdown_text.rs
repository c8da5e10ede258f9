//! Texts in Markdown: what must be escaped, and lists of findings.

use std::fmt::Write;

use boundwalk_diagnostic::{Finding, Sources};

use super::text::escape_control;

/// Findings, a line each.
pub(super) fn findings_items(out: &mut String, sources: &Sources, findings: &[Finding]) {
    for finding in findings {
        let place = finding.span.map(|span| sources.place(span));
        let place = escape(&place.unwrap_or_default());
        let (word, name) = (finding.severity().word(), finding.check.name);
        let message = escape(&finding.message);
        let help = finding.help.as_deref().map(escape);
        let help = help.map(|help| format!(": {help}")).unwrap_or_default();
        let _ = writeln!(out, "- **{word}** {message} ({place}, `{name}`){help}");
    }
}

/// A text in which nothing is taken for Markdown or HTML.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::new();
    for character in escape_control(text).chars() {
        match character {
            // An arrow is no markup, and is to be read in the source as well.
            '>' if out.ends_with('-') => out.push('>'),
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
