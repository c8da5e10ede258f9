//! An answer as a tree of parts: headings, lines, tables, patches. Each form of output is a printer of it.
//!
//! A renderer says what an answer consists of, once. [`Document::text`] prints it on a terminal,
//! [`Document::markdown`] in a document, [`Document::html`] in a page for browsers, and [`Document::lines`] hands its
//! lines to a view in which things can be opened. Texts go in as the site has them: each printer escapes what its form must
//! escape. JSON is no printer of this tree: programs read structures of their own.

#[cfg(test)]
mod document_tests;
mod html;
mod lines;
mod markdown;
mod text;

use std::borrow::Cow;

use boundwalk_diagnostic::{Finding, Sources, Span};
use boundwalk_forwarding::Packet;
use boundwalk_load::EditedFile;

pub use lines::DocumentLine;

/// An answer, part by part.
#[derive(Debug)]
pub struct Document<'a> {
    /// What a page is called, without the name of the site. A terminal, where the command stands above, does without.
    title: &'static str,
    site: &'a str,
    blocks: Vec<Block<'a>>,
}

/// A part of an answer.
#[derive(Debug)]
enum Block<'a> {
    /// Names what follows.
    Heading {
        rank: Rank,
        text: String,
    },
    Line(Line),
    /// An empty line on a terminal.
    Gap,
    /// A command to be typed.
    Command(String),
    /// Something to do and to tick off: what, perhaps a command for it, what is to be seen then.
    Task {
        what: String,
        command: Option<String>,
        seen: &'static str,
    },
    /// Lines of a program or a file, as they are.
    Code {
        language: &'static str,
        indent: usize,
        lines: Cow<'a, str>,
    },
    /// What it comes to, in a sentence without its full stop. A terminal shows it where it stands, below the rest; a
    /// page at its top.
    Summary(String),
    Table(Table),
    Findings {
        sources: &'a Sources,
        findings: &'a [Finding],
        all: bool,
    },
    /// Changed files.
    Patch(&'a [EditedFile]),
    /// What the answer rests on.
    Notes(&'a [String]),
}

/// How much a heading names.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Rank {
    /// One of several answers, or the whole one.
    Answer,
    /// A part of an answer. An empty line stands before it.
    Part,
    /// A part of a part, two columns in on a terminal.
    Detail,
}

/// A line of an answer. On a terminal it is broken into the columns there are; further lines stand below its first.
#[derive(Debug)]
struct Line {
    /// Columns before it on a terminal. In a document, a line with more of them than the list item above belongs to
    /// that item.
    indent: usize,
    mark: Mark,
    text: String,
    tone: Tone,
    /// Whether the text is our own, to its last letter: what stands in backquotes is code.
    own: bool,
    opens: Option<Opens>,
}

/// What a line names that a reader may want to see next.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Opens {
    /// A place in the files of the site.
    Place(Span),
    /// The way of a packet.
    Packet(Packet),
}

impl Line {
    fn new(indent: usize, mark: Mark, text: String) -> Self {
        Self {
            indent,
            mark,
            text,
            tone: Tone::Plain,
            own: false,
            opens: None,
        }
    }
}

/// What stands before a line.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Mark {
    /// Nothing. A line that stands further in than the left margin is one of a list.
    None,
    /// Nothing: the line is a paragraph, however far in it stands on a terminal.
    Paragraph,
    /// Nothing, and further lines stand two columns further in, so that the eye finds the first ones.
    Hanging,
    /// A dash: one of a list.
    Bullet,
    /// A place in an order, from 1. Shorter numbers are filled up to `digits`.
    Number { number: usize, digits: usize },
    /// What the text is, with a colon or spaces behind it as they shall stand on a terminal.
    Label(String),
    /// A sign that the eye finds on a terminal. In a document the line is bold instead.
    Sign(&'static str),
    /// A word in a column of its own, so wide.
    State {
        word: &'static str,
        width: usize,
        tone: Tone,
    },
}

/// How much a text matters.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Tone {
    /// As the others.
    #[default]
    Plain,
    /// It stands out.
    Strong,
    /// It stands back.
    Faint,
}

/// A table.
#[derive(Debug)]
pub(super) struct Table {
    pub(super) columns: Vec<Column>,
    /// Each with a cell for each column.
    pub(super) rows: Vec<Vec<String>>,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub(super) struct Column {
    title: String,
    holds: Holds,
}

/// What the cells of a column hold.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Holds {
    Texts,
    /// What each row is about.
    Names,
    /// Numbers stand to the right.
    Numbers,
    /// Commands to be typed.
    Commands,
}

impl Column {
    pub(super) fn new(title: &str, holds: Holds) -> Self {
        Self {
            title: title.to_owned(),
            holds,
        }
    }
}

impl Table {
    /// A table of texts. Each row has a cell for each title.
    pub(super) fn of_texts(titles: &[&str], rows: Vec<Vec<String>>) -> Self {
        let columns: Vec<(&str, Holds)> =
            titles.iter().map(|title| (*title, Holds::Texts)).collect();
        Self::new(&columns, rows)
    }

    /// A table. Each row has a cell for each column.
    pub(super) fn new(columns: &[(&str, Holds)], rows: Vec<Vec<String>>) -> Self {
        let column = |&(title, holds): &(&str, Holds)| Column::new(title, holds);
        Self {
            columns: columns.iter().map(column).collect(),
            rows,
        }
    }
}

impl<'a> Document<'a> {
    /// An empty one. `title` is what a page of it is called, `site` the name of the site, which may be empty.
    pub(super) fn new(title: &'static str, site: &'a str) -> Self {
        Self {
            title,
            site,
            blocks: Vec::new(),
        }
    }

    /// Names what follows.
    pub(super) fn heading(&mut self, rank: Rank, text: impl Into<String>) {
        let text = text.into();
        self.blocks.push(Block::Heading { rank, text });
    }

    /// A line with something before it.
    pub(super) fn line(&mut self, indent: usize, mark: Mark, text: impl Into<String>) {
        self.toned(Tone::Plain, indent, mark, text);
    }

    /// The same with a label.
    pub(super) fn labelled(&mut self, indent: usize, label: &str, text: impl Into<String>) {
        self.line(indent, Mark::Label(label.to_owned()), text);
    }

    /// A line with nothing before it.
    pub(super) fn plain(&mut self, indent: usize, text: impl Into<String>) {
        self.line(indent, Mark::None, text);
    }

    /// A line that stands out or back.
    pub(super) fn toned(&mut self, tone: Tone, indent: usize, mark: Mark, text: impl Into<String>) {
        let line = Line::new(indent, mark, text.into());
        self.blocks.push(Block::Line(Line { tone, ..line }));
    }

    /// A line with a label that names something to be opened.
    pub(super) fn opening(
        &mut self,
        indent: usize,
        label: &str,
        text: impl Into<String>,
        opens: Option<Opens>,
    ) {
        let line = Line::new(indent, Mark::Label(label.to_owned()), text.into());
        self.blocks.push(Block::Line(Line { opens, ..line }));
    }

    /// A paragraph in words of our own, with code in backquotes.
    pub(super) fn own(&mut self, indent: usize, text: &'static str) {
        let line = Line::new(indent, Mark::Paragraph, text.to_owned());
        self.blocks.push(Block::Line(Line { own: true, ..line }));
    }

    /// A list with a dash before each of its texts.
    pub(super) fn bullets<T: Into<String>>(&mut self, texts: impl IntoIterator<Item = T>) {
        for text in texts {
            self.line(2, Mark::Bullet, text);
        }
    }

    /// A list in an order.
    pub(super) fn steps<T: Into<String>>(&mut self, texts: impl IntoIterator<Item = T>) {
        for (at, text) in texts.into_iter().enumerate() {
            let number = at + 1;
            self.line(2, Mark::Number { number, digits: 1 }, text);
        }
    }

    /// A heading and a list; nothing where the list is empty.
    pub(super) fn section<T: Into<String>>(
        &mut self,
        title: &str,
        texts: impl IntoIterator<Item = T>,
    ) {
        let mut texts = texts.into_iter().peekable();
        if texts.peek().is_some() {
            self.heading(Rank::Part, title);
            self.bullets(texts);
        }
    }

    /// An empty line on a terminal.
    pub(super) fn gap(&mut self) {
        self.blocks.push(Block::Gap);
    }

    /// A command to be typed.
    pub(super) fn command(&mut self, command: String) {
        self.blocks.push(Block::Command(command));
    }

    /// Something to do and to tick off: what, perhaps a command for it, what is to be seen then.
    pub(super) fn task(&mut self, what: String, command: Option<String>, seen: &'static str) {
        self.blocks.push(Block::Task {
            what,
            command,
            seen,
        });
    }

    /// Lines of a program or a file, as they are, `indent` columns in on a terminal. The language is one that
    /// Markdown readers know, or empty.
    pub(super) fn code(
        &mut self,
        language: &'static str,
        indent: usize,
        lines: impl Into<Cow<'a, str>>,
    ) {
        self.blocks.push(Block::Code {
            language,
            indent,
            lines: lines.into(),
        });
    }

    /// What it comes to, in a sentence without its full stop.
    pub(super) fn summary(&mut self, text: String) {
        self.blocks.push(Block::Summary(text));
    }

    /// A table.
    pub(super) fn table(&mut self, table: Table) {
        self.blocks.push(Block::Table(table));
    }

    /// Findings, each with its place. Without `all`, a terminal shows the first few of each check.
    pub(super) fn findings(&mut self, sources: &'a Sources, findings: &'a [Finding], all: bool) {
        self.blocks.push(Block::Findings {
            sources,
            findings,
            all,
        });
    }

    /// Changed files.
    pub(super) fn patch(&mut self, files: &'a [EditedFile]) {
        self.blocks.push(Block::Patch(files));
    }

    /// What the answer rests on.
    pub(super) fn notes(&mut self, notes: &'a [String]) {
        self.blocks.push(Block::Notes(notes));
    }

    /// All parts of another one.
    pub(super) fn append(&mut self, other: Self) {
        self.blocks.extend(other.blocks);
    }

    /// Headings of answers.
    fn answers(&self) -> usize {
        let answers = self.blocks.iter().filter(|block| {
            matches!(
                block,
                Block::Heading {
                    rank: Rank::Answer,
                    ..
                }
            )
        });
        answers.count()
    }

    /// How many parts were put in.
    pub(super) fn len(&self) -> usize {
        self.blocks.len()
    }
}

/// What an answer rests on, alone: for an answer that is no document.
pub fn notes_document(notes: &[String]) -> Document<'_> {
    let mut out = Document::new("What this rests on", "");
    out.notes(notes);
    out
}
