//! The matrix as a heat map: a table whose cells say in a code what their colour says.

use std::collections::BTreeMap;
use std::fmt::Write;

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_model::Family;
use boundwalk_packet::ClassSet;

use super::super::legend::{Legend, Sign, cell_text, sign, whole};
use super::super::matrix::{LETTERS, fixed_codes, used_signs};
use super::super::shape::{Pair, Sheet, Side};
use super::super::svg::{heat_class, xml};
use super::ReportShown;
use super::html::Html;

/// Legends with more letters are folded up.
const MOST_LETTERS: usize = 80;

/// Different sets of services up to which a page lists them apart from the pairs that have them.
const MOST_SETS: usize = 5_000;

/// The services of a cell in both families.
type SetPair<'a> = [Option<&'a ClassSet>; 2];

/// Distinct sets of services, and which cells have which.
#[derive(Default)]
struct Sets<'a> {
    known: FxHashMap<SetPair<'a>, usize>,
    list: Vec<SetPair<'a>>,
}

impl<'a> Sets<'a> {
    fn number(&mut self, pair: &'a Pair) -> Option<usize> {
        let some = |family: Family| {
            let mut cells = pair.families().filter(|(own, _)| *own == family);
            let some = cells.next().map(|(_, cell)| &*cell.some);
            some.filter(|some| !some.is_empty())
        };
        let key = Family::ALL.map(some);
        if key == [None, None] {
            return None;
        }
        let next = self.list.len();
        let number = *self.known.entry(key).or_insert(next);
        if number == next {
            self.list.push(key);
        }
        Some(number)
    }

    /// Services that cells name, each with the sets that some packet of it is in.
    fn services(&self, shown: &ReportShown<'_>) -> BTreeMap<String, Vec<usize>> {
        let mut named = FxHashSet::default();
        let mut services: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (number, sets) in self.list.iter().enumerate() {
            for (family, set) in [Family::V4, Family::V6].into_iter().zip(sets) {
                let mut namings = shown.namings.iter();
                let naming = namings.find(|naming| naming.plan().family == family);
                let Some((naming, set)) = naming.zip(*set) else {
                    continue;
                };
                named.extend(naming.list(set));
                for name in naming.carried(set) {
                    let held = services.entry(name.to_owned()).or_default();
                    if held.last() != Some(&number) {
                        held.push(number);
                    }
                }
            }
        }
        services.retain(|name, _| named.contains(name));
        services
    }
}

/// The section.
pub(super) fn matrix(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let (sheet, key, codes) = shown.matrix;
    html.section("matrix", "Who can reach what");
    html.raw("<p>Rows send, columns receive.</p><h3>By zone</h3>\n");
    by_zone(html, shown);
    html.raw("<h3>By segment</h3><p>A cell that says something leads to the flows, the rules that permit them, a packet \
        that shows it and its path.</p>\n");
    let mut sets = Sets::default();
    let mut numbers: Vec<Vec<Option<usize>>> = Vec::new();
    for row in &sheet.pairs {
        numbers.push(row.iter().map(|pair| sets.number(pair)).collect());
    }
    tools(html, shown, &sets);
    let large = shown.flows.is_none();
    if large {
        let title = format!("{} rows, {} columns", sheet.rows.len(), sheet.columns.len());
        html.bulk(&title);
    }
    heading(
        html,
        "Matrix by segment",
        " id=\"matrix-table\"",
        &sheet.columns,
    );
    for (row, numbers) in numbers.iter().enumerate() {
        line(html, shown, row, numbers);
    }
    html.raw("</tbody></table></div>\n");
    if large {
        html.end_bulk();
    }
    legend(html, sheet, key, codes);
}

/// The first lines of a table.
pub(super) fn heading<'s>(
    html: &mut Html<'_>,
    name: &str,
    id: &str,
    columns: impl IntoIterator<Item = &'s Side>,
) {
    let _ = write!(
        html.out,
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{name}\"><table class=\"heat\"{id}><thead><tr>\
         <th scope=\"col\">from, to</th>"
    );
    for side in columns {
        let _ = write!(
            html.out,
            "<th scope=\"col\"><span>{}</span></th>",
            xml(&side.as_target())
        );
    }
    html.raw("</tr></thead><tbody>\n");
}

/// The matrix by zone, with the same letters.
fn by_zone(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let (sheet, codes) = shown.zones;
    heading(html, "Matrix by zone", "", &sheet.columns);
    for (row, side) in sheet.rows.iter().enumerate() {
        let _ = write!(html.out, "<tr><th scope=\"row\">{}</th>", xml(&side.name));
        for (column, to) in sheet.columns.iter().enumerate() {
            let (pair, code) = (&sheet.pairs[row][column], &codes[row][column]);
            let meaning = meaning(pair, code, shown.matrix.1);
            let name = format!("{} to {}: {meaning}", side.name, to.as_target());
            plain_cell(html, pair, &name, code);
        }
        html.raw("</tr>\n");
    }
    html.raw("</tbody></table></div>\n");
}

/// A cell that leads nowhere, with what it says to those who hear it.
pub(super) fn plain_cell(html: &mut Html<'_>, pair: &Pair, name: &str, code: &str) {
    let _ = write!(
        html.out,
        "<td class=\"{}\" aria-label=\"{}\">{}</td>",
        heat_class(sign(pair), whole(pair)),
        xml(name),
        xml(code)
    );
}

/// The choices; without scripts they would do nothing, so the page hides them until its script runs.
fn tools(html: &mut Html<'_>, shown: &ReportShown<'_>, sets: &Sets<'_>) {
    html.raw("<div class=\"tools\" id=\"matrix-tools\" hidden><label>Service<br><select id=\"by-service\"><option \
        value=\"\">all</option>");
    // Nobody chooses among so many, and a browser would wait for all of them.
    let services = if sets.list.len() <= MOST_SETS {
        sets.services(shown)
    } else {
        BTreeMap::new()
    };
    for (name, sets) in services {
        let sets: Vec<String> = sets.iter().map(usize::to_string).collect();
        let _ = write!(
            html.out,
            "<option value=\"{}\">{}</option>",
            sets.join(" "),
            xml(&name)
        );
    }
    html.raw("</select></label><label>Senders of zone<br><select id=\"by-zone\"><option value=\"\">all</option>");
    for (number, zone) in shown.network.site.zones.iter().enumerate() {
        let _ = write!(
            html.out,
            "<option value=\"{number}\">{}</option>",
            xml(&zone.name.value)
        );
    }
    html.raw("</select></label><label>Order<br><select id=\"by-order\"><option value=\"file\">as in the file</option><option \
        value=\"name\">name</option><option value=\"trust\">trust of the zone</option><option value=\"open\">how much is \
        open</option></select></label><button type=\"button\" id=\"by-all\">Show all</button><p id=\"matrix-told\" \
        role=\"status\" aria-live=\"polite\"></p></div>\n");
}

fn line(html: &mut Html<'_>, shown: &ReportShown<'_>, row: usize, numbers: &[Option<usize>]) {
    let (sheet, ..) = shown.matrix;
    let site = shown.network.site;
    let side = &sheet.rows[row];
    let mut segments = site.segments.iter();
    let segment = segments.find(|segment| segment.name.value == side.name);
    let zone = segment.map(|segment| segment.zone);
    let open = numbers.iter().flatten().count();
    let _ = write!(
        html.out,
        "<tr data-at=\"{row}\" data-name=\"{}\" data-open=\"{open}\" data-zone=\"{}\" data-trust=\"{}\"><th \
         scope=\"row\">{}{}</th>",
        xml(&side.name),
        zone.map_or(String::new(), |zone| zone.0.to_string()),
        zone.map_or(0, |zone| site.zone(zone).trust),
        xml(&side.name),
        zone.map_or(String::new(), |zone| format!(
            " <small>{}</small>",
            xml(&site.zone(zone).name.value)
        ))
    );
    for (column, &set) in numbers.iter().enumerate() {
        cell(html, shown, (row, column), set);
    }
    html.raw("</tr>\n");
}

/// A cell: a link to its pair where something passes.
fn cell(
    html: &mut Html<'_>,
    shown: &ReportShown<'_>,
    (row, column): (usize, usize),
    set: Option<usize>,
) {
    let (sheet, key, codes) = shown.matrix;
    let (pair, code) = (&sheet.pairs[row][column], &codes[row][column]);
    let meaning = meaning(pair, code, key);
    let (from, to) = (&sheet.rows[row].name, sheet.columns[column].as_target());
    let name = format!("{from} to {to}: {meaning}");
    let Some(set) = set else {
        return plain_cell(html, pair, &name, code);
    };
    let _ = write!(
        html.out,
        "<td class=\"{}\" data-s=\"{set}\"><a href=\"#p{row}-{column}\" aria-label=\"{}\">{}</a></td>",
        heat_class(sign(pair), whole(pair)),
        xml(&name),
        xml(code)
    );
}

/// Letters of the services of a cell, for those who hear it; the pair tells all.
const SPOKEN: usize = 56;

/// The signs behind a code, for those who hear it.
fn marked(code: &str) -> String {
    let sign = |c: &char| !c.is_ascii_alphabetic() && *c != '.';
    let signs: String = code.chars().filter(sign).collect();
    if signs.is_empty() {
        signs
    } else {
        format!("{signs} ")
    }
}

/// What a cell says, for those who hear it.
fn meaning(pair: &Pair, code: &str, key: &Legend) -> String {
    let text = cell_text(pair, code, key);
    let short: String = text.chars().take(SPOKEN).collect();
    let dots = if short.len() < text.len() { "..." } else { "" };
    match sign(pair) {
        Sign::Nothing | Sign::Services => format!("{}{short}{dots}", marked(code)),
        Sign::Within | Sign::NoAddresses | Sign::Everything => text,
    }
}

/// What codes, colours and signs mean; a long one is folded up.
pub(super) fn legend(html: &mut Html<'_>, sheet: &Sheet, key: &Legend, codes: &[Vec<String>]) {
    let lines = key.lines();
    let many = lines.len() > MOST_LETTERS;
    if many {
        html.bulk("Legend");
    } else {
        html.raw("<h3>Legend</h3>");
    }
    html.raw("<dl class=\"key\">");
    let mut row = |class: &str, code: &str, text: &str| {
        let _ = write!(
            html.out,
            "<dt class=\"{class}\">{}</dt><dd>{}</dd>",
            xml(code),
            xml(text)
        );
    };
    for ((code, text), class) in fixed_codes(sheet).iter().zip(["none", "within", "every"]) {
        row(class, code, text);
    }
    row("some", "a", "light: these services, between some addresses");
    row(
        "whole",
        "A",
        "darker, a capital: these services, between all addresses",
    );
    if lines.len() <= MOST_SETS {
        for (code, text) in &lines {
            row("", code, text);
        }
    } else {
        let text = format!(
            "one of {} different sets of services: the list of pairs names those of each",
            lines.len()
        );
        row("", "a, b ...", &text);
    }
    for (sign, text) in used_signs(codes) {
        row("", &sign.to_string(), text);
    }
    html.raw("</dl>\n");
    if !lines.is_empty() {
        html.classed("p", "dim", LETTERS);
    }
    if many {
        html.end_bulk();
    }
}
