//! One fact, asked of every command's analysis: do the answers agree?
//!
//! On random sites of all layers, in both families and both stances, with limits as they are and turned low. A limit
//! that is met makes an answer *unknown*, which agrees with everything; at the usual limits nothing may be unknown.

#[path = "agreement/blocks.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod blocks;
#[path = "agreement/change_laws.rs"]
mod change_laws;
#[path = "agreement/drawn.rs"]
mod drawn;
#[path = "agreement/facts.rs"]
mod facts;
#[path = "agreement/law.rs"]
mod law;
#[path = "agreement/layer2_laws.rs"]
mod layer2_laws;
#[path = "agreement/other_laws.rs"]
mod other_laws;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_fabric.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random_fabric;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "agreement/reach_laws.rs"]
mod reach_laws;
#[path = "support/seeds.rs"]
mod seeds;

use boundwalk::forwarding::Network;

use drawn::{TODAY, drawn, site};
use facts::Facts;
use law::Law;
use seeds::seeds;

/// Pieces that a walk may hold open, in turn; far less than any of these sites needs.
const LIMITS: [usize; 3] = [1, 3, 10];

/// Disagreements that are shown in full.
const SHOWN: usize = 40;

fn laws() -> Vec<&'static Law> {
    let parts = [
        reach_laws::LAWS,
        layer2_laws::LAWS,
        other_laws::LAWS,
        change_laws::LAWS,
    ];
    parts.into_iter().flatten().collect()
}

/// Comparisons of each law, and what disagrees.
#[derive(Default)]
struct Run {
    made: Vec<usize>,
    wrong: Vec<String>,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was compared")]
fn every_command_says_the_same() {
    let halves = std::thread::scope(|scope| {
        let halves = [0, 1].map(|half| scope.spawn(move || run(seeds(120).skip(half).step_by(2))));
        halves.map(|half| half.join().expect("no half panics"))
    });
    let wrong: Vec<&String> = halves.iter().flat_map(|half| &half.wrong).collect();
    for (at, law) in laws().iter().enumerate() {
        let made: usize = halves.iter().map(|half| half.made[at]).sum();
        eprintln!("{made:>8} {}", law.name);
        assert!(
            made > 0 || !wrong.is_empty(),
            "nothing was compared: {}",
            law.name
        );
    }
    let shown: Vec<&str> = wrong
        .iter()
        .take(SHOWN)
        .map(|wrong| wrong.as_str())
        .collect();
    assert!(
        wrong.is_empty(),
        "{} disagree:\n{}",
        wrong.len(),
        shown.join("\n=====\n")
    );
}

fn run(seeds: impl Iterator<Item = u64>) -> Run {
    let mut run = Run {
        made: vec![0; laws().len()],
        wrong: Vec::new(),
    };
    for seed in seeds {
        let text = drawn(seed);
        let site = site(&text);
        let network = Network::new(&site, TODAY);
        let full = Facts::new(seed, &text, &network, None);
        run.hold(&full);
        let limit = LIMITS[seed as usize / 2 % LIMITS.len()];
        let network = Network::new(&site, TODAY).limited_to(limit);
        run.hold(&Facts::new(seed, &text, &network, Some(&full)));
    }
    run
}

impl Run {
    fn hold(&mut self, facts: &Facts<'_>) {
        for (at, law) in laws().into_iter().enumerate() {
            match (law.holds)(facts) {
                Ok(made) => self.made[at] += made,
                Err(wrong) => self.wrong.push(format!(
                    "seed {}, limit {}: {}: {wrong}\n{}",
                    facts.seed,
                    facts.network.open_pieces(),
                    law.name,
                    facts.text
                )),
            }
        }
    }
}
