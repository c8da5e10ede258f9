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

/// A text in which nothing is taken for Markdown or HTML, at the start of a line as well. Spaces before it, which no
/// reader shows, are left out (CommonMark 0.31; the dollar sign as some readers take it for a formula).
pub(super) fn escape(text: &str) -> String {
    let text = escape_control(text);
    let text = text.trim_start_matches(' ');
    let mut out = String::new();
    for (at, character) in text.char_indices() {
        match character {
            // An arrow is no markup, and is to be read in the source as well.
            '>' if out.ends_with('-') => out.push('>'),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            _ if is_markup(character) || begins_block(&text[..at], character) => {
                out.push('\\');
                out.push(character);
            }
            other => out.push(other),
        }
    }
    out
}

fn is_markup(character: char) -> bool {
    matches!(
        character,
        '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#' | '!' | '~' | '$'
    )
}

/// Whether a character behind this start of a line makes a list, a line across, or a heading of it.
fn begins_block(before: &str, character: char) -> bool {
    match character {
        '-' | '+' | '=' | ':' => before.is_empty(),
        '.' | ')' => !before.is_empty() && before.bytes().all(|byte| byte.is_ascii_digit()),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use pulldown_cmark::{Event, Options, Parser, Tag};

    use super::escape;
    use crate::text::escape_control;

    /// What a reader of CommonMark with usual extensions takes an item, a heading or a cell for:
    /// its text; `None` where there is more than a text.
    fn read(page: &str, around: &[&str]) -> Option<String> {
        let mut text = String::new();
        for event in Parser::new_ext(page, EXTENSIONS) {
            match event {
                Event::Text(part) => text.push_str(&part),
                Event::Start(tag) if around.contains(&name(&tag)) => {}
                Event::End(_) => {}
                _ => return None,
            }
        }
        Some(text)
    }

    const EXTENSIONS: Options = Options::ENABLE_TABLES
        .union(Options::ENABLE_STRIKETHROUGH)
        .union(Options::ENABLE_TASKLISTS)
        .union(Options::ENABLE_FOOTNOTES)
        .union(Options::ENABLE_MATH)
        .union(Options::ENABLE_DEFINITION_LIST)
        .union(Options::ENABLE_GFM);

    fn name(tag: &Tag<'_>) -> &'static str {
        match tag {
            Tag::List(_) => "list",
            Tag::Item => "item",
            Tag::Paragraph => "paragraph",
            Tag::Heading { .. } => "heading",
            Tag::Table(_) | Tag::TableHead | Tag::TableRow | Tag::TableCell => "table",
            _ => "other",
        }
    }

    /// Readers drop spaces at both ends.
    fn shown(text: &str) -> String {
        escape_control(text).trim_matches(' ').to_owned()
    }

    fn stays(text: &str) {
        let safe = escape(text);
        for (page, around) in [
            (format!("- {safe}\n"), &["list", "item", "paragraph"][..]),
            (format!("{safe}\n"), &["paragraph"][..]),
            (format!("# {safe}\n"), &["heading"][..]),
            (format!("| {safe} |\n|---|\n"), &["table"][..]),
        ] {
            let read = read(&page, around);
            let read = read.map(|text| text.trim_matches(' ').to_owned());
            assert_eq!(read, Some(shown(text)), "{page}");
        }
    }

    #[test]
    fn names_stay_names() {
        for text in [
            "<b>|a*b",
            "- x",
            "1. x",
            "2) x",
            "+ x",
            "= x",
            "---",
            "===",
            "    x",
            "> x",
            "a -> b",
            "~~x~~",
            "# x #",
            "[a](b)",
            "![a](b)",
            "<http://192.0.2.1>",
            "&lt;",
            "&#60;",
            "a\\",
            "`a`",
            "| - |",
            "[ ] x",
            "[^1]",
            "a\tb",
            "$x$",
            "*",
            "_a_",
            "::: x",
            "a {#b}",
            "x: y",
            ": y",
            "\"a\" -- 'b'...",
        ] {
            stays(text);
        }
    }

    proptest! {
        // A file of failures beside the floors would be taken for a floor.
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_text_stays_a_text(text in "[-+*_#=:;.,0-9 a`~|<>&!\\[\\](){}^$\\\\\"'/x]{1,12}") {
            prop_assume!(!text.trim_matches(' ').is_empty());
            stays(&text);
        }
    }
}
