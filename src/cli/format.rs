//! Forms of output: one list for all commands, of which each offers some, and one way to print an answer.

use std::io;

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use boundwalk_render::Document;

use super::output::Output;

/// A form of output.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Format {
    Text,
    Markdown,
    Json,
    Csv,
    Html,
    Sarif,
    Junit,
    Svg,
    Dot,
    Mermaid,
}

impl Format {
    /// How it is asked for.
    fn name(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Markdown => "markdown",
            Self::Json => "json",
            Self::Csv => "csv",
            Self::Html => "html",
            Self::Sarif => "sarif",
            Self::Junit => "junit",
            Self::Svg => "svg",
            Self::Dot => "dot",
            Self::Mermaid => "mermaid",
        }
    }

    pub(super) fn is_json(self) -> bool {
        self == Self::Json
    }
}

/// A form that a command offers, and what it is for.
pub(super) type Form = (Format, &'static str);

pub(super) const TEXT: Form = (Format::Text, "For people, on a terminal");
pub(super) const MARKDOWN: Form = (Format::Markdown, "For documents");
pub(super) const JSON: Form = (Format::Json, "For programs");

/// What nearly every command offers.
pub(super) const USUAL: &[Form] = &[TEXT, MARKDOWN, JSON];

/// Reads the name of one of some forms.
pub(super) fn one_of(forms: &'static [Form]) -> impl TypedValueParser<Value = Format> {
    let names = forms
        .iter()
        .map(|(format, help)| PossibleValue::new(format.name()).help(*help));
    PossibleValuesParser::new(names).map(|name| {
        let mut known = forms.iter().map(|(format, _)| *format);
        // The parser has refused every other name.
        known
            .find(|format| format.name() == name)
            .unwrap_or(Format::Text)
    })
}

/// Prints an answer: for programs as JSON, else as a document.
pub(super) fn print<'a>(
    format: Format,
    output: &mut Output,
    document: impl FnOnce() -> Document<'a>,
    json: impl FnOnce() -> String,
) -> io::Result<()> {
    let text = match format {
        Format::Json => json(),
        Format::Markdown => document().markdown(),
        _ => document().text(output.text_style()),
    };
    output.print(&text)
}
