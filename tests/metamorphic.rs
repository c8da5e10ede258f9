//! Changes of a text that change no answer, or change answers in one known way.
//!
//! On random sites of all layers: a site is written otherwise, or something is added to it, and every answer is
//! compared by name: cells, isolation, ways round and how lines stand.

#[path = "metamorphic/answers.rs"]
mod answers;
#[path = "agreement/blocks.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod blocks;
#[path = "agreement/drawn.rs"]
mod drawn;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_fabric.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random_fabric;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/seeds.rs"]
mod seeds;
#[path = "metamorphic/written.rs"]
mod written;

use std::collections::BTreeSet;

use boundwalk::load::load_texts;

use answers::{Answers, answers};
use drawn::drawn;
use random::Random;
use seeds::seeds;
use written::{CHANGES, Effect, renamed};

/// Disagreements that are shown in full.
const SHOWN: usize = 10;

/// How often each change was made, and what went wrong.
#[derive(Default)]
struct Run {
    made: Vec<usize>,
    wrong: Vec<String>,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was compared")]
fn answers_stay_where_nothing_that_matters_changes() {
    let halves = std::thread::scope(|scope| {
        let halves = [0, 1].map(|half| scope.spawn(move || run(seeds(120).skip(half).step_by(2))));
        halves.map(|half| half.join().expect("no half panics"))
    });
    let wrong: Vec<&String> = halves.iter().flat_map(|half| &half.wrong).collect();
    for (at, change) in CHANGES.iter().enumerate() {
        let made: usize = halves.iter().map(|half| half.made[at]).sum();
        eprintln!("{made:>8} {}", change.name);
        assert!(made > 0, "this was never done: {}", change.name);
    }
    let shown: Vec<&str> = wrong
        .iter()
        .take(SHOWN)
        .map(|wrong| wrong.as_str())
        .collect();
    let count = wrong.len();
    assert!(
        wrong.is_empty(),
        "{count} differ:\n{}",
        shown.join("\n=====\n")
    );
}

fn run(seeds: impl Iterator<Item = u64>) -> Run {
    let mut run = Run {
        made: vec![0; CHANGES.len()],
        wrong: Vec::new(),
    };
    for seed in seeds {
        let text = drawn(seed);
        let before = answers(&drawn::site(&text));
        for (at, change) in CHANGES.iter().enumerate() {
            let mut random = Random::new(seed ^ 0x3e7a ^ (at as u64) << 32);
            let Some(texts) = (change.made)(&text, &mut random) else {
                continue;
            };
            let named = texts
                .iter()
                .enumerate()
                .map(|(number, text)| (format!("{number}.toml"), text.clone()));
            let loaded = load_texts(named.collect());
            let shown = || format!("seed {seed}: {}", change.name);
            let Some(site) = loaded.site else {
                run.wrong.push(format!(
                    "{}: {:#?}\n{}",
                    shown(),
                    loaded.problems,
                    texts.join("\n")
                ));
                continue;
            };
            run.made[at] += 1;
            let after = answers(&site);
            let differing = compared(change.effect, &text, &before, &after);
            if !differing.is_empty() {
                let differing = differing.join("\n");
                run.wrong.push(format!(
                    "{}:\n{differing}\n{text}\n{}",
                    shown(),
                    texts.join("\n")
                ));
            }
        }
    }
    run
}

/// Answers that differ and should not, those of before marked `-`, those of now `+`.
fn compared(effect: Effect, text: &str, before: &Answers, after: &Answers) -> Vec<String> {
    let lost = |before: &BTreeSet<String>, after: &BTreeSet<String>| -> Vec<String> {
        before
            .difference(after)
            .map(|line| format!("- {line}"))
            .collect()
    };
    match effect {
        Effect::More => lost(&before.reached, &after.reached),
        Effect::MoreOfSegments => {
            let mut lost = lost(&before.reached, &after.reached);
            lost.retain(|line| !line.contains("unclaimed"));
            lost
        }
        Effect::Same | Effect::Renamed | Effect::Beside => {
            let before: BTreeSet<String> = before
                .all
                .iter()
                .map(|line| match effect {
                    Effect::Renamed => renamed(text, line),
                    _ => line.clone(),
                })
                .collect();
            let mut after = after.all.clone();
            if matches!(effect, Effect::Beside) {
                after.retain(|line| !line.contains("twin"));
            }
            let mut differing = lost(&before, &after);
            differing.extend(after.difference(&before).map(|line| format!("+ {line}")));
            differing
        }
    }
}
