//! Who can reach what, as a heat map with a code in each cell.

use super::super::legend::{Legend, Sign, sign, whole};
use super::super::matrix::{fixed_codes, used_signs};
use super::super::shape::{Sheet, Side};
use super::card::broken;
use super::pen::{Drawing, LINE, PAD, Sample, cut, span};

/// Height of a row.
const TALL: i32 = 22;
/// Widest name.
const NAME: i32 = 200;
/// Letters in a line below the cells.
const TEXT: usize = 96;

/// Where cells stand.
struct Layout {
    /// Room for the number of a row.
    number: i32,
    left: i32,
    cell: i32,
}

impl Layout {
    fn new(sheet: &Sheet, codes: &[Vec<String>]) -> Self {
        let names = sheet
            .rows
            .iter()
            .chain(&sheet.columns)
            .map(|side| span(&cut(&side.name, NAME)))
            .max()
            .unwrap_or(0)
            .max(span("from, to"));
        let code = codes.iter().flatten().map(|code| span(code));
        let number = span(&sheet.columns.len().to_string()) + 8;
        Self {
            number,
            left: PAD + number + names + 8,
            cell: (code.max().unwrap_or(0) + 12).max(32),
        }
    }

    fn x(&self, column: usize) -> i32 {
        self.left + column as i32 * self.cell
    }
}

/// A matrix as a picture.
pub fn matrix_svg(sheet: &Sheet, key: &Legend, codes: &[Vec<String>], alone: bool) -> String {
    let mut drawing = Drawing::default();
    let title = if sheet.site.is_empty() {
        format!("Who can reach what, by {}", sheet.by)
    } else {
        format!("{}: who can reach what, by {}", sheet.site, sheet.by)
    };
    drawing.text("ink b", (PAD, PAD + 14), &cut(&title, 900));
    let layout = Layout::new(sheet, codes);
    let mut y = PAD + 2 * LINE + 8;
    drawing.text("dim", (PAD, y + 14), "from, to");
    for column in 0..sheet.columns.len() {
        let text = (column + 1).to_string();
        drawing.centred("dim", (layout.x(column), y + 14), layout.cell, &text);
    }
    for (row, codes) in codes.iter().enumerate() {
        y += TALL;
        one_row(&mut drawing, &layout, sheet, codes, (row, y));
    }
    y = other_columns(&mut drawing, sheet, y + TALL, layout.number);
    texts(&mut drawing, sheet, key, codes, y);
    drawing.legend(&LEGEND);
    let size = format!(
        "{} senders, {} targets",
        sheet.rows.len(),
        sheet.columns.len()
    );
    drawing.finish(alone, &title, &size)
}

const LEGEND: [(Sample, &str); 5] = [
    (Sample::Fill("none", "."), "nothing passes"),
    (
        Sample::Fill("some", "a"),
        "some services, between some addresses",
    ),
    (
        Sample::Fill("whole", "A"),
        "some services, between all addresses",
    ),
    (Sample::Fill("every", "ALL"), "everything"),
    (Sample::Fill("within", "="), "inside"),
];

fn one_row(
    drawing: &mut Drawing,
    layout: &Layout,
    sheet: &Sheet,
    codes: &[String],
    (row, y): (usize, i32),
) {
    let side = &sheet.rows[row];
    drawing.text("dim", (PAD, y + 15), &(row + 1).to_string());
    let name = cut(&side.name, NAME);
    drawing.text("ink", (PAD + layout.number, y + 15), &name);
    for (column, to) in sheet.columns.iter().enumerate() {
        let pair = &sheet.pairs[row][column];
        let class = class(sign(pair), whole(pair));
        let (x, code) = (layout.x(column), &codes[column]);
        drawing.open(&format!("{} to {}: {}", side.name, to.name, spoken(code)));
        drawing.rect(class, (x + 1, y + 1), (layout.cell - 2, TALL - 2), 2);
        let on = if class == "every" { "onevery" } else { "ink" };
        drawing.centred(on, (x, y + 15), layout.cell, code);
        drawing.close();
    }
}

/// What a cell's colour is called.
pub(in super::super) fn class(sign: Sign, whole: bool) -> &'static str {
    match sign {
        Sign::Within => "within",
        Sign::NoAddresses => "paper",
        Sign::Nothing => "none",
        Sign::Services if whole => "whole",
        Sign::Services => "some",
        Sign::Everything => "every",
    }
}

fn spoken(code: &str) -> &str {
    match code {
        "" => "no addresses",
        "." => "nothing",
        "=" => "inside",
        code => code,
    }
}

/// The numbers of columns that are no rows.
fn other_columns(drawing: &mut Drawing, sheet: &Sheet, mut y: i32, number: i32) -> i32 {
    let aligned = sheet.columns.starts_with(&sheet.rows);
    let first = if aligned { sheet.rows.len() } else { 0 };
    let named = |side: &Side| match side.kind {
        "gateway" | "router" => format!("{} ({} itself)", side.name, side.kind),
        _ => side.name.clone(),
    };
    for (column, side) in sheet.columns.iter().enumerate().skip(first) {
        let label = if aligned {
            String::new()
        } else {
            "column ".to_owned()
        };
        drawing.text("dim", (PAD, y + 15), &format!("{label}{}", column + 1));
        let x = PAD + number + span(&label);
        drawing.text("ink", (x, y + 15), &cut(&named(side), 2 * NAME));
        y += TALL;
    }
    y
}

/// What the codes and the signs behind them mean.
fn texts(drawing: &mut Drawing, sheet: &Sheet, key: &Legend, codes: &[Vec<String>], mut y: i32) {
    y += 8;
    let mut line = |code: &str, text: &str| {
        for (number, part) in broken(text, TEXT).iter().enumerate() {
            y += LINE;
            if number == 0 {
                drawing.text("ink b", (PAD, y), code);
            }
            drawing.text("dim", (PAD + 44, y), part);
        }
    };
    let used = |wanted: &str| codes.iter().flatten().any(|code| code.starts_with(wanted));
    for (code, text) in fixed_codes(sheet) {
        if used(code) {
            line(code, &text);
        }
    }
    for (code, text) in key.lines() {
        line(&code, &text);
    }
    for (sign, meaning) in used_signs(codes) {
        line(&sign.to_string(), meaning);
    }
}
