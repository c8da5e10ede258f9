//! The matrix of a change: the new version, with a mark on each cell that opens or closes.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use super::super::change::{ChangeShown, Course};
use super::super::key::Key;
use super::super::shape::Sheet;
use super::super::svg::xml;
use super::MOST_SEGMENTS;
use super::html::Html;
use super::matrix::{heading, legend, plain_cell};

/// A pair by the names of its ends, with the places of its changes in the list.
type Marked = FxHashMap<(String, String), Vec<usize>>;

/// What cells are made of.
struct Heat<'a> {
    shown: &'a ChangeShown<'a>,
    sheet: &'a Sheet,
    codes: &'a [Vec<String>],
    marked: Marked,
}

/// Which pairs change, by the names that the matrix of the new version has for them.
fn marked(shown: &ChangeShown<'_>) -> Marked {
    let mut marked = Marked::default();
    for (at, pair) in shown.reach.pairs.iter().enumerate() {
        if !pair.opened.is_empty() || !pair.closed.is_empty() {
            marked.entry(shown.new_names(pair)).or_default().push(at);
        }
    }
    marked
}

/// `+` opens, `-` closes, `+-` both, for the changes of one cell.
fn mark(shown: &ChangeShown<'_>, changes: &[usize]) -> (&'static str, &'static str, &'static str) {
    let any = |course: Course| {
        changes
            .iter()
            .any(|&at| !course.of(&shown.reach.pairs[at]).is_empty())
    };
    match (any(Course::Opens), any(Course::Closes)) {
        (true, true) => ("+-", "opened", "opens and closes something"),
        (true, false) => ("+", "opened", "opens something"),
        _ => ("-", "closed", "closes something"),
    }
}

/// The section.
pub(super) fn heat(
    html: &mut Html<'_>,
    shown: &ChangeShown<'_>,
    (sheet, key, codes): (&Sheet, &Key, &[Vec<String>]),
) {
    html.section("matrix", "Who can reach what, and what changes");
    html.raw("<p>The new version. Cells that change are marked before their code: <b>+</b> something opens, <b>-</b> \
        something closes; they lead to what.</p>");
    let heat = Heat {
        shown,
        sheet,
        codes,
        marked: marked(shown),
    };
    let [rows, columns] = [0..sheet.rows.len(), 0..sheet.columns.len()].map(Vec::from_iter);
    // A larger one is folded up, below the part that changes.
    match rows.len() > MOST_SEGMENTS {
        true => heat.in_parts(html, &rows, &columns),
        false => heat.table(html, "Matrix by segment", &rows, &columns),
    }
    legend(html, sheet, key, codes);
    html.raw("<dl class=\"key\"><dt class=\"opened\">+</dt><dd>something opens</dd><dt class=\"closed\">-</dt><dd>something \
        closes</dd></dl>\n");
}

impl Heat<'_> {
    fn changes(&self, row: usize, column: usize) -> Option<&[usize]> {
        let names = (
            self.sheet.rows[row].name.clone(),
            self.sheet.columns[column].name.clone(),
        );
        self.marked.get(&names).map(Vec::as_slice)
    }

    /// Rows and columns in which something changes, then all of them, folded up.
    fn in_parts(&self, html: &mut Html<'_>, rows: &[usize], columns: &[usize]) {
        let changes = |row: usize, column: usize| self.changes(row, column).is_some();
        let in_row = |&row: &usize| columns.iter().any(|&column| changes(row, column));
        let in_column = |&column: &usize| rows.iter().any(|&row| changes(row, column));
        let some: Vec<usize> = rows.iter().copied().filter(in_row).collect();
        let of_them: Vec<usize> = columns.iter().copied().filter(in_column).collect();
        match some.is_empty() {
            true => html.raw("<p>Nothing changes in it.</p>"),
            false => self.table(html, "Rows and columns that change", &some, &of_them),
        }
        html.bulk(&format!(
            "All {} rows and {} columns",
            rows.len(),
            columns.len()
        ));
        self.table(html, "Matrix by segment", rows, columns);
        html.end_bulk();
    }

    fn table(&self, html: &mut Html<'_>, title: &str, rows: &[usize], columns: &[usize]) {
        let sides = columns.iter().map(|&column| &self.sheet.columns[column]);
        heading(html, title, "", sides);
        for &row in rows {
            let from = &self.sheet.rows[row].name;
            let _ = write!(html.out, "<tr><th scope=\"row\">{}</th>", xml(from));
            for &column in columns {
                self.cell(html, row, column);
            }
            html.raw("</tr>\n");
        }
        html.raw("</tbody></table></div>\n");
    }

    /// A cell; one that changes leads to what changes there.
    fn cell(&self, html: &mut Html<'_>, row: usize, column: usize) {
        let (from, to) = (&self.sheet.rows[row].name, &self.sheet.columns[column].name);
        let code = &self.codes[row][column];
        let Some(changes) = self.changes(row, column) else {
            let name = format!("{from} to {to}: unchanged, {code}");
            return plain_cell(html, &self.sheet.pairs[row][column], &name, code);
        };
        let (signs, class, words) = mark(self.shown, changes);
        let _ = write!(
            html.out,
            "<td class=\"{class}\"><a href=\"#p{}\" aria-label=\"{}\">{signs} {}</a></td>",
            changes[0],
            xml(&format!("{from} to {to}: {words}")),
            xml(code)
        );
    }
}
