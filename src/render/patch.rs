//! Changed files as a patch: unified differences, as `patch -p0` and `git apply -p0` take them.

use std::fmt::Write;

use anstyle::{AnsiColor, Style};
use similar::{ChangeTag, TextDiff};

use boundwalk_load::EditedFile;

use super::text::escape_control;
use super::text_style::TextStyle;

/// Lines of context around a change.
const CONTEXT: usize = 3;

/// The changes of all files as one patch, with three lines of context; empty where nothing changes.
///
/// Without colour the lines are exact, since a program reads them, with the line breaks of the file. With colour
/// they are for the eyes: whatever could disturb a terminal stands as `\u{..}`. Names are as the user gave them,
/// without `./` or `/` in front, which `patch` would not take; names with characters that a terminal or a patch
/// can't hold stand in quotes with the bytes in octal, as in C. Format: the unified format of `diff` (POSIX.1-2017, *diff*,
/// option `-U`). Cost: the lines times the changes.
pub fn patch_text(files: &[EditedFile], text_style: TextStyle) -> String {
    let mut out = String::new();
    for file in files.iter().filter(|file| file.before != file.after) {
        let name = name(&file.name);
        let bold = Style::new().bold();
        line(&mut out, text_style, bold, &format!("--- {name}\n"));
        line(&mut out, text_style, bold, &format!("+++ {name}\n"));
        hunks(&mut out, file, text_style);
    }
    out
}

fn hunks(out: &mut String, file: &EditedFile, text_style: TextStyle) {
    let difference = TextDiff::from_lines(&file.before, &file.after);
    let mut unified = difference.unified_diff();
    for hunk in unified.context_radius(CONTEXT).iter_hunks() {
        let colour = |colour: AnsiColor| Style::new().fg_color(Some(colour.into()));
        let header = format!("{}\n", hunk.header());
        line(out, text_style, colour(AnsiColor::Cyan), &header);
        for change in hunk.iter_changes() {
            let style = match change.tag() {
                ChangeTag::Equal => Style::new(),
                ChangeTag::Delete => colour(AnsiColor::Red),
                ChangeTag::Insert => colour(AnsiColor::Green),
            };
            line(
                out,
                text_style,
                style,
                &format!("{}{}", change.tag(), change.value()),
            );
            if change.missing_newline() {
                out.push_str("\n\\ No newline at end of file\n");
            }
        }
    }
}

/// One line; its break, if it has one, stays outside the colour.
fn line(out: &mut String, text_style: TextStyle, style: Style, text: &str) {
    if !text_style.colour {
        out.push_str(text);
        return;
    }
    let inner = text.strip_suffix('\n').unwrap_or(text);
    let inner = inner.strip_suffix('\r').unwrap_or(inner);
    // A tab disturbs nothing.
    let parts: Vec<String> = inner.split('\t').map(escape_control).collect();
    let shown = parts.join("\t");
    if style == Style::new() {
        out.push_str(&shown);
    } else {
        out.push_str(&text_style.styled(style, &shown));
    }
    if text.ends_with('\n') {
        out.push('\n');
    }
}

/// The name of a file in the head of a patch.
fn name(path: &str) -> String {
    let mut path = path.trim_start_matches('/');
    while let Some(rest) = path.strip_prefix("./") {
        path = rest.trim_start_matches('/');
    }
    if path.contains(['"', '\\']) || escape_control(path) != path {
        return quoted(path);
    }
    match path.contains(' ') {
        // The end of a name with spaces must be marked.
        true => format!("{path}\t"),
        false => path.to_owned(),
    }
}

fn quoted(path: &str) -> String {
    let mut out = String::from("\"");
    for character in path.chars() {
        let text = character.to_string();
        match character {
            '"' | '\\' => out.extend(['\\', character]),
            _ if escape_control(&text) == text => out.push(character),
            _ => text.bytes().for_each(|byte| {
                write!(out, "\\{byte:03o}").expect("a string takes everything");
            }),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_diagnostic::FileId;

    const PLAIN: TextStyle = TextStyle {
        colour: false,
        columns: 80,
    };

    fn file(name: &str, before: &str, after: &str) -> EditedFile {
        EditedFile {
            file: FileId(0),
            name: name.to_owned(),
            before: before.to_owned(),
            after: after.to_owned(),
        }
    }

    #[test]
    fn a_patch_has_three_lines_of_context() {
        let files = [file(
            "./site.toml",
            "1\n2\n3\n4\n5\n6\n7\n8\n9\n",
            "1\n2\n3\n4\n6\n7\n8\n9\n",
        )];
        assert_eq!(
            patch_text(&files, PLAIN),
            "--- site.toml\n+++ site.toml\n@@ -2,7 +2,6 @@\n 2\n 3\n 4\n-5\n 6\n 7\n 8\n"
        );
        assert_eq!(patch_text(&[file("a", "1\n", "1\n")], PLAIN), "");
    }

    #[test]
    fn a_file_without_a_last_line_break_says_so() {
        let files = [file("a", "1\n2", "1")];
        assert_eq!(
            patch_text(&files, PLAIN),
            "--- a\n+++ a\n@@ -1,2 +1 @@\n-1\n-2\n\\ No newline at end of file\n+1\n\\ No newline at end of file\n"
        );
    }

    #[test]
    fn names_can_be_read_by_programs_and_shown_on_terminals() {
        assert_eq!(name("/etc/site.toml"), "etc/site.toml");
        assert_eq!(name(".//site.toml"), "site.toml");
        assert_eq!(name("our site.toml"), "our site.toml\t");
        assert_eq!(name("a\u{1b}[31m\"ä.toml"), "\"a\\033[31m\\\"ä.toml\"");
    }

    #[test]
    fn colour_is_for_the_eyes() {
        let text_style = TextStyle {
            colour: true,
            columns: 80,
        };
        let shown = patch_text(&[file("a", "# \u{9b}31m\t1\r\n", "")], text_style);
        assert!(shown.contains("-# \\u{9b}31m\t1\u{1b}[0m\n"), "{shown:?}");
        let plain = patch_text(&[file("a", "# \u{9b}31m\t1\r\n", "")], PLAIN);
        assert!(plain.contains("-# \u{9b}31m\t1\r\n"), "{plain:?}");
    }
}
