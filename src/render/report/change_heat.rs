//! The matrix of a change: the new version, with a mark on each cell that opens or closes.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use super::super::change::{ChangeKind, ChangeShown, Stance};
use super::super::legend::Legend;
use super::super::shape::Sheet;
use super::super::svg::xml;
use super::MOST_SEGMENTS;
use super::html::Html;
use super::matrix::{heading, legend, plain_cell};

/// A pair by the names of its ends, with the places of its changes in the lists of both stances.
type Marked = FxHashMap<(String, String), Vec<(Stance, usize)>>;

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
    for stance in Stance::BOTH {
        for (at, pair) in shown.all_pairs(stance).iter().enumerate() {
            if !pair.opened.is_empty() || !pair.closed.is_empty() {
                let names = shown.new_names(pair);
                marked.entry(names).or_default().push((stance, at));
            }
        }
    }
    marked
}

/// `+` opens, `-` closes, `+-` both, for the changes of one cell; with `h` where only a hostile device is concerned.
fn mark(
    shown: &ChangeShown<'_>,
    changes: &[(Stance, usize)],
) -> (&'static str, &'static str, &'static str) {
    let any = |stance: Stance, kind: ChangeKind| {
        let mut pairs = changes
            .iter()
            .filter(|(own, _)| *own == stance)
            .map(|&(_, at)| &shown.all_pairs(stance)[at]);
        pairs.any(|pair| !kind.of(pair).is_empty())
    };
    let [plain, hostile] =
        Stance::BOTH.map(|stance| ChangeKind::BOTH.map(|kind| any(stance, kind)));
    match (plain, hostile) {
        ([true, true], _) => ("+-", "opened", "opens and closes something"),
        ([true, false], _) => ("+", "opened", "opens something"),
        ([false, true], [false, _]) => ("-", "closed", "closes something"),
        ([false, true], [true, _]) => (
            "h+ -",
            "opened",
            "closes something, and opens something for a hostile device",
        ),
        ([false, false], [true, true]) => (
            "h+-",
            "opened",
            "opens and closes something for a hostile device",
        ),
        ([false, false], [true, false]) => ("h+", "opened", "opens something for a hostile device"),
        ([false, false], [false, _]) => ("h-", "closed", "closes something for a hostile device"),
    }
}

/// The section.
pub(super) fn heat(
    html: &mut Html<'_>,
    shown: &ChangeShown<'_>,
    (sheet, key, codes): (&Sheet, &Legend, &[Vec<String>]),
) {
    html.section("matrix", "Who can reach what, and what changes");
    html.raw("<p>The new version. Cells that change are marked before their code: <b>+</b> something opens, <b>-</b> \
        something closes; with an <b>h</b>, for a hostile device only. They lead to what.</p>");
    let heat = Heat {
        shown,
        sheet,
        codes,
        marked: marked(shown),
    };
    let [rows, columns] = [0..sheet.rows.len(), 0..sheet.columns.len()].map(Vec::from_iter);
    // A larger one is folded up, below the part that changes.
    if rows.len() > MOST_SEGMENTS {
        heat.in_parts(html, &rows, &columns);
    } else {
        heat.table(html, "Matrix by segment", &rows, &columns);
    }
    legend(html, sheet, key, codes);
    html.raw("<dl class=\"key\"><dt class=\"opened\">+</dt><dd>something opens</dd><dt class=\"closed\">-</dt><dd>something \
        closes</dd></dl>\n");
}

impl Heat<'_> {
    fn changes(&self, row: usize, column: usize) -> Option<&[(Stance, usize)]> {
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
        if some.is_empty() {
            html.raw("<p>Nothing changes in it.</p>");
        } else {
            self.table(html, "Rows and columns that change", &some, &of_them);
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
        let (stance, at) = changes[0];
        let list = match stance {
            Stance::Configured => 'p',
            Stance::Hostile => 'h',
        };
        let _ = write!(
            html.out,
            "<td class=\"{class}\"><a href=\"#{list}{at}\" aria-label=\"{}\">{signs} {}</a></td>",
            xml(&format!("{from} to {to}: {words}")),
            xml(code)
        );
    }
}
