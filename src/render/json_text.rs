//! Documents as text.

use std::fmt::Write;

use serde::Serialize;

use boundwalk_diagnostic::is_visible;

/// Our structs hold only strings, numbers and lists of them, which always have a JSON form. What nobody would see stands
/// as `\u....` in it (RFC 8259, section 7): a document is looked at on terminals, too.
pub(super) fn to_text(document: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    // Outside of strings there are line breaks and spaces only; within them, control characters are escaped already.
    let hidden = |c: char| c == '\u{7f}' || (!c.is_ascii() && !is_visible(c));
    if !text.contains(hidden) {
        text.push('\n');
        return text;
    }
    let mut out = String::with_capacity(text.len() + 1);
    for character in text.chars() {
        if !hidden(character) {
            out.push(character);
            continue;
        }
        for unit in character.encode_utf16(&mut [0; 2]) {
            let _ = write!(out, "\\u{unit:04x}");
        }
    }
    out.push('\n');
    out
}
