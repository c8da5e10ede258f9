//! A week of edits to the demo that nobody watches: the gate and the comparison of versions judge each alike.
//!
//! Each seeded edit is one that people make: a rule goes, moves, permits what it denied, loses a limit, or gets any
//! service; now and then two of them at once, as a merge of two branches brings them. What the comparison calls newly broken, a way round or less isolated must turn the gate red, however much was
//! known before; and where nothing opens or breaks, the gate finds nothing worse in what is known.

#[path = "agreement/blocks.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod blocks;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use boundwalk::analysis::change::{
    Trend, intent_changes, isolation_changes, reach_change, way_changes,
};
use boundwalk::analysis::intent::IntentStatus as Judged;
use boundwalk::checks::{Baseline, JudgedFindings, accept, changed, run};
use boundwalk::diagnostic::Finding;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

use blocks::{Block, blocks, joined};
use random::Random;
use seeds::seeds;

#[path = "support/seeds.rs"]
mod seeds;

const TODAY: Date = Date::constant(2026, 11, 25);

/// Checks that tell of what opens or breaks.
const GRAVE: [&str; 4] = [
    "expectation-broken",
    "isolation-broken",
    "bypass-open",
    "need-unmet",
];

fn rules(tables: &[Block]) -> Vec<usize> {
    tables
        .iter()
        .enumerate()
        .filter(|(_, table)| table.is_rule())
        .map(|(at, _)| at)
        .collect()
}

/// What a merge brings: one edit of the rules or two.
fn merged(random: &mut Random, text: &str) -> String {
    let first = edited(random, text);
    match random.below(3) {
        0 => edited(random, &first),
        _ => first,
    }
}

/// One edit of the rules.
fn edited(random: &mut Random, text: &str) -> String {
    let mut tables = blocks(text);
    let at = rules(&tables);
    let one = *random.pick(&at);
    match random.below(6) {
        0 => drop(tables.remove(one)),
        1 => {
            let other = *random.pick(&at);
            tables.swap(one, other);
        }
        2 => flip(&mut tables[one]),
        3 => tables[one]
            .lines
            .retain(|line| !line.starts_with("destination = ")),
        4 => tables[one]
            .lines
            .retain(|line| !line.starts_with("source = ")),
        _ => tables[one]
            .lines
            .retain(|line| !line.starts_with("services = ")),
    }
    joined(&tables)
}

fn flip(table: &mut Block) {
    for line in &mut table.lines {
        *line = match line.as_str() {
            "action = \"permit\"" => "action = \"deny\"".to_owned(),
            "action = \"deny\"" | "action = \"reject\"" => "action = \"permit\"".to_owned(),
            other => other.to_owned(),
        };
    }
}

fn load(text: &str) -> Option<Site> {
    load_text("site.toml", text).site
}

/// What is new of the second version to a gate that knows the first. The comparison of versions must list the same.
fn new_to_the_gate(old: &Network<'_>, new: &Network<'_>) -> Vec<Finding> {
    let [before, after] = [old, new].map(|network| accept(network.site, TODAY, run(network)));
    let known = Baseline::of(&before.open).without_acceptances();
    let (listed, _) = changed(&before.open, &after.open, &[]);
    let red = JudgedFindings::new(after, Some(&known)).open;
    let told = |findings: &[Finding]| -> BTreeSet<(&str, String)> {
        findings
            .iter()
            .map(|one| (one.check.name, one.message.clone()))
            .collect()
    };
    assert_eq!(told(&listed), told(&red));
    red
}

#[test]
fn the_gate_judges_a_week_of_edits_as_the_comparison_does() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane/site.toml");
    let demo = fs::read_to_string(path).expect("the demo");
    let mut text = demo.clone();
    let mut random = Random::new(0x6a7e);
    let (mut worse, mut quiet, mut more) = (0, 0, 0);
    for number in seeds(24) {
        if number % 12 == 0 {
            text.clone_from(&demo);
        }
        let edit = merged(&mut random, &text);
        let (Some(old), Some(new)) = (load(&text), load(&edit)) else {
            continue;
        };
        let [old, new] = Network::versions(&old, &new, TODAY);
        let reach = reach_change(&old, &new, &mut |_, _| {});
        let broken = intent_changes(&old, &new);
        let breaks = |status: &Option<Judged>| matches!(status, Some(Judged::Broken(_)));
        let broken = broken
            .iter()
            .filter(|one| breaks(&one.after) && !breaks(&one.before))
            .count();
        let isolation = isolation_changes(&old, &new, &reach);
        let less = isolation
            .iter()
            .filter(|one| one.trend() == Trend::Worse)
            .count();
        let ways = way_changes(&old, &new, &reach).opened.len();
        let red = new_to_the_gate(&old, &new);
        let grave: Vec<&str> = red
            .iter()
            .filter(|one| GRAVE.contains(&one.check.name))
            .map(|one| one.message.as_str())
            .collect();
        let is_worse = broken + ways > 0;
        assert!(
            !is_worse || !grave.is_empty(),
            "edit {number}: {broken} broken, {ways} ways round, {less} less isolated, and the gate sees nothing"
        );
        let opens = reach
            .pairs
            .iter()
            .chain(&reach.hostile)
            .into_iter()
            .any(|pair| !pair.opened.is_empty());
        if !opens && !is_worse && less == 0 {
            assert_eq!(grave, Vec::<&str>::new(), "edit {number} opens nothing");
            quiet += 1;
        }
        worse += usize::from(is_worse);
        more += usize::from(
            grave
                .iter()
                .any(|message| message.contains("more than before")),
        );
        text = edit;
    }
    assert!(
        3 <= worse && 3 <= quiet && 1 <= more,
        "{worse} {quiet} {more}"
    );
}
