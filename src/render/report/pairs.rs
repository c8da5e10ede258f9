//! Pair by pair: flows, the rules that decide, a packet that shows it, and its path.

use std::fmt::Write;

use boundwalk_analysis::{Cell, PermittedFlow, path, rule_name};
use boundwalk_model::{Family, RouterId};

use super::super::flows::{arrival, decisions, two_way};
use super::super::shape::{Pair, PairFlows, Sheet};
use super::super::svg::{Chain, xml};
use super::super::text::cut_middle;
use super::ReportShown;
use super::html::Html;

/// Pairs whose witness is followed hop by hop: each takes a walk through all switches.
const MOST_PATHS: usize = 400;

/// Rules that are named in a pair that is told in one line; of more, the numbers.
const MOST_NAMES: usize = 3;

/// Letters of the services of such a pair; the matrix as JSON has all of them.
const MOST_TEXT: usize = 400;

/// Rules of it by number.
const MOST_NUMBERS: usize = 20;

/// The section.
pub(super) fn pairs(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    html.section("pairs", "Pair by pair");
    let mut cells = shown
        .matrix
        .0
        .pairs
        .iter()
        .flatten()
        .flat_map(Pair::families);
    html.raw(if cells.all(|(_, cell)| cell.complete()) { "<p>Every pair through which something passes. Whatever is not listed here does not pass.</p>\n" } else {
            "<p>Pairs through which something is known to pass. A limit was met: more may pass, also between pairs that \
             are not listed.</p>\n"
        });
    match shown.flows {
        Some(flows) => each(html, shown, flows),
        None => listed(html, shown),
    }
}

/// Pairs through which something passes.
fn open<'a>(sheet: &'a Sheet) -> impl Iterator<Item = (usize, usize, &'a Pair)> + 'a {
    let pairs = sheet.pairs.iter().enumerate().flat_map(|(row, pairs)| {
        pairs
            .iter()
            .enumerate()
            .map(move |(column, pair)| (row, column, pair))
    });
    pairs.filter(|(.., pair)| pair.families().any(|(_, cell)| !cell.some.is_empty()))
}

/// What passes from whom to whom, flow by flow, with a path.
fn each(html: &mut Html<'_>, shown: &ReportShown<'_>, flows: &[(usize, usize, Vec<PairFlows>)]) {
    let mut flows = flows.iter().peekable();
    for (number, (row, column, pair)) in open(shown.matrix.0).enumerate() {
        let _ = write!(
            html.out,
            "<details id=\"p{row}-{column}\"><summary>{} <span class=\"mono dim\">{}</span></summary><div>",
            xml(&pair_name(shown, row, column)),
            xml(&shown.matrix.2[row][column])
        );
        if let Some((_, _, families)) = flows.next_if(|(r, c, _)| (*r, *c) == (row, column)) {
            families.iter().for_each(|one| family(html, shown, one));
        }
        if number < MOST_PATHS {
            let witness = pair.families().filter_map(|(_, cell)| cell.witness).next();
            way(html, shown, witness);
        }
        html.raw("</div></details>\n");
    }
}

fn pair_name(shown: &ReportShown<'_>, row: usize, column: usize) -> String {
    let (sheet, ..) = shown.matrix;
    let (from, to) = (&sheet.rows[row], &sheet.columns[column]);
    format!("{} to {}", from.name, to.as_target())
}

/// A line for each pair: there are too many of them to tell each flow.
fn listed(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let count = open(shown.matrix.0).count();
    html.bulk(&format!("{count} pairs"));
    html.raw("<p>Services of a pair are told together here, long lists of them cut. <code>boundwalk matrix --from --to</code> tells its flows one \
        by one, <code>boundwalk path</code> follows a packet hop by hop.</p>\n<ul>\n");
    for (row, column, pair) in open(shown.matrix.0) {
        let _ = write!(
            html.out,
            "<li id=\"p{row}-{column}\"><b>{}</b>",
            xml(&pair_name(shown, row, column))
        );
        for (family, cell) in pair.families().filter(|(_, cell)| !cell.some.is_empty()) {
            summed(html, shown, family, cell);
        }
        html.raw("</li>\n");
    }
    html.raw("</ul>\n");
    html.end_bulk();
}

fn family(html: &mut Html<'_>, shown: &ReportShown<'_>, pair: &PairFlows) {
    if pair.flows.is_empty() && pair.complete {
        return;
    }
    html.tag("h3", pair.family.word());
    for flow in &pair.flows {
        one(html, shown, pair.family, flow);
    }
    if !pair.complete {
        html.raw("<p>A limit was met: at least these, perhaps more.</p>");
    }
}

fn one(html: &mut Html<'_>, shown: &ReportShown<'_>, family: Family, flow: &PermittedFlow) {
    let mut namings = shown.namings.iter();
    let Some(naming) = namings.find(|naming| naming.plan().family == family) else {
        return;
    };
    html.raw("<dl class=\"flow\">");
    html.fact("services", &naming.services(&flow.sent.services));
    html.fact("from", &naming.addresses(&flow.sent.source));
    html.fact("to", &naming.addresses(&flow.sent.destination));
    if flow.arrives != flow.sent {
        html.fact("arrives", &arrival(naming, flow));
    }
    for text in decisions(shown.network.site, shown.sources, flow) {
        html.fact("decided by", &text);
    }
    html.fact("replies", two_way(flow.two_way));
    if let Some(packet) = &flow.witness {
        html.fact("witness", &packet.to_string());
    }
    html.raw("</dl>");
}

/// A cell without its flows one by one.
fn summed(html: &mut Html<'_>, shown: &ReportShown<'_>, family: Family, cell: &Cell) {
    let services = shown.matrix.1.services(family, &cell.some);
    let services = cut_middle(services, MOST_TEXT, (MOST_TEXT - 60, " ... ", 55));
    let mut text = format!(" {}: {services}.", family.word());
    if !cell.rules.is_empty() {
        let _ = write!(text, " Permitted by {}.", permitted_by(shown, &cell.rules));
    }
    let _ = write!(text, " Replies {}.", two_way(cell.two_way));
    if let Some(packet) = &cell.witness {
        let _ = write!(text, " Shown by {packet}.");
    }
    html.text(&text);
}

/// Few rules by name, many by number: their names stand in the list of rules.
fn permitted_by(shown: &ReportShown<'_>, rules: &[(RouterId, Option<usize>)]) -> String {
    if rules.len() <= MOST_NAMES {
        return rules
            .iter()
            .map(|&(router, rule)| rule_name(shown.network, router, rule))
            .collect::<Vec<_>>()
            .join(", ");
    }
    let of_one = rules.chunk_by(|one, other| one.0 == other.0).map(|own| {
        let numbers = own.iter().map(|&(_, rule)| match rule {
            Some(rule) => (rule + 1).to_string(),
            None => "default".to_owned(),
        });
        let router = &shown.network.site.router(own[0].0).name.value;
        let mut numbers: Vec<String> = numbers.collect();
        let more = numbers.len().saturating_sub(MOST_NUMBERS);
        numbers.truncate(MOST_NUMBERS);
        if more > 0 {
            numbers.push(format!("{more} more"));
        }
        format!("{router} rules {}", numbers.join(", "))
    });
    of_one.collect::<Vec<_>>().join("; ")
}

/// The path of a packet, hop by hop.
fn way(
    html: &mut Html<'_>,
    shown: &ReportShown<'_>,
    witness: Option<boundwalk_forwarding::Packet>,
) {
    let Some(packet) = witness else {
        return;
    };
    let Ok(result) = path(shown.network, None, &packet) else {
        return;
    };
    let chain = Chain::path(shown.network, shown.sources, &result);
    html.tag("h3", &format!("Path of {packet}"));
    steps(html, &chain);
}

/// A chain as a numbered list.
pub(super) fn steps(html: &mut Html<'_>, chain: &Chain<'_>) {
    html.raw("<ol class=\"way\">");
    for (number, stop) in chain.stops.iter().enumerate() {
        let mut text = stop.name.clone();
        if !stop.what.is_empty() {
            let _ = write!(text, " ({})", stop.what);
        }
        if !stop.lines.is_empty() {
            let _ = write!(text, ": {}", stop.lines.join("; "));
        }
        if let Some(hop) = chain.hops.get(number).filter(|hop| !hop.tags.is_empty()) {
            let _ = write!(text, "; on with {}", hop.tags);
        }
        html.tag("li", &text);
    }
    html.raw("</ol>");
    html.tag("p", &chain.end);
}
