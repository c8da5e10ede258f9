//! The matrix as a heat map: a table whose cells say in a code what their colour says.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use crate::model::Family;
use crate::packet::ClassSet;

use super::super::key::{Key, Sign, sign, whole};
use super::super::matrix::{LETTERS, fixed_codes, used_signs};
use super::super::shape::{Pair, Sheet, Side};
use super::super::svg::{heat_class, xml};
use super::ReportShown;
use super::html::Html;

/// Distinct sets of services, and which cells have which.
struct Sets<'a> {
    known: FxHashMap<[Option<&'a ClassSet>; 2], usize>,
    list: Vec<[Option<&'a ClassSet>; 2]>,
}

impl<'a> Sets<'a> {
    fn number(&mut self, pair: &'a Pair) -> Option<usize> {
        let some = |cell: &'a Option<crate::analysis::Cell>| {
            cell.as_ref()
                .map(|cell| &cell.some)
                .filter(|some| !some.is_empty())
        };
        let key = [some(&pair.v4), some(&pair.v6)];
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

    /// Named services with the sets that some packet of each is in.
    fn services(&self, shown: &ReportShown<'_>) -> Vec<(String, Vec<usize>)> {
        let families = [Family::V4, Family::V6].map(|family| {
            let mut all = shown.namings.iter();
            all.find(|naming| naming.plan().family == family)
        });
        let mut names: Vec<String> = Vec::new();
        for set in &self.list {
            for (naming, set) in families.iter().zip(set) {
                if let (Some(naming), Some(set)) = (naming, set) {
                    names.extend(naming.list(set));
                }
            }
        }
        names.sort_unstable();
        names.dedup();
        let mut services = Vec::new();
        for name in names {
            let passes = |set: &[Option<&ClassSet>; 2]| {
                families.iter().zip(set).any(|(naming, set)| {
                    let found = naming
                        .zip(*set)
                        .and_then(|(naming, set)| naming.carries(set, &name));
                    found == Some(true)
                })
            };
            let sets: Vec<usize> = (0..self.list.len())
                .filter(|&at| passes(&self.list[at]))
                .collect();
            if !sets.is_empty() {
                services.push((name, sets));
            }
        }
        services
    }
}

/// The section.
pub(super) fn matrix(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let (sheet, key, codes) = shown.matrix;
    html.section("matrix", "Who can reach what");
    html.raw("<p>Rows send, columns receive. A cell that says something leads to the flows, the rules that permit them, a \
        packet that shows it and its path.</p>");
    let mut sets = Sets {
        known: FxHashMap::default(),
        list: Vec::new(),
    };
    let numbers: Vec<Vec<Option<usize>>> = sheet
        .pairs
        .iter()
        .map(|row| row.iter().map(|pair| sets.number(pair)).collect())
        .collect();
    tools(html, shown, &sets);
    html.raw("<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Matrix by segment\"><table class=\"heat\" \
        id=\"matrix-table\"><thead><tr><th scope=\"col\">from, to</th>");
    for (column, side) in sheet.columns.iter().enumerate() {
        let _ = write!(
            html.out,
            "<th scope=\"col\" data-c=\"{column}\"><span>{}</span></th>",
            xml(&called(side))
        );
    }
    html.raw("</tr></thead><tbody>\n");
    for row in 0..sheet.rows.len() {
        line(html, shown, row, &numbers[row]);
    }
    html.raw("</tbody></table></div>\n");
    legend(html, sheet, key, codes);
}

fn called(side: &Side) -> String {
    match side.kind {
        "gateway" | "router" => format!("{} itself", side.name),
        _ => side.name.clone(),
    }
}

/// The choices; without scripts they would do nothing, so the page hides them until its script runs.
fn tools(html: &mut Html<'_>, shown: &ReportShown<'_>, sets: &Sets<'_>) {
    html.raw("<div class=\"tools\" id=\"matrix-tools\" hidden><label>Service<br><select id=\"by-service\"><option \
        value=\"\">all</option>");
    for (name, sets) in sets.services(shown) {
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
    let (sheet, key, codes) = shown.matrix;
    let site = shown.network.site;
    let side = &sheet.rows[row];
    let zone = site
        .segments
        .iter()
        .find(|segment| segment.name.value == side.name)
        .map(|segment| segment.zone);
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
    for (column, to) in sheet.columns.iter().enumerate() {
        let (pair, code) = (&sheet.pairs[row][column], &codes[row][column]);
        let class = heat_class(sign(pair), whole(pair));
        let meaning = meaning(sign(pair), code, key);
        let name = format!("{} to {}: {meaning}", side.name, called(to));
        let _ = write!(html.out, "<td class=\"{class}\" data-c=\"{column}\"");
        match numbers[column] {
            Some(set) => {
                let _ = write!(
                    html.out,
                    " data-s=\"{set}\"><a href=\"#p{row}-{column}\" aria-label=\"{}\">{}</a></td>",
                    xml(&name),
                    xml(code)
                );
            }
            None => {
                let _ = write!(
                    html.out,
                    " aria-label=\"{}\">{}</td>",
                    xml(&name),
                    xml(code)
                );
            }
        }
    }
    html.raw("</tr>\n");
}

/// What a code says, for those who hear it.
fn meaning(sign: Sign, code: &str, key: &Key) -> String {
    match sign {
        Sign::Within => "inside, no gateway between".to_owned(),
        Sign::NoAddresses => "no addresses".to_owned(),
        Sign::Nothing if code == "." => "nothing passes".to_owned(),
        Sign::Nothing => format!("nothing passes, {code}"),
        Sign::Everything => "everything".to_owned(),
        Sign::Services => {
            let letters: String = code.chars().filter(char::is_ascii_alphabetic).collect();
            let text = key.text(&letters.to_lowercase());
            let short: String = text.chars().take(60).collect();
            let dots = if short.len() < text.len() { "..." } else { "" };
            format!("{code}, {short}{dots}")
        }
    }
}

/// What codes, colours and signs mean.
pub(super) fn legend(html: &mut Html<'_>, sheet: &Sheet, key: &Key, codes: &[Vec<String>]) {
    html.raw("<h3>Legend</h3><dl class=\"key\">");
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
    for (code, text) in key.lines() {
        row("", &code, &text);
    }
    for (sign, text) in used_signs(codes) {
        row("", &sign.to_string(), text);
    }
    html.raw("</dl>\n");
    if !key.lines().is_empty() {
        html.classed("p", "dim", LETTERS);
    }
}
