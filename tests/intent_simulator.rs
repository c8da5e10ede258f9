//! Do expectations and needs stand as single packets say?
//!
//! Small random sites with random lines. Every packet is sent through the slow, obvious simulator, and each demand is
//! judged from what arrives, by its definition.

#[path = "oracles/lines.rs"]
mod lines;
#[path = "oracles/pairs.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod pairs;
#[path = "support/probes.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod probes;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/seeds.rs"]
mod seeds;
#[path = "oracles/simulator.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod simulator;

use std::fmt::Write;

use boundwalk::analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk::analysis::{By, Endpoint};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, Permit, SegmentId, Site};

use lines::{Failing, Line, beyond, broken, pair, places};
use pairs::{Pairs, Sent, one_of_each};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::Simulator;

/// Random sites that a usual run looks at.
const SITES: u64 = 150;

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);
/// Sites with more packets than this in a family are left out.
const MOST_PACKETS: usize = 100_000;

/// What was met in all sites: a test that never saw a kind of outcome proves little.
#[derive(Clone, Copy, Default, Debug)]
struct Seen {
    held: usize,
    broken: usize,
    vacuous: usize,
    met: usize,
    unmet: usize,
    refused: usize,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn lines_stand_as_single_packets_say() {
    let halves = std::thread::scope(|scope| {
        let halves =
            [0, 1].map(|half| scope.spawn(move || run(seeds(SITES).skip(half).step_by(2))));
        halves.map(|half| half.join().expect("no half panics"))
    });
    let mut seen = Seen::default();
    let mut wrong: Vec<String> = Vec::new();
    for (part, more) in halves {
        seen.held += part.held;
        seen.broken += part.broken;
        seen.vacuous += part.vacuous;
        seen.met += part.met;
        seen.unmet += part.unmet;
        seen.refused += part.refused;
        wrong.extend(more);
    }
    let shown = &wrong[..wrong.len().min(3)];
    assert!(
        wrong.is_empty(),
        "{} differ:\n{}",
        wrong.len(),
        shown.join("\n")
    );
    eprintln!("{seen:?}");
    let counts = [seen.held, seen.broken, seen.vacuous, seen.met, seen.unmet];
    assert!(counts.iter().all(|&count| count > 10), "{seen:?}");
    assert!(seen.refused < seeds(SITES).count() / 2, "{seen:?}");
}

fn run(seeds: impl Iterator<Item = u64>) -> (Seen, Vec<String>) {
    let (mut seen, mut wrong) = (Seen::default(), Vec::new());
    for seed in seeds {
        let text = format!("{}{}", random_site::random_site(seed), random_lines(seed));
        let loaded = load_text("drawn", &text);
        // A drawn line may speak of one segment only, or match in no family: then the site does not load.
        let Some(site) = loaded.site else {
            seen.refused += 1;
            continue;
        };
        check(seed, &site, &text, &mut seen, &mut wrong);
    }
    (seen, wrong)
}

/// Lines about the segments of a site, as text.
fn random_lines(seed: u64) -> String {
    let loaded = load_text("drawn", &random_site::random_site(seed));
    let site = loaded.site.expect("random sites load");
    let mut random = Random::new(seed ^ 0x5eed);
    let segments: Vec<String> = site
        .segments
        .iter()
        .map(|one| one.name.value.clone())
        .collect();
    let mut all: Vec<String> = segments.clone();
    all.extend(site.zones.iter().map(|zone| zone.name.value.clone()));
    let gateways: Vec<&str> = site
        .routers
        .iter()
        .filter(|router| router.filter().is_some())
        .map(|router| router.name.value.as_str())
        .collect();
    let mut text = String::new();
    for number in 0..6 {
        let need = number == 5;
        let head = if need { "needs" } else { "expectations" };
        let from = random.pick(&all).clone();
        let mut to = random.pick(&all).clone();
        if random.percent(15) && !gateways.is_empty() {
            to = "gateway".to_owned();
        }
        if from == to {
            continue;
        }
        let _ = writeln!(
            text,
            "[[{head}]]\nname = \"line {number}\"\nfrom = \"{from}\"\nto = \"{to}\""
        );
        let _ = writeln!(text, "reason = \"drawn\"");
        let mut services = random.percent(50);
        if !need {
            let (demand, needs_services) = demand(&mut random, &gateways);
            text.push_str(&demand);
            services |= needs_services;
        }
        if services {
            let list = random.pick(&[
                "\"tcp/80\"",
                "\"udp/53\", \"tcp/1-1023\"",
                "\"any\"",
                "\"icmp/8\", \"icmpv6/128\"",
                "\"tcp\"",
            ]);
            let _ = writeln!(text, "services = [{list}]");
        }
        if random.percent(30) {
            let _ = writeln!(text, "destination = [\"{}\"]", random.pick(&segments));
        }
        if random.percent(20) {
            let _ = writeln!(text, "source = [\"{}\"]", random.pick(&segments));
        }
    }
    text
}

fn demand(random: &mut Random, gateways: &[&str]) -> (String, bool) {
    match random.below(8) {
        0 | 1 => ("permit = \"nothing\"\n".to_owned(), false),
        2 => ("permit = \"at-most\"\n".to_owned(), true),
        3 => ("permit = \"at-least\"\n".to_owned(), true),
        4 => ("permit = \"exactly\"\n".to_owned(), true),
        5 => ("logged = true\n".to_owned(), false),
        6 if !gateways.is_empty() => {
            let name = if random.percent(50) {
                "gateway"
            } else {
                random.pick(gateways)
            };
            (format!("through = \"{name}\"\n"), false)
        }
        _ => ("one_way = true\n".to_owned(), false),
    }
}

fn check(seed: u64, site: &Site, text: &str, seen: &mut Seen, wrong: &mut Vec<String>) {
    let network = Network::new(site, TODAY);
    let simulator = Simulator::new(site, TODAY);
    let pool = Probes::new(site);
    let mut failing: Vec<(Failing, bool)> =
        vec![(Failing::default(), false); site.expectations.len()];
    let mut unmet: Vec<Failing> = vec![Failing::default(); site.needs.len()];
    for family in Family::ALL {
        let services = one_of_each(&network.classes, true);
        let addresses = pool.addresses(family).to_vec();
        let pairs = Pairs::new(site, &simulator, By::Segment, &services, addresses);
        let packets = pairs.destinations.len() * services.len() * pool.addresses(family).len();
        if packets > MOST_PACKETS {
            return;
        }
        let sent: Vec<Vec<Sent>> = site
            .segment_ids()
            .map(|id| pairs.sent(Endpoint::Segment(id)))
            .collect();
        for (line, (failing, over)) in site.expectations.iter().zip(&mut failing) {
            let words = Line {
                family,
                source: line.source.as_ref(),
                destination: line.destination.as_ref(),
                services: line.services.as_ref(),
                bounds: matches!(line.demands.permit, Some(Permit::AtMost | Permit::Exactly)),
            };
            for (from, to) in pairs_of(site, (&line.from, &line.to)) {
                let classes = &network.classes;
                let through = line.demands.through;
                let (own, mut one) = (&sent[from.0], Failing::default());
                pair(&pairs, classes, (from, to), &words, through, own, &mut one);
                if one.seen {
                    *over |= beyond(&pairs, (from, to), &words, own);
                    merge(failing, &one);
                }
            }
            if line.demands.one_way {
                let back = Line {
                    family,
                    source: line.destination.as_ref(),
                    destination: line.source.as_ref(),
                    services: None,
                    bounds: false,
                };
                let senders: Vec<SegmentId> = places(site, &line.to)
                    .into_iter()
                    .filter_map(|party| match party {
                        Endpoint::Segment(id) => Some(id),
                        _ => None,
                    })
                    .collect();
                for from in senders {
                    for to in places(site, &line.from) {
                        let mut one = Failing::default();
                        pair(
                            &pairs,
                            &network.classes,
                            (from, to),
                            &back,
                            None,
                            &sent[from.0],
                            &mut one,
                        );
                        failing.seen |= one.seen;
                        failing.started_back |= one.seen && one.too_much;
                    }
                }
            }
        }
        for (need, failing) in site.needs.iter().zip(&mut unmet) {
            let words = Line {
                family,
                source: need.source.as_ref(),
                destination: need.destination.as_ref(),
                services: need.services.as_ref(),
                bounds: false,
            };
            for (from, to) in pairs_of(site, (&need.from, &need.to)) {
                pair(
                    &pairs,
                    &network.classes,
                    (from, to),
                    &words,
                    None,
                    &sent[from.0],
                    failing,
                );
            }
        }
    }
    for (judged, (failing, over)) in judge_expectations(&network).iter().zip(&failing) {
        let expected = match (failing.seen, broken(judged.expectation, failing, *over)) {
            (false, _) => "vacuous",
            (_, true) => "broken",
            (_, false) => "held",
        };
        let found = word(&judged.status);
        match expected {
            "held" => seen.held += 1,
            "broken" => seen.broken += 1,
            _ => seen.vacuous += 1,
        }
        if found != expected {
            let name = &judged.expectation.name.value;
            wrong.push(format!(
                "seed {seed}: {name}: {found}, is {expected}: {failing:?} {over}\n{:?}\n{text}",
                judged.status
            ));
        }
    }
    for (judged, failing) in judge_needs(&network).iter().zip(&unmet) {
        let expected = match (failing.seen, failing.too_little) {
            (false, _) => "vacuous",
            (_, true) => "broken",
            (_, false) => "held",
        };
        match expected {
            "held" => seen.met += 1,
            "broken" => seen.unmet += 1,
            _ => {}
        }
        let found = word(&judged.status);
        if found != expected {
            let name = &judged.need.name.value;
            wrong.push(format!(
                "seed {seed}: need {name}: {found}, is {expected}\n{:?}\n{text}",
                judged.status
            ));
        }
    }
}

fn merge(into: &mut Failing, one: &Failing) {
    into.seen |= one.seen;
    into.too_much |= one.too_much;
    into.too_little |= one.too_little;
    into.undecided |= one.undecided;
    into.unlogged |= one.unlogged;
}

fn pairs_of(
    site: &Site,
    (from, to): (
        &[boundwalk::model::RuleParty],
        &[boundwalk::model::RuleParty],
    ),
) -> Vec<(SegmentId, Endpoint)> {
    let senders = places(site, from)
        .into_iter()
        .filter_map(|party| match party {
            Endpoint::Segment(id) => Some(id),
            _ => None,
        });
    let receivers = places(site, to);
    senders
        .flat_map(|from| receivers.iter().map(move |&to| (from, to)))
        .filter(|(from, to)| Endpoint::Segment(*from) != *to)
        .collect()
}

fn word(status: &IntentStatus) -> &'static str {
    match status {
        IntentStatus::Held => "held",
        IntentStatus::Broken(_) => "broken",
        IntentStatus::Vacuous => "vacuous",
        IntentStatus::Unknown(_) => "unknown",
    }
}
