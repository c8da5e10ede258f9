//! Pair by pair: flows, the rules that decide, a packet that shows it, and its path.

use std::fmt::Write;

use crate::analysis::{Cell, PermittedFlow, path, rule_name};
use crate::model::Family;

use super::super::flows::{arrival, decisions, two_way};
use super::super::shape::{PairFlows, Side};
use super::super::svg::{Chain, xml};
use super::ReportShown;
use super::html::Html;

/// Pairs whose witness is followed hop by hop: each takes a walk through all switches.
const MOST_PATHS: usize = 400;

/// The section.
pub(super) fn pairs(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let (sheet, ..) = shown.matrix;
    html.section("pairs", "Pair by pair");
    html.raw("<p>Every pair through which something passes. Whatever is not listed here does not pass.</p>\n");
    let mut flows = shown.flows.iter().peekable();
    let mut paths = 0;
    for (row, from) in sheet.rows.iter().enumerate() {
        for (column, to) in sheet.columns.iter().enumerate() {
            let pair = &sheet.pairs[row][column];
            if pair.families().all(|(_, cell)| cell.some.is_empty()) {
                continue;
            }
            begin(html, shown, (row, from), (column, to));
            let own = flows.next_if(|(r, c, _)| (*r, *c) == (row, column));
            match own {
                Some((_, _, families)) => families.iter().for_each(|one| family(html, shown, one)),
                None => pair
                    .families()
                    .for_each(|(kind, cell)| summed(html, shown, kind, cell)),
            }
            if paths < MOST_PATHS {
                paths += 1;
                way(
                    html,
                    shown,
                    pair.families().filter_map(|(_, cell)| cell.witness).next(),
                );
            }
            html.raw("</div></details>\n");
        }
    }
}

fn begin(
    html: &mut Html<'_>,
    shown: &ReportShown<'_>,
    (row, from): (usize, &Side),
    (column, to): (usize, &Side),
) {
    let code = &shown.matrix.2[row][column];
    let itself = if matches!(to.kind, "gateway" | "router") {
        " itself"
    } else {
        ""
    };
    let name = xml(&format!("{} to {}{itself}", from.name, to.name));
    let _ = write!(
        html.out,
        "<details id=\"p{row}-{column}\" data-pair=\"{name}\"><summary>{name} <span class=\"mono dim\">{}</span></summary><div>",
        xml(code)
    );
}

fn row(html: &mut Html<'_>, label: &str, text: &str) {
    let _ = write!(html.out, "<dt>{label}</dt><dd>{}</dd>", xml(text));
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
    row(html, "services", &naming.services(&flow.sent.services));
    row(html, "from", &naming.addresses(&flow.sent.source));
    row(html, "to", &naming.addresses(&flow.sent.destination));
    if flow.arrives != flow.sent {
        row(html, "arrives", &arrival(naming, flow));
    }
    for text in decisions(shown.network.site, shown.sources, flow) {
        row(html, "decided by", &text);
    }
    row(html, "replies", two_way(flow.two_way));
    if let Some(packet) = &flow.witness {
        row(html, "witness", &packet.to_string());
    }
    html.raw("</dl>");
}

/// A cell without its flows one by one: there are too many pairs for that.
fn summed(html: &mut Html<'_>, shown: &ReportShown<'_>, family: Family, cell: &Cell) {
    let mut namings = shown.namings.iter();
    let naming = namings.find(|naming| naming.plan().family == family);
    let Some(naming) = naming.filter(|_| !cell.some.is_empty()) else {
        return;
    };
    html.tag("h3", family.word());
    html.raw("<dl class=\"flow\">");
    row(html, "services", &naming.services(&cell.some));
    let rules: Vec<String> = cell
        .rules
        .iter()
        .map(|&(router, rule)| rule_name(shown.network, router, rule))
        .collect();
    if !rules.is_empty() {
        row(html, "permitted by", &rules.join(", "));
    }
    row(html, "replies", two_way(cell.two_way));
    if let Some(packet) = &cell.witness {
        row(html, "witness", &packet.to_string());
    }
    html.raw("</dl>");
}

/// The path of a packet, hop by hop.
fn way(html: &mut Html<'_>, shown: &ReportShown<'_>, witness: Option<crate::forwarding::Packet>) {
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
