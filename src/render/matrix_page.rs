//! A matrix and a review as pages.

use super::document::{Column, Document, Holds, Mark, Rank, Table, Tone};
use super::legend::Legend;
use super::matrix::{LETTERS, fixed_codes, used_signs};
use super::reviewed::{ReviewShown, put_reviewed};
use super::shape::{Sheet, Side};

/// A matrix as a page: its table, its legend, and the flows of pairs where they are asked for.
pub fn matrix_page<'a>(
    sheet: &'a Sheet,
    key: &Legend,
    codes: &[Vec<String>],
    flows: Option<Document<'a>>,
) -> Document<'a> {
    let mut out = Document::new("Who can reach what", &sheet.site);
    put_table(&mut out, sheet, key, codes);
    if let Some(flows) = flows {
        out.append(flows);
    }
    out.notes(&sheet.notes);
    out
}

/// A review as a page.
pub fn review_page<'a>(
    shown: ReviewShown<'a>,
    sheet: &'a Sheet,
    key: &Legend,
    codes: &[Vec<String>],
) -> Document<'a> {
    let mut out = Document::new("Review", &sheet.site);
    out.plain(0, shown.summary);
    if !shown.problems.is_empty() {
        out.heading(Rank::Answer, "Problems of the site file");
    }
    for problem in shown.problems {
        let place = problem
            .span
            .map(|span| shown.sources.place(span))
            .unwrap_or_default();
        let help = problem.help.as_deref().map(|help| format!(": {help}"));
        let help = help.unwrap_or_default();
        let name = problem.kind.name;
        let word = Mark::State {
            word: problem.severity().word(),
            width: 7,
            tone: Tone::Strong,
        };
        let text = format!("{} ({place}, {name}){help}", problem.message);
        out.line(2, word, text);
    }
    put_reviewed(&mut out, shown.sources, shown.reviewed);
    out.heading(Rank::Answer, "Who can reach what, by zone");
    put_table(&mut out, sheet, key, codes);
    out.notes(&sheet.notes);
    out
}

fn put_table(out: &mut Document<'_>, sheet: &Sheet, key: &Legend, codes: &[Vec<String>]) {
    let name = |side: &Side| match side.kind {
        "gateway" | "router" => format!("{} itself", side.name),
        _ => side.name.clone(),
    };
    let mut columns = vec![Column::new("from \\ to", Holds::Names)];
    columns.extend(
        sheet
            .columns
            .iter()
            .map(|side| Column::new(&name(side), Holds::Texts)),
    );
    let rows = sheet.rows.iter().zip(codes).map(|(side, line)| {
        let mut row = vec![side.name.clone()];
        row.extend(line.iter().cloned());
        row
    });
    out.table(Table {
        columns,
        rows: rows.collect(),
    });
    let mut meanings: Vec<Vec<String>> = fixed_codes(sheet)
        .map(|(code, text)| vec![code.to_owned(), text])
        .to_vec();
    meanings.extend(key.lines().into_iter().map(|(code, text)| vec![code, text]));
    let signs = used_signs(codes);
    meanings.extend(signs.map(|(sign, text)| vec![sign.to_string(), (*text).to_owned()]));
    let titles = ["code", "what passes, from the row to the column"];
    out.table(Table::of_texts(&titles, meanings));
    out.plain(0, format!("{LETTERS}."));
}
