//! A document as lines for a view that is moved through with a cursor.

use super::text::put;
use super::{Block, Document, Opens, Tone};
use crate::text_style::TextStyle;

/// A line as it is shown, without colour.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DocumentLine {
    /// Safe to show: nothing in it moves a cursor.
    pub text: String,
    /// How much it matters.
    pub tone: Tone,
    /// What it names that a reader may want to see next. Where a line of the document is broken, its first part has it.
    pub opens: Option<Opens>,
}

impl Document<'_> {
    /// The answer, broken into lines of at most `columns` columns where words allow it.
    pub fn lines(&self, columns: usize) -> Vec<DocumentLine> {
        let style = TextStyle {
            colour: false,
            columns,
        };
        let mut lines = Vec::new();
        for block in &self.blocks {
            let mut text = String::new();
            put(&mut text, block, style);
            let (tone, mut opens) = looks(block);
            lines.extend(text.lines().map(|text| DocumentLine {
                text: text.to_owned(),
                tone,
                opens: opens.take(),
            }));
        }
        lines
    }
}

fn looks(block: &Block<'_>) -> (Tone, Option<Opens>) {
    match block {
        Block::Heading { .. } | Block::Summary(_) => (Tone::Strong, None),
        Block::Line(line) => (line.tone, line.opens),
        Block::Gap
        | Block::Command(_)
        | Block::Task { .. }
        | Block::Code { .. }
        | Block::Table(_)
        | Block::Findings { .. }
        | Block::Patch(_)
        | Block::Notes(_) => (Tone::Plain, None),
    }
}
