//! Text from a site, made safe for a terminal, and fitted into columns.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// A text in which nothing can disturb a terminal: control characters, and the marks that turn the direction
/// of text round (Unicode Standard Annex 9, explicit formatting), stand as `\u{..}`.
pub fn clean(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '\u{200e}'
            | '\u{200f}'
            | '\u{061c}'
            | '\u{202a}'..='\u{202e}'
            | '\u{2066}'..='\u{2069}' => {
                out.extend(character.escape_unicode());
            }
            '\u{feff}' | '\u{2028}' | '\u{2029}' => out.extend(character.escape_unicode()),
            control if control.is_control() => out.extend(control.escape_unicode()),
            other => out.push(other),
        }
    }
    out
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

/// Breaks a text at spaces into lines of at most `room` columns; a longer word stands alone.
pub fn wrapped(text: &str, room: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.len() - 1;
        let line = &mut lines[last];
        if line.is_empty() {
            line.push_str(word);
        } else if width(line) + 1 + width(word) <= room {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_from_a_site_can_steer_the_terminal() {
        assert_eq!(clean("a\u{1b}[31mb"), "a\\u{1b}[31mb");
        assert_eq!(clean("a\u{202e}b\n"), "a\\u{202e}b\\u{a}");
        assert_eq!(clean("Brauerei Müller 北"), "Brauerei Müller 北");
    }

    #[test]
    fn fitted_text_takes_exactly_its_columns() {
        for text in ["", "abc", "abcdefgh", "北京北京北京", "ä"] {
            assert_eq!(width(&fit(text, 6)), 6, "{text}");
        }
        assert_eq!(fit("abcdefgh", 6), "abcde…");
    }
}
