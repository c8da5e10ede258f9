//! A change for programs.

use serde::Serialize;

use boundwalk_analysis::DecidedBy;
use boundwalk_analysis::change::{
    Changed, Edit, EditKind, IntentChange, IsolationChange, PairChange, Spot, Stood, Trend,
    WayChange,
};
use boundwalk_model::show_interval;
use boundwalk_packet::IntervalSet;

use super::change::{
    ChangeKind, ChangeShown, Stance, edit_kind, intent_words, is_better, is_worse, status,
};
use super::isolation::verdict_text;
use super::json::{
    JsonFinding, JsonPacket, JsonPlace, JsonRule, json_finding, json_packet, json_place, json_rule,
};
use super::json_text::to_text;

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
    opened_for_hostile: Vec<JsonPair>,
    closed_for_hostile: Vec<JsonPair>,
    ways_round_opened: Vec<JsonWay>,
    ways_round_closed: Vec<JsonWay>,
    complete: bool,
    /// The limit that was met.
    limit: Option<String>,
    intent: Vec<JsonIntent<'a>>,
    isolation: Vec<JsonIsolation<'a>>,
    findings_new: Option<Vec<JsonFinding<'a>>>,
    findings_gone: Option<Vec<JsonFinding<'a>>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonEdit<'a> {
    what: &'a str,
    how: String,
    /// Keys of the settings that differ.
    settings: &'a [&'static str],
    place: Option<JsonPlace>,
    /// Whether it plays a part in what opens or closes; null: not told apart.
    effect: Option<bool>,
}

#[derive(Serialize)]
struct JsonPair {
    from: String,
    /// Its name in the old version, where that is another one.
    from_was: Option<String>,
    from_kind: &'static str,
    to: String,
    to_was: Option<String>,
    to_kind: &'static str,
    family: &'static str,
    flows: Vec<JsonFlow>,
    complete: bool,
}

#[derive(Serialize)]
struct JsonWay {
    from: String,
    from_was: Option<String>,
    from_kind: &'static str,
    to: String,
    to_was: Option<String>,
    to_kind: &'static str,
    /// Whether a device as configured goes it; else only a hostile one.
    configured: bool,
    two_way: Option<bool>,
    way: Vec<String>,
    opened_by: Option<String>,
}

#[derive(Serialize)]
struct JsonFlow {
    services: Vec<String>,
    source: Vec<String>,
    destination: Vec<String>,
    /// Empty: no gateway decides.
    passes_by: Vec<JsonRule>,
    /// Why it does not pass in the other version.
    otherwise: String,
    stopped_by: Vec<JsonRule>,
    packet: Option<JsonPacket>,
}

#[derive(Serialize)]
struct JsonIntent<'a> {
    kind: &'static str,
    name: &'a str,
    /// Null: it was not there.
    before: Option<&'static str>,
    after: Option<&'static str>,
    newly_broken: bool,
    repaired: bool,
    text: String,
}

#[derive(Serialize)]
struct JsonIsolation<'a> {
    segment: &'a str,
    claimed: bool,
    /// `worse`, `better` or `same`: other faults end it.
    trend: &'static str,
    /// Null: the segment was not there.
    before: Option<JsonSide>,
    after: JsonSide,
    text: String,
}

#[derive(Serialize)]
struct JsonSide {
    verdict: &'static str,
    /// How many single faults end it, and how many pairs of faults; null: nobody claims that it is isolated.
    single_faults: Option<usize>,
    pairs_of_faults: Option<usize>,
}

/// A change as a JSON document.
pub fn change_json(shown: &ChangeShown<'_>) -> String {
    let pairs = |kind, stance| {
        let pairs = shown.pairs(kind, stance);
        pairs.map(|pair| json_pair(shown, kind, pair)).collect()
    };
    let ways = |kind: ChangeKind| {
        kind.ways(shown.ways)
            .iter()
            .map(|way| json_way(shown, kind, way))
            .collect()
    };
    let findings = |new: bool| {
        let (fresh, gone) = shown.findings?;
        let (list, version) = if new { (fresh, 1) } else { (gone, 0) };
        let list = list.iter();
        Some(
            list.map(|one| json_finding(shown.sources[version], one))
                .collect(),
        )
    };
    let edits = shown.edits.iter();
    to_text(&JsonChange {
        document: "boundwalk-change",
        version: 2,
        old: &shown.names[0],
        new: &shown.names[1],
        summary: shown.summary(),
        no_effect: shown.no_effect(),
        edits: edits.map(|edit| json_edit(shown, edit)).collect(),
        opened: pairs(ChangeKind::Opens, Stance::Configured),
        closed: pairs(ChangeKind::Closes, Stance::Configured),
        opened_for_hostile: pairs(ChangeKind::Opens, Stance::Hostile),
        closed_for_hostile: pairs(ChangeKind::Closes, Stance::Hostile),
        ways_round_opened: ways(ChangeKind::Opens),
        ways_round_closed: ways(ChangeKind::Closes),
        complete: shown.limit().is_none(),
        limit: shown.limit().map(|limit| limit.to_string()),
        intent: shown.intent.iter().map(json_intent).collect(),
        isolation: shown
            .isolation
            .iter()
            .map(|one| json_isolation(shown, one))
            .collect(),
        findings_new: findings(true),
        findings_gone: findings(false),
        notes: shown.notes,
    })
}

fn json_edit<'a>(shown: &ChangeShown<'_>, edit: &'a Edit) -> JsonEdit<'a> {
    let (span, version) = match (edit.new, edit.old) {
        (Some(new), _) => (Some(new), 1),
        (None, old) => (old, 0),
    };
    JsonEdit {
        what: &edit.what,
        how: edit_kind(&edit.kind),
        settings: match &edit.kind {
            EditKind::Changed(settings) => settings,
            EditKind::Added | EditKind::Removed | EditKind::Moved | EditKind::Renamed(_) => &[],
        },
        place: span.and_then(|span| json_place(shown.sources[version], span)),
        effect: shown.has_effect(edit),
    }
}

/// A name now, and the one before where it was another; of what is gone, the name before.
fn json_name(old: &Option<String>, new: &Option<String>) -> (String, Option<String>) {
    let was = old.clone();
    let was = was.filter(|old| new.as_ref().is_some_and(|new| new != old));
    let name = new.clone().or_else(|| old.clone());
    (name.unwrap_or_default(), was)
}

fn json_pair(shown: &ChangeShown<'_>, kind: ChangeKind, pair: &PairChange) -> JsonPair {
    let [old, new] = shown.names_of(pair.from, pair.to);
    let (from, from_was) = json_name(&old[0], &new[0]);
    let (to, to_was) = json_name(&old[1], &new[1]);
    let flows = kind.of(pair).iter();
    JsonPair {
        from,
        from_was,
        from_kind: pair.from.kind(),
        to,
        to_was,
        to_kind: pair.to.kind(),
        family: pair.family.word(),
        flows: flows
            .map(|changed| json_flow(shown, kind, pair, changed))
            .collect(),
        complete: pair.complete(),
    }
}

fn json_way(shown: &ChangeShown<'_>, kind: ChangeKind, way: &WayChange) -> JsonWay {
    let (from_spot, to_spot) = (Spot::of(way.from), Spot::of(way.to));
    let [old, new] = shown.names_of(from_spot, to_spot);
    let (from, from_was) = json_name(&old[0], &new[0]);
    let (to, to_was) = json_name(&old[1], &new[1]);
    JsonWay {
        from,
        from_was,
        from_kind: from_spot.kind(),
        to,
        to_was,
        to_kind: to_spot.kind(),
        configured: way.bypass.configured,
        two_way: way.bypass.two_way,
        way: shown.way_steps(kind, way),
        opened_by: shown.opened_by(kind, way),
    }
}

fn json_flow(
    shown: &ChangeShown<'_>,
    kind: ChangeKind,
    pair: &PairChange,
    changed: &Changed,
) -> JsonFlow {
    let (here, there) = (kind.passes_in(), 1 - kind.passes_in());
    let ranges = |set: &IntervalSet| {
        set.intervals()
            .iter()
            .map(|&part| show_interval(pair.family, part))
            .collect()
    };
    let rules = |version: usize, deciders: &[DecidedBy]| {
        let site = shown.networks[version].site;
        deciders
            .iter()
            .map(|&rule| json_rule(site, shown.sources[version], rule))
            .collect()
    };
    JsonFlow {
        services: shown.namings[here][pair.family].list(&changed.packets.services),
        source: ranges(&changed.packets.source),
        destination: ranges(&changed.packets.destination),
        passes_by: rules(here, &changed.passes_by),
        otherwise: shown.why_not(there, kind, pair, changed),
        stopped_by: rules(there, &changed.stopped_by),
        packet: changed.packet.as_ref().map(json_packet),
    }
}

fn json_intent(one: &IntentChange) -> JsonIntent<'_> {
    let word = |side: &Option<_>| side.as_ref().map(|side| status(one.need, side));
    JsonIntent {
        kind: if one.need { "need" } else { "expectation" },
        name: &one.name,
        before: word(&one.before),
        after: word(&one.after),
        newly_broken: is_worse(one),
        repaired: is_better(one),
        text: intent_words(one),
    }
}

fn json_isolation<'a>(shown: &ChangeShown<'a>, one: &IsolationChange) -> JsonIsolation<'a> {
    let side = |stood: &Stood| JsonSide {
        verdict: verdict_text(&stood.verdict),
        single_faults: stood.distance.as_ref().map(|far| far.one.len()),
        pairs_of_faults: stood.distance.as_ref().map(|far| far.two.len()),
    };
    JsonIsolation {
        segment: &shown.networks[1].site.segment(one.segment).name.value,
        claimed: one.claimed,
        trend: match one.trend() {
            Trend::Worse => "worse",
            Trend::Better => "better",
            Trend::Same => "same",
        },
        before: one.before.as_ref().map(side),
        after: side(&one.after),
        text: shown.isolation_words(one),
    }
}
