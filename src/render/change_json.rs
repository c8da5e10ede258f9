//! A change for programs.

use serde::Serialize;

use crate::analysis::change::PairChange;

use super::change::{ChangeShown, Course, edit_kind, is_better, is_worse};
use super::json::{JsonFinding, JsonPacket, json_finding, json_packet, to_text};

#[derive(Serialize)]
struct JsonChange<'a> {
    document: &'static str,
    version: u32,
    old: &'a str,
    new: &'a str,
    summary: String,
    no_effect: bool,
    edits: Vec<JsonEdit<'a>>,
    opened: Vec<JsonPair>,
    closed: Vec<JsonPair>,
    complete: bool,
    intent: Vec<JsonIntent<'a>>,
    isolation: Vec<String>,
    findings_new: Option<Vec<JsonFinding<'a>>>,
    findings_gone: Option<Vec<JsonFinding<'a>>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonEdit<'a> {
    what: &'a str,
    how: String,
    place: String,
    /// Whether it plays a part in what opens or closes; null: not told apart.
    effect: Option<bool>,
}

#[derive(Serialize)]
struct JsonPair {
    from: String,
    to: String,
    family: &'static str,
    flows: Vec<JsonFlow>,
}

#[derive(Serialize)]
struct JsonFlow {
    services: String,
    source: String,
    destination: String,
    passes_by: String,
    otherwise: String,
    packet: Option<JsonPacket>,
}

#[derive(Serialize)]
struct JsonIntent<'a> {
    kind: &'static str,
    name: &'a str,
    newly_broken: bool,
    repaired: bool,
}

/// A change as a JSON document.
pub fn change_json(shown: &ChangeShown<'_>) -> String {
    let edits = shown.edits.iter().map(|edit| JsonEdit {
        what: &edit.what,
        how: edit_kind(&edit.kind),
        place: shown.edit_place(edit),
        effect: shown.has_effect(edit),
    });
    let intent = shown.intent.iter().map(|one| JsonIntent {
        kind: if one.need { "need" } else { "expectation" },
        name: &one.name,
        newly_broken: is_worse(one),
        repaired: is_better(one),
    });
    let isolation = shown.isolation.iter();
    let [opened, closed] = Course::BOTH.map(|course| {
        let pairs = shown.pairs(course);
        pairs.map(|pair| json_pair(shown, course, pair)).collect()
    });
    let findings = |new: bool| {
        let (fresh, gone) = shown.findings?;
        let (list, version) = if new { (fresh, 1) } else { (gone, 0) };
        let list = list.iter();
        Some(
            list.map(|one| json_finding(shown.sources[version], one))
                .collect(),
        )
    };
    to_text(&JsonChange {
        document: "boundwalk-change",
        version: 1,
        old: &shown.names[0],
        new: &shown.names[1],
        summary: shown.summary(),
        no_effect: shown.reach.is_empty(),
        edits: edits.collect(),
        opened,
        closed,
        complete: shown.reach.complete(),
        intent: intent.collect(),
        isolation: isolation.map(|one| shown.isolation_words(one)).collect(),
        findings_new: findings(true),
        findings_gone: findings(false),
        notes: shown.notes,
    })
}

fn json_pair(shown: &ChangeShown<'_>, course: Course, pair: &PairChange) -> JsonPair {
    let flows = course.of(pair).iter().map(|changed| {
        let words = shown.flow(course, pair, changed);
        JsonFlow {
            services: words.services,
            source: words.source,
            destination: words.destination,
            passes_by: words.passes_by,
            otherwise: words.stopped,
            packet: changed.packet.as_ref().map(json_packet),
        }
    });
    JsonPair {
        from: shown.segment(pair.from),
        to: shown.spot(pair.to),
        family: pair.family.word(),
        flows: flows.collect(),
    }
}
