//! The flows of a cell on a terminal.

use std::fmt::Write;

use boundwalk_analysis::{Extent, PermittedFlow, ServiceLabels};
use boundwalk_diagnostic::Sources;
use boundwalk_model::Site;

use super::matrix::TextStyle;
use super::shape::PairFlows;
use super::text::{escape_control, wrapped};

/// The flows of one pair in one family as text.
pub fn flows_text(
    site: &Site,
    sources: &Sources,
    naming: &ServiceLabels<'_>,
    pair: &PairFlows,
    paint: TextStyle,
) -> String {
    let mut out = String::new();
    let title = format!(
        "{} -> {}, {}",
        pair.from.name,
        pair.to.name,
        pair.family.word()
    );
    let _ = writeln!(out, "{}", paint.strong(&escape_control(&title)));
    if pair.flows.is_empty() {
        let word = if pair.complete {
            "nothing passes"
        } else {
            "unknown: a limit was met"
        };
        let _ = writeln!(out, "  {word}");
    }
    for flow in &pair.flows {
        one_flow(&mut out, site, sources, naming, flow, paint);
    }
    if !pair.complete && !pair.flows.is_empty() {
        let _ = writeln!(out, "  a limit was met: at least these, perhaps more");
    }
    out
}

fn one_flow(
    out: &mut String,
    site: &Site,
    sources: &Sources,
    naming: &ServiceLabels<'_>,
    flow: &PermittedFlow,
    paint: TextStyle,
) {
    let services = naming.services(&flow.sent.services);
    let mut line = |indent: &str, label: &str, text: &str| {
        let taken = indent.len() + label.len();
        let room = paint.columns.saturating_sub(taken).max(20);
        for (number, part) in wrapped(&escape_control(text), room).into_iter().enumerate() {
            let label = if number == 0 {
                label.to_owned()
            } else {
                " ".repeat(label.len())
            };
            let _ = writeln!(out, "{indent}{label}{part}");
        }
    };
    line("  ", "", &services);
    line("    ", "from    ", &naming.addresses(&flow.sent.source));
    line(
        "    ",
        "to      ",
        &naming.addresses(&flow.sent.destination),
    );
    if flow.arrives != flow.sent {
        line("    ", "arrives ", &arrival(naming, flow));
    }
    for text in decisions(site, sources, flow) {
        line("    ", "by      ", &text);
    }
    line("    ", "replies ", two_way(flow.two_way));
    if let Some(packet) = &flow.witness {
        line("    ", "witness ", &packet.to_string());
    }
}

pub(super) fn arrival(naming: &ServiceLabels<'_>, flow: &PermittedFlow) -> String {
    let mut parts = Vec::new();
    if flow.arrives.source != flow.sent.source {
        parts.push(format!("from {}", naming.addresses(&flow.arrives.source)));
    }
    if flow.arrives.destination != flow.sent.destination {
        parts.push(format!(
            "at {}",
            naming.addresses(&flow.arrives.destination)
        ));
    }
    if flow.arrives.services != flow.sent.services {
        parts.push(format!("as {}", naming.services(&flow.arrives.services)));
    }
    parts.join(" ")
}

/// What each device crossed did, in order.
pub(super) fn decisions(site: &Site, sources: &Sources, flow: &PermittedFlow) -> Vec<String> {
    let one = |crossed: &boundwalk_analysis::Crossed| {
        let filter = crossed
            .router
            .and_then(|router| site.router(router).filter());
        let decided = match (crossed.decided, filter) {
            (Some(Some(number)), Some(filter)) => {
                let rule = &filter.rules[number];
                let place = sources.place(rule.place);
                format!("rule {} \"{}\" ({place})", number + 1, rule.name.value)
            }
            (Some(None), Some(filter)) => {
                format!(
                    "default {} ({})",
                    filter.default.value.word(),
                    sources.place(filter.default.span)
                )
            }
            _ => "forwards without rules".to_owned(),
        };
        let mut text = format!("{}: {decided}", crossed.name);
        if let (Some(line), Some(filter)) = (crossed.destination_translation, filter) {
            let name = &filter.destination_translations[line].name.value;
            text.push_str(&format!(", destination translated by \"{name}\""));
        }
        if let (Some(line), Some(filter)) = (crossed.source_translation, filter) {
            let name = &filter.source_translations[line].name.value;
            text.push_str(&format!(", source translated by \"{name}\""));
        }
        text
    };
    flow.crossed.iter().map(one).collect()
}

pub(super) fn two_way(extent: Extent) -> &'static str {
    match extent {
        Extent::All => "come back",
        Extent::Some => "come back for a part of it only",
        Extent::Unknown => "may come back: a limit was met",
        Extent::None | Extent::Nothing => "do not come back: one-way",
    }
}
