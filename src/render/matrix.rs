//! A matrix on a terminal.

use std::fmt::Write;
use std::iter;
use std::ops::Range;

use anstyle::{AnsiColor, Style};
use comfy_table::{ColumnConstraint, Table, TableStyle, Width};

use super::legend::{Legend, Sign, sign};
use super::shape::{Sheet, Side};
use super::text::{escape_control, fit, width, wrapped};
use super::text_style::TextStyle;

/// What stands over the rows and before the columns.
const CORNER: &str = "from \\ to";

/// What the case of a letter tells.
pub(super) const LETTERS: &str = "Letters: CAPITAL between all addresses, small between some";

/// The signs that may stand behind a code, and what they mean.
const SIGNS: &[(char, &str)] = &[
    ('>', "one-way: for some of it no reply comes back"),
    ('!', "no filtering gateway decides about some of it"),
    (
        '+',
        "a hostile device among the senders reaches more than a plain one",
    ),
    ('*', "some of it only by hosts with routes of their own"),
    ('?', "a limit was met: at least this, perhaps more"),
];

/// A matrix as text, with its legend. Columns that do not fit stand in further blocks.
pub fn matrix_text(
    sheet: &Sheet,
    key: &Legend,
    codes: &[Vec<String>],
    text_style: TextStyle,
) -> String {
    let mut out = String::new();
    let layout = Layout::new(sheet, codes, text_style.columns);
    let columns = sheet.columns.len();
    let mut first = 0;
    while first < columns {
        let last = (first + layout.per_block).min(columns);
        block(&mut out, sheet, codes, &layout, first..last, text_style);
        out.push('\n');
        first = last;
    }
    legend(&mut out, sheet, key, codes, text_style);
    out
}

/// How wide a column of the matrix is, with the blank before it: as its widest code, and as the last column's number.
pub fn cell_width(sheet: &Sheet, codes: &[Vec<String>]) -> usize {
    let codes = codes.iter().flatten().map(|code| width(code));
    codes.max().unwrap_or(1).max(digits(sheet)) + 1
}

/// Digits of the last column's number.
fn digits(sheet: &Sheet) -> usize {
    sheet.columns.len().max(1).to_string().len()
}

/// Widths of a table, and how its columns are explained.
struct Layout {
    label: usize,
    /// Room for a row's number; 0 where rows are not numbered.
    number: usize,
    cell: usize,
    per_block: usize,
    /// Whether the rows explain the columns: the columns are the rows and then perhaps more.
    aligned: bool,
}

impl Layout {
    /// Columns before the first code.
    fn before(&self) -> usize {
        self.number + self.label
    }

    fn new(sheet: &Sheet, codes: &[Vec<String>], columns: usize) -> Self {
        let aligned = sheet.columns.starts_with(&sheet.rows);
        let number = if aligned { digits(sheet) + 1 } else { 0 };
        let names = sheet
            .rows
            .iter()
            .map(|side| width(&escape_control(&side.name)));
        let shortest = width(CORNER) - number;
        let longest = (columns / 3).max(shortest);
        let label = names.max().unwrap_or(0).clamp(shortest, longest);
        let cell = cell_width(sheet, codes);
        let room = columns.saturating_sub(label + number);
        Self {
            label,
            number,
            cell,
            per_block: (room / cell).max(1),
            aligned,
        }
    }
}

fn block(
    out: &mut String,
    sheet: &Sheet,
    codes: &[Vec<String>],
    layout: &Layout,
    columns: Range<usize>,
    text_style: TextStyle,
) {
    if !layout.aligned {
        column_key(out, sheet, columns.clone(), text_style);
    }
    let mut table = Table::new();
    table.load_style(TableStyle::new());
    let header = columns.clone().map(|column| (column + 1).to_string());
    table.add_row(iter::once(CORNER.to_owned()).chain(header));
    let labels = sheet.rows.iter().enumerate().map(|(row, side)| {
        let name = fit(&escape_control(&side.name), layout.label);
        format!("{}{}", row_number(row, layout), name.trim_end())
    });
    let labels: Vec<String> = labels.collect();
    for (row, label) in labels.iter().enumerate() {
        let label = label.clone();
        table.add_row(iter::once(label).chain(codes[row][columns.clone()].iter().cloned()));
    }
    for (at, column) in table.column_iter_mut().enumerate() {
        let wide = if at == 0 {
            layout.before()
        } else {
            layout.cell
        };
        column.set_padding((u16::from(at > 0), 0));
        column.set_constraint(ColumnConstraint::Absolute(Width::Fixed(wide as u16)));
    }
    for (number, line) in table.lines().enumerate() {
        let shown = match number.checked_sub(1) {
            None => line.replacen(CORNER, &text_style.faint(CORNER), 1),
            Some(row) => {
                let filled = layout.before().saturating_sub(width(&labels[row]));
                let signs = sheet.pairs[row][columns.clone()].iter().map(sign);
                coloured(&line, labels[row].len() + filled, signs, text_style)
            }
        };
        let _ = writeln!(out, "{}", shown.trim_end_matches(' '));
    }
    // Targets that are no senders (gateways and routers themselves) still need their number explained.
    for column in columns.filter(|&column| layout.aligned && column >= sheet.rows.len()) {
        let named = column_name(&sheet.columns[column]);
        let _ = writeln!(out, "{}{named}", row_number(column, layout));
    }
}

fn row_number(row: usize, layout: &Layout) -> String {
    match layout.number {
        0 => String::new(),
        number => format!("{:>width$} ", row + 1, width = number - 1),
    }
}

/// A line that names the columns, where they are not the rows.
fn column_key(out: &mut String, sheet: &Sheet, columns: Range<usize>, text_style: TextStyle) {
    // A number and its name stay on one line.
    let named = columns.map(|at| {
        let named = format!("{} {}", at + 1, column_name(&sheet.columns[at]));
        named.replace(' ', "\u{a0}")
    });
    let text = named.collect::<Vec<_>>().join(", ");
    let label = "columns: ";
    for (number, line) in wrapped(&text, text_style.columns - label.len())
        .iter()
        .enumerate()
    {
        let label = if number == 0 { label } else { "         " };
        let _ = writeln!(out, "{label}{}", line.replace('\u{a0}', " "));
    }
}

fn column_name(side: &Side) -> String {
    let name = escape_control(&side.name);
    match side.kind {
        "gateway" | "router" => format!("{name} ({} itself)", side.kind),
        _ => name,
    }
}

/// A line of the table, each code in the colour of its sign; codes have no blanks in them. Before them stand `label`
/// bytes.
fn coloured(
    line: &str,
    label: usize,
    mut signs: impl Iterator<Item = Sign>,
    text_style: TextStyle,
) -> String {
    if !text_style.colour {
        return line.to_owned();
    }
    let (label, codes) = line.split_at(label);
    let parts = codes.split(' ').map(|code| match code {
        "" => String::new(),
        code => {
            let style = signs.next().map_or(Style::new(), style_of);
            text_style.styled(style, code)
        }
    });
    format!("{label}{}", parts.collect::<Vec<_>>().join(" "))
}

fn style_of(sign: Sign) -> Style {
    match sign {
        Sign::Within | Sign::NoAddresses | Sign::Nothing => Style::new().dimmed(),
        Sign::Services => AnsiColor::Cyan.on_default(),
        Sign::Everything => AnsiColor::Yellow.on_default().bold(),
    }
}

fn legend(
    out: &mut String,
    sheet: &Sheet,
    key: &Legend,
    codes: &[Vec<String>],
    text_style: TextStyle,
) {
    let title = text_style.strong("What passes, from the row to the column");
    let _ = writeln!(out, "{title}");
    let used = |wanted: &str| {
        let mut all = codes.iter().flatten();
        all.any(|code| code.trim_end_matches(signs) == wanted)
    };
    for (code, text) in fixed_codes(sheet) {
        if used(code) {
            explain(out, code, &text, text_style);
        }
    }
    let letters = key.lines();
    if !letters.is_empty() {
        let _ = writeln!(out, "  {LETTERS}");
    }
    for (code, text) in letters {
        explain(out, &code, &text, text_style);
    }
    for (sign, meaning) in used_signs(codes) {
        explain(out, &sign.to_string(), meaning, text_style);
    }
}

/// One line of a legend, or more where it is long.
fn explain(out: &mut String, code: &str, text: &str, text_style: TextStyle) {
    let indent = 7;
    let room = text_style.columns.saturating_sub(indent).max(20);
    for (number, line) in wrapped(&escape_control(text), room).into_iter().enumerate() {
        let code = if number == 0 { code } else { "" };
        let _ = writeln!(out, "  {code:<4} {line}");
    }
}

/// Codes that every sheet knows, with their meaning.
pub fn fixed_codes(sheet: &Sheet) -> [(&'static str, String); 3] {
    let within = format!("inside one {}, no gateway between", inside(sheet.by));
    [
        (".", "nothing".to_owned()),
        ("=", within),
        ("ALL", "everything".to_owned()),
    ]
}

/// The signs that stand behind some code.
pub fn used_signs(codes: &[Vec<String>]) -> impl Iterator<Item = &'static (char, &'static str)> {
    let used = |sign: char| codes.iter().flatten().any(|code| code.contains(sign));
    SIGNS.iter().filter(move |(sign, _)| used(*sign))
}

fn signs(character: char) -> bool {
    SIGNS.iter().any(|(sign, _)| *sign == character)
}

/// What a cell lies inside of where no gateway stands between: hosts share a segment.
fn inside(by: &str) -> &str {
    match by {
        "host" => "segment",
        other => other,
    }
}
