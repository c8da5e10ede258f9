//! The flows of a cell.

use boundwalk_analysis::{Crossed, Extent, PermittedFlow, ServiceLabels};
use boundwalk_diagnostic::{Sources, Span};
use boundwalk_model::Site;

use super::document::{Document, Opens, Rank};
use super::shape::PairFlows;

/// The flows of some pairs, a family each.
pub fn flows_document<'a>(
    site: &'a Site,
    sources: &Sources,
    pairs: &[(&ServiceLabels<'_>, &PairFlows)],
) -> Document<'a> {
    let mut out = Document::new("What passes", &site.name);
    for (number, &(naming, pair)) in pairs.iter().enumerate() {
        if number > 0 {
            out.gap();
        }
        one_pair(&mut out, (site, sources, naming), pair);
    }
    out
}

type Described<'a> = (&'a Site, &'a Sources, &'a ServiceLabels<'a>);

fn one_pair(out: &mut Document<'_>, described: Described<'_>, pair: &PairFlows) {
    let title = format!(
        "{} -> {}, {}",
        pair.from.name,
        pair.to.name,
        pair.family.word()
    );
    out.heading(Rank::Answer, title);
    if pair.flows.is_empty() {
        let word = if pair.complete {
            "nothing passes"
        } else {
            "unknown: a limit was met"
        };
        out.plain(2, word);
    }
    for flow in &pair.flows {
        one_flow(out, described, flow);
    }
    if !pair.complete && !pair.flows.is_empty() {
        out.plain(2, "a limit was met: at least these, perhaps more");
    }
}

fn one_flow(out: &mut Document<'_>, described: Described<'_>, flow: &PermittedFlow) {
    let (site, sources, naming) = described;
    out.plain(2, naming.services(&flow.sent.services));
    out.labelled(4, "from    ", naming.addresses(&flow.sent.source));
    out.labelled(4, "to      ", naming.addresses(&flow.sent.destination));
    if flow.arrives != flow.sent {
        out.labelled(4, "arrives ", arrival(naming, flow));
    }
    let texts = decisions(site, sources, flow);
    for (crossed, text) in flow.crossed.iter().zip(texts) {
        let opens = decided_at(site, crossed).map(Opens::Place);
        out.opening(4, "by      ", text, opens);
    }
    out.labelled(4, "replies ", two_way(flow.two_way));
    if let Some(packet) = &flow.witness {
        let opens = Some(Opens::Packet(*packet));
        out.opening(4, "witness ", packet.to_string(), opens);
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

/// Where the rule or default stands that decided.
fn decided_at(site: &Site, crossed: &Crossed) -> Option<Span> {
    let filter = site.router(crossed.router?).filter()?;
    Some(match crossed.decided? {
        Some(rule) => filter.rules[rule].place,
        None => filter.default.span,
    })
}

/// What each device crossed did, in order.
pub(super) fn decisions(site: &Site, sources: &Sources, flow: &PermittedFlow) -> Vec<String> {
    let one = |crossed: &Crossed| {
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
