//! What is said of a site, by names.

use std::collections::BTreeSet;

use boundwalk::analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk::analysis::{
    By, Cell, HostileReach, IsolationVerdict, Matrix, Question, bypasses, isolations, origin_name,
    party_name,
};
use boundwalk::forwarding::Network;
use boundwalk::model::{Family, Site};
use boundwalk::packet::ClassSet;

use crate::drawn::TODAY;

/// Protocol, source port and destination port of packets that cells are asked about: service classes have other
/// numbers where other services are described.
const ASKED: [(u8, u16, u16); 16] = [
    (6, 49_152, 22),
    (6, 49_152, 53),
    (6, 49_152, 80),
    (6, 49_152, 85),
    (6, 49_152, 443),
    (6, 49_152, 8080),
    (6, 80, 500),
    (6, 80, 8080),
    (17, 49_152, 53),
    (17, 49_152, 60),
    (17, 49_152, 4000),
    (1, 0, 0x0800),
    (1, 0, 0x0301),
    (58, 0, 0x8000),
    (47, 0, 0),
    (132, 49_152, 80),
];

/// Answers as lines.
pub struct Answers {
    /// Every one.
    pub all: BTreeSet<String>,
    /// Pairs that a hostile device gets something through, and pairs with a way round.
    pub reached: BTreeSet<String>,
}

/// Asks about a site.
pub fn answers(site: &Site) -> Answers {
    let network = Network::new(site, TODAY);
    let mut answers = Answers {
        all: BTreeSet::new(),
        reached: BTreeSet::new(),
    };
    for family in Family::ALL {
        cells(&network, family, &mut answers);
    }
    for bypass in bypasses(&network, &|_, _| true) {
        let [from, to] =
            [bypass.from, bypass.to].map(|one| origin_name(site, &network.fabric, one));
        answers.reached.insert(format!("round {from} {to}"));
        // Of several shortest ways any may be shown, and answers come back by some of them only.
        let said = (bypass.configured, bypass.way.length());
        answers.all.insert(format!("round {from} {to} {said:?}"));
    }
    let segments: Vec<_> = site.segment_ids().collect();
    for (segment, verdict) in segments.iter().zip(isolations(&network, &segments)) {
        let name = &site.segment(*segment).name.value;
        let class = match verdict {
            IsolationVerdict::ByDesign(_) => "by design",
            IsolationVerdict::ByRule { .. } => "by rule",
            IsolationVerdict::Reachable { .. } => "reachable",
            IsolationVerdict::Unknown { .. } => "unknown",
        };
        answers.all.insert(format!("isolation {name} {class}"));
    }
    let lines = judge_expectations(&network)
        .into_iter()
        .map(|line| (line.expectation.name.value.clone(), line.status));
    let needs = judge_needs(&network)
        .into_iter()
        .map(|line| (line.need.name.value.clone(), line.status));
    for (name, status) in lines.chain(needs) {
        answers.all.insert(format!("line {name} {}", word(&status)));
    }
    answers
}

fn word(status: &IntentStatus) -> &'static str {
    match status {
        IntentStatus::Held => "held",
        IntentStatus::Broken(_) => "broken",
        IntentStatus::Vacuous => "vacuous",
        IntentStatus::Unknown(_) => "unknown",
    }
}

fn cells(network: &Network<'_>, family: Family, answers: &mut Answers) {
    let site = network.site;
    let question = Question::all(By::Segment, family, true);
    let matrix = Matrix::new(network, &question, &mut |_, _| {});
    for (&row, cells) in matrix.rows.iter().zip(&matrix.cells) {
        for (&column, cell) in matrix.columns.iter().zip(cells) {
            let [from, to] = [row, column].map(|party| party_name(site, party));
            let pair = format!("{family:?} {from} {to}");
            let larger = matches!(cell.hostile, HostileReach::Larger(_));
            if larger || !cell.some.is_empty() {
                answers.reached.insert(format!("cell {pair}"));
            }
            answers
                .all
                .insert(format!("cell {pair} {}", said(network, cell)));
        }
    }
}

/// What a cell says, without numbers of things.
fn said(network: &Network<'_>, cell: &Cell) -> String {
    let site = network.site;
    let held = |set: &ClassSet| -> String {
        let asked = ASKED.iter().map(|&(protocol, source, destination)| {
            let class = network.classes.class_of(protocol, source, destination);
            if set.contains(class) { '1' } else { '0' }
        });
        asked.collect()
    };
    let mut crossed = cell
        .crossed
        .iter()
        .map(|&router| site.router(router).name.value.as_str());
    let mut crossed: Vec<&str> = crossed.by_ref().collect();
    crossed.sort_unstable();
    let hostile = match cell.hostile {
        HostileReach::Larger(_) => "larger",
        HostileReach::Same => "same",
        HostileReach::NotAsked => "not asked",
        HostileReach::Unknown => "unknown",
    };
    let sets = [&cell.some, &cell.every, &cell.plain]
        .map(|set| held(set))
        .join(" ");
    let (reading, two_way, filtered) = (cell.reading, cell.two_way, cell.filtered);
    format!("{reading:?} {sets} {two_way:?} {filtered:?} {crossed:?} {hostile}")
}
