//! A document on a terminal.

use std::fmt::Write;

use boundwalk_analysis::CAUTION;
use comfy_table::{CellAlignment, ContentArrangement, LineStyle, TableStyle};

use super::{Block, Document, Holds, Line, Mark, Rank, Table, Tone};
use crate::findings::findings_text;
use crate::patch::patch_text;
use crate::text::{beside, escape_control, width, wrapped};
use crate::text_style::TextStyle;

/// A rule below the header, nothing else.
const LOOKS: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('-'));

impl Document<'_> {
    /// The answer for a terminal of `style.columns` columns.
    pub fn text(&self, style: TextStyle) -> String {
        let mut out = String::new();
        for block in &self.blocks {
            put(&mut out, block, style);
        }
        out
    }
}

pub(super) fn put(out: &mut String, block: &Block<'_>, style: TextStyle) {
    match block {
        Block::Heading { rank, text } => {
            let before = match rank {
                Rank::Answer => "",
                Rank::Part => "\n",
                Rank::Detail => "  ",
            };
            let _ = writeln!(out, "{before}{}", style.strong(&escape_control(text)));
        }
        Block::Line(line) => put_line(out, line, style),
        Block::Gap => out.push('\n'),
        Block::Command(command) => put_command(out, command, style),
        Block::Task {
            what,
            command,
            seen,
        } => {
            let parts = [what.as_str(), command.as_deref().unwrap_or_default(), seen];
            let text = parts.join(" ");
            let mark = Mark::Label("[ ] ".to_owned());
            put_line(out, &Line::new(2, mark, text.trim_end().to_owned()), style);
        }
        Block::Code { indent, lines, .. } => put_code(out, *indent, lines),
        Block::Summary(text) => put_summary(out, text, style),
        Block::Table(table) => put_table(out, table, style),
        Block::Findings {
            sources,
            findings,
            all,
        } => {
            let text = findings_text(sources, findings, *all, style);
            out.push_str(text.trim_end());
            out.push('\n');
        }
        Block::Patch(files) => out.push_str(&patch_text(files, style)),
        Block::Notes(notes) => put_notes(out, notes, style),
    }
}

fn toned(style: TextStyle, tone: Tone, text: &str) -> String {
    match tone {
        Tone::Plain => text.to_owned(),
        Tone::Strong => style.strong(text),
        Tone::Faint => style.faint(text),
    }
}

/// What stands before a line, plain and as it is shown.
fn lead(mark: &Mark, style: TextStyle) -> (usize, String) {
    let plain = match mark {
        Mark::None | Mark::Paragraph => String::new(),
        Mark::Hanging => return (2, String::new()),
        Mark::Bullet => "- ".to_owned(),
        Mark::Number { number, digits } => format!("{number:>digits$}. "),
        Mark::Label(label) => escape_control(label),
        Mark::Sign(sign) => (*sign).to_owned(),
        Mark::State { word, width, tone } => {
            let filled = format!("{word:<width$}");
            return (width + 1, format!("{} ", toned(style, *tone, &filled)));
        }
    };
    (width(&plain), plain)
}

fn put_line(out: &mut String, line: &Line, style: TextStyle) {
    let (mut taken, mut before) = lead(&line.mark, style);
    // Behind a long label nothing would fit.
    if matches!(line.mark, Mark::Label(_)) && taken * 2 >= style.columns {
        let _ = writeln!(out, "{}{}", " ".repeat(line.indent), before.trim_end());
        (taken, before) = (4, "    ".to_owned());
    }
    let shown = |part: &str| toned(style, line.tone, part);
    beside(
        out,
        style.columns,
        line.indent,
        (taken, &before),
        &line.text,
        shown,
    );
}

/// A command, continued on the next line where it is too long for one.
fn put_command(out: &mut String, command: &str, style: TextStyle) {
    let room = style.columns.saturating_sub(10);
    let parts = if width(command) > room {
        wrapped(command, room.saturating_sub(2))
    } else {
        vec![command.to_owned()]
    };
    for (number, part) in parts.iter().enumerate() {
        let lead = if number == 0 { "$ " } else { "  " };
        let end = if number + 1 < parts.len() { " \\" } else { "" };
        let _ = writeln!(out, "      {lead}{part}{end}");
    }
}

fn put_code(out: &mut String, indent: usize, lines: &str) {
    for line in lines.lines() {
        let _ = if line.is_empty() {
            writeln!(out)
        } else {
            writeln!(out, "{}{line}", " ".repeat(indent))
        };
    }
}

fn put_summary(out: &mut String, text: &str, style: TextStyle) {
    if !out.is_empty() {
        out.push('\n');
    }
    let line = Line {
        tone: Tone::Strong,
        ..Line::new(0, Mark::None, text.to_owned())
    };
    put_line(out, &line, style);
}

fn put_table(out: &mut String, table: &Table, style: TextStyle) {
    let mut shown = comfy_table::Table::new();
    let titles = table
        .columns
        .iter()
        .map(|column| escape_control(&column.title));
    shown
        .load_style(LOOKS)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(u16::try_from(style.columns).unwrap_or(u16::MAX))
        .set_header(titles);
    for row in &table.rows {
        shown.add_row(row.iter().map(|cell| escape_control(cell)));
    }
    for (column, own) in shown.column_iter_mut().zip(&table.columns) {
        column.set_padding((0, 2));
        if own.holds == Holds::Numbers {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    for line in shown.lines() {
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

/// What an answer rests on. The caution, which holds for every answer, does not stand back.
fn put_notes(out: &mut String, notes: &[String], style: TextStyle) {
    let _ = writeln!(out, "\n{}", style.strong("What this rests on"));
    for note in notes {
        let tone = if note == CAUTION {
            Tone::Plain
        } else {
            Tone::Faint
        };
        let line = Line {
            tone,
            ..Line::new(2, Mark::Bullet, note.clone())
        };
        put_line(out, &line, style);
    }
}
