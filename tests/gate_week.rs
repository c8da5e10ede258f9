//! A week of edits to the demo that nobody watches: the gate and the comparison of versions judge each alike.
//!
//! Each seeded edit is one that people make: a rule goes, moves, permits what it denied, loses a limit, or gets any
//! service. What the comparison calls newly broken, a way round or less isolated must turn the gate red, however much was
//! known before; and where nothing opens or breaks, the gate finds nothing worse in what is known.

#[path = "agreement/blocks.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod blocks;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;

use std::fs;
use std::path::Path;

use boundwalk::analysis::change::{
    Trend, intent_changes, isolation_changes, reach_change, way_changes,
};
use boundwalk::analysis::intent::Standing as Judged;
use boundwalk::checks::{Baseline, Standing, accept, run};
use boundwalk::diagnostic::Finding;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

use blocks::{Block, blocks, joined};
use random::Random;

const TODAY: Date = Date::constant(2026, 11, 25);

/// Checks that tell of what opens or breaks.
const GRAVE: [&str; 4] = [
    "expectation-broken",
    "isolation-broken",
    "bypass-open",
    "need-unmet",
];

fn rules(tables: &[Block]) -> Vec<usize> {
    let rules = tables
        .iter()
        .enumerate()
        .filter(|(_, table)| table.is_rule());
    rules.map(|(at, _)| at).collect()
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

/// What is new of the second version to a gate that knows the first.
fn new_to_the_gate(old: &Network<'_>, new: &Network<'_>) -> Vec<Finding> {
    let known = Baseline::of(&accept(old.site, TODAY, run(old)).open).without_acceptances();
    Standing::new(accept(new.site, TODAY, run(new)), Some(&known)).open
}

#[test]
fn the_gate_judges_a_week_of_edits_as_the_comparison_does() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane/site.toml");
    let demo = fs::read_to_string(path).expect("the demo");
    let mut text = demo.clone();
    let wanted = std::env::var("BOUNDWALK_SITES").ok();
    let edits: u64 = wanted.and_then(|text| text.parse().ok()).unwrap_or(24);
    let mut random = Random::new(0x6a7e);
    let (mut worse, mut quiet, mut more) = (0, 0, 0);
    for number in 0..edits {
        if number % 12 == 0 {
            text.clone_from(&demo);
        }
        let edit = edited(&mut random, &text);
        let (Some(old), Some(new)) = (load(&text), load(&edit)) else {
            continue;
        };
        let [old, new] = Network::versions(&old, &new, TODAY);
        let reach = reach_change(&old, &new, &mut |_, _| {});
        let broken = intent_changes(&old, &new);
        let breaks = |standing: &Option<Judged>| matches!(standing, Some(Judged::Broken(_)));
        let broken = broken.iter();
        let broken = broken
            .filter(|one| breaks(&one.after) && !breaks(&one.before))
            .count();
        let isolation = isolation_changes(&old, &new, &reach);
        let less = isolation
            .iter()
            .filter(|one| one.trend() == Trend::Worse)
            .count();
        let ways = way_changes(&old, &new, &reach).opened.len();
        let red = new_to_the_gate(&old, &new);
        let grave = red.iter().filter(|one| GRAVE.contains(&one.check.name));
        let grave: Vec<&str> = grave.map(|one| one.message.as_str()).collect();
        let is_worse = broken + ways > 0;
        assert!(
            !is_worse || !grave.is_empty(),
            "edit {number}: {broken} broken, {ways} ways round, {less} less isolated, and the gate sees nothing"
        );
        let pairs = reach.pairs.iter().chain(&reach.hostile);
        let opens = pairs.into_iter().any(|pair| !pair.opened.is_empty());
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
