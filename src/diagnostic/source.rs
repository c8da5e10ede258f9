//! The texts that were read, and lines and columns in them.

use super::span::{FileId, Span};

/// A line and a column, both counted from 1; the column counts characters, not bytes.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Position {
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
}

/// One text and the name that messages call it by.
#[derive(Clone, Debug)]
pub struct Source {
    name: String,
    text: String,
    /// Byte offset at which each line starts; the first is always 0.
    line_starts: Vec<u32>,
}

impl Source {
    /// A text under a display name (a path as the user gave it, never made absolute).
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        let text = text.into();
        let breaks = text.bytes().enumerate().filter(|&(_, byte)| byte == b'\n');
        let line_starts = std::iter::once(0)
            .chain(breaks.map(|(at, _)| at as u32 + 1))
            .collect();
        Self {
            name: name.into(),
            text,
            line_starts,
        }
    }

    /// The display name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The whole text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Line and column of a byte offset; an offset past the end is the end. O(log lines + line length).
    pub fn position(&self, offset: u32) -> Position {
        let offset = offset.min(self.text.len() as u32);
        let line = self.line_starts.partition_point(|&start| start <= offset) - 1;
        let start = self.line_starts[line] as usize;
        let before = self.text.as_bytes().get(start..offset as usize);
        // Continuation bytes of UTF-8 are not characters of their own.
        let characters = before.map_or(0, |bytes| {
            bytes.iter().filter(|&&byte| byte & 0xC0 != 0x80).count()
        });
        Position {
            line: line as u32 + 1,
            column: characters as u32 + 1,
        }
    }

    /// The byte range of the whole lines that hold `start..end`, and the number (from 1) of the first.
    pub fn lines_around(&self, start: u32, end: u32) -> (std::ops::Range<usize>, u32) {
        let length = self.text.len() as u32;
        let first = self.position(start.min(length)).line;
        let last = self.position(end.min(length)).line;
        let from = self.line_starts[first as usize - 1] as usize;
        let to = match self.line_starts.get(last as usize) {
            Some(&next) => next as usize - 1,
            None => self.text.len(),
        };
        (from..to.max(from), first)
    }
}

/// All texts of one input, in the order of loading.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    files: Vec<Source>,
}

impl Sources {
    /// Takes a text in and gives it a number.
    pub fn add(&mut self, source: Source) -> FileId {
        self.files.push(source);
        FileId(self.files.len() as u32 - 1)
    }

    /// The text of a number; `None` for a number of some other input.
    pub fn get(&self, file: FileId) -> Option<&Source> {
        self.files.get(file.0 as usize)
    }

    /// All texts.
    pub fn files(&self) -> &[Source] {
        &self.files
    }

    /// Name and position of the start of a span, as `site.toml:3:7`; empty for a span of another input.
    pub fn place(&self, span: Span) -> String {
        self.get(span.file).map_or_else(String::new, |source| {
            let position = source.position(span.start);
            format!("{}:{}:{}", source.name(), position.line, position.column)
        })
    }

    /// Line of the start of a span, from 1; 0 for a span of another input.
    pub fn line(&self, span: Span) -> u32 {
        self.get(span.file)
            .map_or(0, |source| source.position(span.start).line)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_count_characters_from_one() {
        let source = Source::new("a.toml", "ä = 1\nbc = 2\n");
        let at = |offset| {
            let position = source.position(offset);
            (position.line, position.column)
        };
        assert_eq!(at(0), (1, 1));
        assert_eq!(at(2), (1, 2), "ä takes two bytes and one column");
        assert_eq!(at(7), (2, 1));
        assert_eq!(at(9), (2, 3));
        assert_eq!(at(999), (3, 1), "past the end is the end");
    }

    #[test]
    fn lines_around_gives_whole_lines() {
        let source = Source::new("a.toml", "one\ntwo\nthree");
        let (range, first) = source.lines_around(5, 6);
        assert_eq!((&source.text()[range], first), ("two", 2));
        let (range, first) = source.lines_around(2, 9);
        assert_eq!((&source.text()[range], first), ("one\ntwo\nthree", 1));
    }
}
