//! A document in Markdown.

use std::fmt::Write;

use boundwalk_analysis::CAUTION;

use super::{Block, Document, Holds, Line, Mark, Rank, Table, Tone};
use crate::markdown_text::{escape, findings_items};
use crate::patch::patch_text;
use crate::text_style::TextStyle;

/// The printer's place in the page.
#[derive(Default)]
struct Page {
    out: String,
    /// Columns of the terminal before each item that the next line may belong to, outermost first.
    items: Vec<usize>,
    /// Level of the heading of a part: pages with one answer have a level less.
    part: usize,
}

impl Document<'_> {
    /// The answer as a page in Markdown.
    pub fn markdown(&self) -> String {
        let mut page = Page {
            part: if self.answers() > 0 { 3 } else { 2 },
            ..Page::default()
        };
        let title = if self.site.is_empty() {
            self.title.to_owned()
        } else {
            format!("{}: {}", self.title, self.site)
        };
        page.heading(1, &title);
        for block in &self.blocks {
            if let Block::Summary(text) = block {
                page.paragraph(&format!("{}.", escape(text)));
            }
        }
        for block in &self.blocks {
            page.put(block);
        }
        page.out
    }
}

impl Page {
    fn put(&mut self, block: &Block<'_>) {
        match block {
            Block::Heading { rank, text } => {
                let level = match rank {
                    Rank::Answer => 2,
                    Rank::Part => self.part,
                    Rank::Detail => self.part + 1,
                };
                self.heading(level, text);
            }
            Block::Line(line) => self.line(line),
            Block::Gap => {}
            Block::Command(command) => self.item(6, "-", &code(command)),
            Block::Task {
                what,
                command,
                seen,
            } => {
                let command = command.as_deref().map(code).unwrap_or_default();
                let text = format!("[ ] {} {command} {seen}", escape(what));
                self.item(2, "-", text.trim_end());
            }
            Block::Code {
                language, lines, ..
            } => self.fenced(language, lines),
            Block::Summary(_) => {}
            Block::Table(table) => self.table(table),
            Block::Findings {
                sources, findings, ..
            } => {
                self.apart();
                findings_items(&mut self.out, sources, findings);
            }
            Block::Patch(files) => self.fenced("diff", &patch_text(files, TextStyle::PLAIN)),
            Block::Notes(notes) => self.notes(notes),
        }
    }

    /// Ends a list, and leaves an empty line before what follows.
    fn apart(&mut self) {
        self.items.clear();
        if !self.out.is_empty() && !self.out.ends_with("\n\n") {
            self.out.push('\n');
        }
    }

    fn heading(&mut self, level: usize, text: &str) {
        self.apart();
        let _ = writeln!(self.out, "{} {}\n", "#".repeat(level), escape(text));
    }

    fn line(&mut self, line: &Line) {
        let text = if line.own {
            own_words(&line.text)
        } else {
            escape(&line.text)
        };
        let bold = |text: &str| format!("**{text}**");
        let text = match line.tone {
            Tone::Strong => bold(&text),
            Tone::Plain | Tone::Faint => text,
        };
        match &line.mark {
            Mark::Paragraph => self.paragraph(&text),
            Mark::None if line.indent == 0 => self.paragraph(&text),
            Mark::None | Mark::Hanging | Mark::Bullet => self.item(line.indent, "-", &text),
            Mark::Number { number, .. } => self.item(line.indent, &format!("{number}."), &text),
            Mark::Label(label) => {
                let label = escape(label.trim().trim_end_matches(':'));
                let text = if label.is_empty() {
                    text
                } else {
                    format!("{label}: {text}")
                };
                self.item(line.indent, "-", &text);
            }
            Mark::Sign(_) => self.paragraph(&bold(&escape(&line.text))),
            Mark::State { word, width: 0, .. } => {
                self.paragraph(&format!("**{}** {text}", escape(word)));
            }
            Mark::State { word, .. } => {
                self.item(line.indent, "-", &format!("**{}** {text}", escape(word)));
            }
        }
    }

    fn paragraph(&mut self, text: &str) {
        self.apart();
        let _ = writeln!(self.out, "{text}");
    }

    /// An item of a list, below the one that it belongs to.
    fn item(&mut self, indent: usize, mark: &str, text: &str) {
        if self.items.is_empty() {
            self.apart();
        }
        while self.items.last().is_some_and(|&above| above >= indent) {
            self.items.pop();
        }
        let before = "   ".repeat(self.items.len());
        let _ = writeln!(self.out, "{before}{mark} {text}");
        self.items.push(indent);
    }

    fn fenced(&mut self, language: &str, lines: &str) {
        self.apart();
        let fence = "`".repeat(longest_run(lines).max(2) + 1);
        let end = if lines.ends_with('\n') { "" } else { "\n" };
        let _ = writeln!(self.out, "{fence}{language}\n{lines}{end}{fence}");
    }

    fn table(&mut self, table: &Table) {
        self.apart();
        let titles = table.columns.iter().map(|column| escape(&column.title));
        self.row(titles);
        let rules = table.columns.iter().map(|column| match column.holds {
            Holds::Numbers => "--:",
            Holds::Texts | Holds::Names | Holds::Commands => "---",
        });
        let _ = writeln!(self.out, "|{}|", rules.collect::<Vec<_>>().join("|"));
        for cells in &table.rows {
            let cells = cells.iter().zip(&table.columns);
            self.row(cells.map(|(cell, column)| match column.holds {
                // A bar would end the cell, inside code as well.
                Holds::Commands => code(cell).replace('|', "\\|"),
                Holds::Names => format!("**{}**", escape(cell)),
                Holds::Texts | Holds::Numbers => escape(cell),
            }));
        }
    }

    fn row(&mut self, cells: impl Iterator<Item = String>) {
        let cells: Vec<String> = cells.collect();
        let _ = writeln!(self.out, "| {} |", cells.join(" | "));
    }

    fn notes(&mut self, notes: &[String]) {
        self.heading(2, "What this rests on");
        for note in notes {
            let text = escape(note);
            if note == CAUTION {
                self.paragraph(&format!("**{text}**"));
            } else {
                self.item(0, "-", &text);
            }
        }
    }
}

/// A text as code, whatever it holds.
pub(super) fn code(text: &str) -> String {
    let fence = "`".repeat(longest_run(text) + 1);
    let text = crate::text::escape_control(text);
    let pad = if text.starts_with('`') || text.ends_with('`') {
        " "
    } else {
        ""
    };
    format!("{fence}{pad}{text}{pad}{fence}")
}

/// A text of our own: code in backquotes stays code.
fn own_words(text: &str) -> String {
    let parts = text.split('`').enumerate().map(|(at, part)| match at % 2 {
        0 => escape(part),
        _ => code(part),
    });
    parts.collect()
}

/// The longest run of backquotes: a fence must be longer (CommonMark, *Fenced code blocks* and *Code spans*).
fn longest_run(text: &str) -> usize {
    text.split(|character| character != '`')
        .map(str::len)
        .max()
        .unwrap_or(0)
}
