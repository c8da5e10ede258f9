//! Text from a site, made safe for a terminal, and fitted into columns.

use boundwalk_diagnostic::{is_prose, is_visible};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// A text in which nothing can disturb a terminal or hide: what is no character of prose ([`is_prose`]) stands as
/// `\u{..}`.
pub fn escape_control(text: &str) -> String {
    escaped(text, is_prose)
}

/// The same for names and for what was typed: also what prose needs and nobody sees (joiners, soft hyphens) stands as
/// `\u{..}`.
pub fn escape_invisible(text: &str) -> String {
    escaped(text, is_visible)
}

fn escaped(text: &str, stays: fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        if stays(character) {
            out.push(character);
        } else {
            out.extend(character.escape_unicode());
        }
    }
    out
}

/// A text that nobody reads to its end: of one with more than `most` characters the first `start` and the last `end`,
/// with `between` in the middle.
pub fn cut_middle(text: &str, most: usize, (start, between, end): (usize, &str, usize)) -> String {
    let count = text.chars().count();
    if count <= most {
        return text.to_owned();
    }
    let first: String = text.chars().take(start).collect();
    let last: String = text.chars().skip(count - end).collect();
    format!("{first}{between}{last}")
}

/// Columns that a text takes on a terminal.
pub fn width(text: &str) -> usize {
    UnicodeWidthStr::width(text)
}

/// A text in exactly `columns` columns: cut with `…`, or filled with spaces.
pub fn fit(text: &str, columns: usize) -> String {
    let taken = width(text);
    if taken <= columns {
        return format!("{text}{}", " ".repeat(columns - taken));
    }
    let mut out = String::new();
    let mut used = 0;
    for character in text.chars() {
        let wide = character.width().unwrap_or(0);
        if used + wide + 1 > columns {
            break;
        }
        out.push(character);
        used += wide;
    }
    out.push('…');
    used += 1;
    format!("{out}{}", " ".repeat(columns.saturating_sub(used)))
}

/// Breaks a text at spaces into lines of at most `room` columns. A word longer than that is broken behind its
/// commas (a list of ports has no spaces); without any it stands alone.
pub fn wrapped(text: &str, room: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let parts: Vec<&str> = if width(word) > room {
            word.split_inclusive(',').collect()
        } else {
            vec![word]
        };
        for (number, part) in parts.into_iter().enumerate() {
            let last = lines.len() - 1;
            let line = &mut lines[last];
            let space = if number == 0 && !line.is_empty() {
                " "
            } else {
                ""
            };
            if line.is_empty() || width(line) + space.len() + width(part) <= room {
                line.push_str(space);
                line.push_str(part);
            } else {
                lines.push(part.to_owned());
            }
        }
    }
    lines
}

/// Adds a text under a label, wrapped into the columns there are; further lines stand below its first. The
/// text comes from a site as it is.
pub fn labelled(out: &mut String, columns: usize, indent: usize, label: &str, text: &str) {
    beside(
        out,
        columns,
        indent,
        (label.len(), label),
        text,
        str::to_owned,
    );
}

/// The same beside what takes so many columns on a terminal, each line as `shown` has it.
pub(super) fn beside(
    out: &mut String,
    columns: usize,
    indent: usize,
    (taken, before): (usize, &str),
    text: &str,
    shown: impl Fn(&str) -> String,
) {
    let start = indent + taken;
    let room = columns.saturating_sub(start).max(20);
    for (number, part) in wrapped(&escape_control(text), room).iter().enumerate() {
        let part = shown(part);
        out.push_str(&match number {
            0 => format!("{}{before}{part}\n", " ".repeat(indent)),
            _ => format!("{}{part}\n", " ".repeat(start)),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_from_a_site_can_steer_the_terminal() {
        assert_eq!(escape_control("a\u{1b}[31mb"), "a\\u{1b}[31mb");
        assert_eq!(escape_control("a\u{202e}b\n"), "a\\u{202e}b\\u{a}");
        assert_eq!(escape_control("Brauerei Müller 北"), "Brauerei Müller 北");
    }

    #[test]
    fn long_texts_are_broken_at_spaces_and_long_words_at_commas() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(
            wrapped("tcp/1,22,333,4444 x", 9),
            ["tcp/1,22,", "333,4444", "x"]
        );
        assert_eq!(wrapped("unbreakable, x", 5), ["unbreakable,", "x"]);
        assert_eq!(wrapped("", 5), [""]);
    }

    #[test]
    fn fitted_text_takes_exactly_its_columns() {
        for text in ["", "abc", "abcdefgh", "北京北京北京", "ä"] {
            assert_eq!(width(&fit(text, 6)), 6, "{text}");
        }
        assert_eq!(fit("abcdefgh", 6), "abcde…");
    }
}
