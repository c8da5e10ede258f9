//! Long rule lists, edited at random, against decision diagrams: is what opens and closes between two versions exactly
//! the difference of what the two lists permit?

#[path = "oracles/diagrams.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod diagrams;
#[path = "support/edited_site.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod edited_site;
#[path = "oracles/pair_diagrams.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod pair_diagrams;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_lists.rs"]
mod random_lists;

use boundwalk::analysis::Endpoint;
use boundwalk::analysis::change::{Changed, Spot, reach_change};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, RouterId, SegmentId, Site};
use boundwalk::packet::Space;
use diagrams::{Diagrams, and, not, or};
use edited_site::edited;
use oxidd::BooleanFunction;
use oxidd::bdd::BDDFunction;
use pair_diagrams::PairDiagrams;
use random::Random;

const TODAY: Date = Date::constant(2026, 4, 1);

fn site(text: &str) -> Site {
    let loaded = load_text("drawn", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems))
}

/// What a list permits between two parties, whichever rule does.
fn permitted(oracle: &mut PairDiagrams<'_>, from: Endpoint, to: Endpoint) -> BDDFunction {
    let all = oracle.between(from, to);
    let parts = oracle.permitted(from, to, &all);
    let none = oracle.diagrams.constant(false);
    parts.values().fold(none, |sum, part| or(&sum, part))
}

fn union(oracle: &mut PairDiagrams<'_>, changed: &[Changed]) -> BDDFunction {
    let mut sum = oracle.diagrams.constant(false);
    for one in changed {
        sum = or(&sum, &oracle.of_region(&one.packets));
    }
    sum
}

/// Pairs that open and pairs that close.
fn check(seed: u64, rules: usize, default: &str, edits: usize) -> [usize; 2] {
    let before = random_lists::random_list(seed, rules, default);
    let mut after = before.clone();
    let mut random = Random::new(seed);
    for _ in 0..edits {
        let next = edited(&after, &mut random).expect("there are rules");
        // The diagrams read rules, not routes.
        let routes = |text: &str| text.matches(".routes]]").count();
        if routes(&next) == routes(&after) {
            after = next;
        }
    }
    let (old, new) = (site(&before), site(&after));
    let networks = Network::versions(&old, &new, TODAY);
    let change = reach_change(&networks[0], &networks[1], &mut |_, _| {});
    assert!(change.complete(), "seed {seed}");
    let mut one = PairDiagrams::with(&old, &networks[0], Diagrams::new(&Space::ipv4(1)));
    let mut seen = [0, 0];
    let senders = old.segment_ids();
    let receivers = || {
        old.segment_ids()
            .map(Endpoint::Segment)
            .chain([Endpoint::Device(RouterId(0))])
    };
    for from in senders {
        for to in receivers().filter(|&to| to != Endpoint::Segment(from)) {
            let was = permitted(&mut one, Endpoint::Segment(from), to);
            let diagrams = std::mem::replace(
                &mut one.diagrams,
                Diagrams::with_memory(&Space::ipv4(1), 16, 16),
            );
            let mut other = PairDiagrams::with(&new, &networks[1], diagrams);
            let is = permitted(&mut other, Endpoint::Segment(from), to);
            let pair = change.pairs.iter().find(|pair| {
                pair.family == Family::V4
                    && party(pair.from) == Some(Endpoint::Segment(from))
                    && party(pair.to) == Some(to)
            });
            let (opened, closed) = (and(&is, &not(&was)), and(&was, &not(&is)));
            let lists = pair.map_or((&[][..], &[][..]), |pair| {
                (&pair.opened[..], &pair.closed[..])
            });
            assert!(
                union(&mut other, lists.0) == opened,
                "seed {seed}: {from:?} > {to:?} opens"
            );
            assert!(
                union(&mut other, lists.1) == closed,
                "seed {seed}: {from:?} > {to:?} closes"
            );
            seen[0] += usize::from(opened.satisfiable());
            seen[1] += usize::from(closed.satisfiable());
            one.diagrams = other.diagrams;
        }
    }
    seen
}

fn party(spot: Spot) -> Option<Endpoint> {
    match spot {
        Spot::Segment(matched) => matched.old.map(|id: SegmentId| Endpoint::Segment(id)),
        Spot::Router(matched) => matched.old.map(|id: RouterId| Endpoint::Device(id)),
        Spot::Unclaimed(_) => None,
    }
}

#[test]
fn edits_of_short_lists_open_and_close_what_the_diagrams_say() {
    let mut seen = [0, 0];
    for seed in 0..24 {
        let default = if seed % 2 == 0 { "deny" } else { "permit" };
        let more = check(seed, 40, default, 3);
        seen = [seen[0] + more[0], seen[1] + more[1]];
    }
    assert!(seen.iter().all(|&count| count > 40), "{seen:?}");
}

#[test]
fn edits_of_long_lists_open_and_close_what_the_diagrams_say() {
    for (seed, default) in [(200, "deny"), (201, "permit")] {
        let seen = check(seed, 1_000, default, 10);
        assert!(seen[0] + seen[1] > 2, "{seen:?}");
    }
}
