//! A document as a part of a page for browsers.

use std::fmt::Write;

use boundwalk_analysis::CAUTION;

use super::{Block, Document, Line, Mark, Rank, Table, Tone};
use crate::patch::patch_text;
use crate::svg::xml;
use crate::text_style::TextStyle;

/// The printer's place in the page.
#[derive(Default)]
struct Page {
    out: String,
    /// Lists that are open, outermost first: columns of the terminal before their items, and the element.
    lists: Vec<(usize, &'static str)>,
    /// Whether there is one answer.
    alone: bool,
}

impl Document<'_> {
    /// The answer as elements that stand below a heading of level 3, which names it: where there is one answer, its own
    /// heading is left out. Every text is escaped.
    pub fn html(&self) -> String {
        let mut page = Page {
            alone: self.answers() < 2,
            ..Page::default()
        };
        for block in &self.blocks {
            page.put(block);
        }
        page.close(0);
        page.out
    }
}

impl Page {
    fn put(&mut self, block: &Block<'_>) {
        match block {
            Block::Heading { rank, text } => match (rank, self.alone) {
                (Rank::Answer, true) => {}
                (Rank::Answer, false) | (Rank::Part, true) => self.element("h4", text),
                (Rank::Part, false) | (Rank::Detail, true) => self.element("h5", text),
                (Rank::Detail, false) => self.element("h6", text),
            },
            Block::Line(line) => self.line(line),
            Block::Gap => {}
            Block::Command(command) => {
                self.item(6, "ul", &format!("<code>{}</code>", xml(command)));
            }
            Block::Task {
                what,
                command,
                seen,
            } => {
                let command = command
                    .as_deref()
                    .map(|text| format!("<code>{}</code>", xml(text)));
                let command = command.unwrap_or_default();
                self.item(2, "ul", &format!("{} {command} {seen}", xml(what)));
            }
            Block::Code { lines, .. } => self.lines(lines),
            Block::Summary(text) => self.element("p", &format!("{text}.")),
            Block::Table(table) => self.table(table),
            Block::Findings {
                sources, findings, ..
            } => {
                for finding in *findings {
                    let place = finding
                        .span
                        .map(|span| sources.place(span))
                        .unwrap_or_default();
                    let (word, name) = (finding.severity().word(), finding.check.name);
                    let text = format!("{} ({place}, {name})", finding.message);
                    self.item(2, "ul", &format!("<b>{word}</b> {}", xml(&text)));
                }
            }
            Block::Patch(files) => self.lines(&patch_text(files, TextStyle::PLAIN)),
            Block::Notes(notes) => self.notes(notes),
        }
    }

    /// Ends the lists whose items stand at `indent` or further in.
    fn close(&mut self, indent: usize) {
        while let Some((_, name)) = self.lists.pop_if(|(own, _)| *own >= indent) {
            let _ = write!(self.out, "</li></{name}>");
        }
    }

    fn element(&mut self, name: &str, text: &str) {
        self.close(0);
        let _ = writeln!(self.out, "<{name}>{}</{name}>", xml(text));
    }

    fn lines(&mut self, lines: &str) {
        self.close(0);
        let lines: Vec<String> = lines.lines().map(xml).collect();
        let _ = writeln!(self.out, "<pre>{}</pre>", lines.join("\n"));
    }

    fn line(&mut self, line: &Line) {
        let text = match line.tone {
            Tone::Strong => format!("<b>{}</b>", xml(&line.text)),
            Tone::Plain | Tone::Faint => xml(&line.text),
        };
        match &line.mark {
            Mark::Paragraph => self.paragraph(&text),
            Mark::None if line.indent == 0 => self.paragraph(&text),
            Mark::Sign(_) => self.paragraph(&format!("<b>{}</b>", xml(&line.text))),
            Mark::None | Mark::Hanging | Mark::Bullet => self.item(line.indent, "ul", &text),
            Mark::Number { .. } => self.item(line.indent, "ol", &text),
            Mark::Label(label) => {
                let label = xml(label.trim());
                self.item(line.indent, "ul", &format!("{label} {text}"));
            }
            Mark::State { word, .. } => {
                self.item(line.indent, "ul", &format!("<b>{word}</b> {text}"));
            }
        }
    }

    /// `markup` is escaped.
    fn paragraph(&mut self, markup: &str) {
        self.close(0);
        let _ = writeln!(self.out, "<p>{markup}</p>");
    }

    /// An item of a list, below the one that it belongs to. `markup` is escaped.
    fn item(&mut self, indent: usize, list: &'static str, markup: &str) {
        self.close(indent + 1);
        match self.lists.last() {
            Some(&(own, name)) if own == indent && name == list => self.out.push_str("</li>"),
            _ => {
                self.close(indent);
                self.lists.push((indent, list));
                let _ = write!(self.out, "<{list}>");
            }
        }
        let _ = write!(self.out, "<li>{markup}");
    }

    fn table(&mut self, table: &Table) {
        self.close(0);
        self.out.push_str("<table class=\"list\"><thead><tr>");
        for column in &table.columns {
            let _ = write!(self.out, "<th scope=\"col\">{}</th>", xml(&column.title));
        }
        self.out.push_str("</tr></thead><tbody>");
        for row in &table.rows {
            let cells: String = row
                .iter()
                .map(|cell| format!("<td>{}</td>", xml(cell)))
                .collect();
            let _ = writeln!(self.out, "<tr>{cells}</tr>");
        }
        self.out.push_str("</tbody></table>\n");
    }

    fn notes(&mut self, notes: &[String]) {
        self.element("h4", "What this rests on");
        for note in notes {
            let text = xml(note);
            let text = if note == CAUTION {
                format!("<b>{text}</b>")
            } else {
                text
            };
            self.item(2, "ul", &text);
        }
    }
}
