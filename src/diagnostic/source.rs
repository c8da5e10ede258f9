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

    /// The same texts under names without the folders that all of them lie in: for what is handed on, where
    /// nobody needs to know how this machine keeps its files.
    #[must_use]
    pub fn without_folders(&self) -> Self {
        let separator = |c: char| c == '/' || c == '\\';
        let mut names = self.files.iter().map(|file| file.name.as_str());
        let mut shared = names.next().unwrap_or_default();
        shared = &shared[..shared.rfind(separator).map_or(0, |at| at + 1)];
        for name in names {
            while !name.starts_with(shared) {
                let kept = shared.trim_end_matches(separator).rfind(separator);
                shared = &shared[..kept.map_or(0, |at| at + 1)];
            }
        }
        let cut = shared.len();
        let files = self.files.iter().map(|file| Source {
            name: file.name[cut..].to_owned(),
            ..file.clone()
        });
        Self {
            files: files.collect(),
        }
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
    fn names_lose_the_folders_that_all_share() {
        let names = |given: &[&str]| {
            let mut sources = Sources::default();
            for name in given {
                sources.add(Source::new(*name, ""));
            }
            let short = sources.without_folders();
            short
                .files
                .iter()
                .map(|file| file.name.clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(names(&["/home/a/site.toml"]), ["site.toml"]);
        assert_eq!(names(&["s/a.toml", "s/b.toml"]), ["a.toml", "b.toml"]);
        assert_eq!(
            names(&["s/a/x.toml", "s/b/y.toml"]),
            ["a/x.toml", "b/y.toml"]
        );
        assert_eq!(names(&["site.toml", "s/b.toml"]), ["site.toml", "s/b.toml"]);
        assert_eq!(names(&["a\\b.toml"]), ["b.toml"]);
        assert_eq!(names(&[]).len(), 0);
    }

    #[test]
    fn lines_around_gives_whole_lines() {
        let source = Source::new("a.toml", "one\ntwo\nthree");
        let (range, first) = source.lines_around(5, 6);
        assert_eq!((&source.text()[range], first), ("two", 2));
        let (range, first) = source.lines_around(2, 9);
        assert_eq!((&source.text()[range], first), ("one\ntwo\nthree", 1));
    }

    #[test]
    fn a_place_names_file_line_and_column() {
        let mut sources = Sources::default();
        let first = sources.add(Source::new("a.toml", "x = 1\n"));
        let second = sources.add(Source::new("b.toml", "one\ntwo = 2\n"));
        let names: Vec<&str> = sources.files().iter().map(Source::name).collect();
        assert_eq!(names, ["a.toml", "b.toml"]);
        assert_eq!(sources.get(second).map(Source::name), Some("b.toml"));
        let span = Span::new(second, 6, 7);
        assert_eq!(sources.place(span), "b.toml:2:3");
        assert_eq!(sources.line(span), 2);
        assert_eq!(sources.place(Span::new(first, 0, 1)), "a.toml:1:1");
        let elsewhere = Span::new(FileId(2), 0, 1);
        assert!(sources.get(elsewhere.file).is_none());
        assert_eq!(sources.place(elsewhere), "");
        assert_eq!(sources.line(elsewhere), 0);
    }
}
