//! Documents as text.

use std::io;

use serde::Serialize;
use serde_json::ser::{Formatter, PrettyFormatter};

use boundwalk_diagnostic::is_visible;

/// A document as text. Our structs hold only strings, numbers and lists of them, which always have a JSON form.
pub(super) fn to_text(document: &impl Serialize) -> String {
    let mut text = Vec::new();
    // Memory takes all that is written.
    let _ = write(&mut text, document);
    String::from_utf8(text).unwrap_or_default()
}

/// Writes a document, part by part. What nobody would see stands as `\u....` in it (RFC 8259, section 7): a document is
/// looked at on terminals, too.
///
/// # Errors
/// What the stream says.
pub(super) fn write(out: &mut dyn io::Write, document: &impl Serialize) -> io::Result<()> {
    let mut serializer = serde_json::Serializer::with_formatter(&mut *out, Visible::default());
    document.serialize(&mut serializer)?;
    out.write_all(b"\n")
}

/// Whether a character of a text would be seen by nobody; control characters are escaped already.
fn is_hidden(character: char) -> bool {
    character == '\u{7f}' || (!character.is_ascii() && !is_visible(character))
}

/// Lines and indents, and no hidden characters.
#[derive(Default)]
struct Visible(PrettyFormatter<'static>);

type Out<'a, W> = &'a mut W;

impl Formatter for Visible {
    fn write_string_fragment<W: ?Sized + io::Write>(
        &mut self,
        writer: Out<'_, W>,
        fragment: &str,
    ) -> io::Result<()> {
        let mut rest = fragment;
        while let Some((at, hidden)) = rest.char_indices().find(|(_, one)| is_hidden(*one)) {
            writer.write_all(&rest.as_bytes()[..at])?;
            for unit in hidden.encode_utf16(&mut [0; 2]) {
                write!(writer, "\\u{unit:04x}")?;
            }
            rest = &rest[at + hidden.len_utf8()..];
        }
        writer.write_all(rest.as_bytes())
    }

    fn begin_array<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.begin_array(writer)
    }

    fn end_array<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.end_array(writer)
    }

    fn begin_array_value<W: ?Sized + io::Write>(
        &mut self,
        writer: Out<'_, W>,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_array_value(writer, first)
    }

    fn end_array_value<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.end_array_value(writer)
    }

    fn begin_object<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.begin_object(writer)
    }

    fn end_object<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.end_object(writer)
    }

    fn begin_object_key<W: ?Sized + io::Write>(
        &mut self,
        writer: Out<'_, W>,
        first: bool,
    ) -> io::Result<()> {
        self.0.begin_object_key(writer, first)
    }

    fn begin_object_value<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.begin_object_value(writer)
    }

    fn end_object_value<W: ?Sized + io::Write>(&mut self, writer: Out<'_, W>) -> io::Result<()> {
        self.0.end_object_value(writer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_would_see_is_escaped_in_keys_and_values() {
        let text = to_text(&std::collections::BTreeMap::from([(
            "k\u{200b}",
            "a\u{202e}b\u{7f}\u{e0041}\u{fc}\n",
        )]));
        let expected = "{\n  \"k\\u200b\": \"a\\u202eb\\u007f\\udb40\\udc41\u{fc}\\n\"\n}\n";
        assert_eq!(text, expected);
    }
}
