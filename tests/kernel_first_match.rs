//! Does a real kernel's packet filter decide as we say, by the same rule?
//!
//! Random rule sets are loaded as they are into the packet filter of a network namespace, random packets and
//! those at the ends of what the rules say are sent there, and the counter that moved names the rule.

mod lab;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "oracles/simulator.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod simulator;
#[path = "support/skipped.rs"]
mod skipped;

use std::fmt::Write;

use boundwalk::analysis::rules::{GatewayReview, RuleStatus};
use boundwalk::forwarding::{Network, Packet, Sender, trace};
use boundwalk::load::load_text;
use boundwalk::model::{Action, Date, Protocol, RouterId, SegmentId, Site};

use lab::rules::Draft;
use random::Random;
use simulator::{Decision, Probe, Simulator};
use skipped::skip;

/// No rule here expires.
const TODAY: Date = Date::constant(2026, 4, 1);
const SETS: u64 = 60;
const PACKETS: usize = 150;

#[test]
fn a_kernel_decides_by_the_same_rule() {
    if let Some(reason) = lab::missing() {
        skip("a kernel", &reason);
        return;
    }
    let mut random = Random::new(7);
    let (mut job, mut expected) = (String::new(), Vec::new());
    for set in 0..SETS {
        let draft = Draft::new(&mut random, if set % 4 == 0 { 60 } else { 12 });
        let probes: Vec<Probe> = (0..PACKETS).map(|_| draft.probe(&mut random)).collect();
        write!(job, "ruleset\n{}end\n", draft.kernel()).expect("a string");
        for probe in &probes {
            writeln!(job, "packet {}", lab::wire::hex(probe)).expect("a string");
        }
        expected.extend(decisions(&draft.site(), &probes));
    }
    let seen = lab::run(&job);
    assert_eq!(seen.len(), expected.len(), "one line a packet");
    for (seen, (expected, what)) in seen.iter().zip(&expected) {
        assert_eq!(seen, expected, "{what}");
    }
    assert_varied(&seen);
}

/// A rule that the review calls dead, or that nothing can match, never counts a packet; the packet that it shows for a
/// rule that decides always counts there.
#[test]
fn a_kernel_counts_no_packet_at_a_dead_rule_and_each_witness_at_its_rule() {
    if let Some(reason) = lab::missing() {
        skip("a kernel", &reason);
        return;
    }
    let mut random = Random::new(70);
    let (mut job, mut expected) = (String::new(), Vec::new());
    let (mut witnesses, mut idle) = (0, 0);
    for set in 0..SETS / 2 {
        let draft = Draft::new(&mut random, if set % 3 == 0 { 60 } else { 16 });
        let (decided, dead) = reviewed(&draft.site());
        write!(job, "ruleset\n{}end\n", draft.kernel()).expect("a string");
        idle += dead.len();
        for (rule, probe) in decided {
            writeln!(job, "packet {}", lab::wire::hex(&probe)).expect("a string");
            expected.push((
                Ok(format!("r{rule}")),
                format!("{probe:?}\n{}", draft.site()),
            ));
            witnesses += 1;
        }
        for _ in 0..PACKETS {
            let probe = draft.probe(&mut random);
            writeln!(job, "packet {}", lab::wire::hex(&probe)).expect("a string");
            expected.push((Err(dead.clone()), format!("{probe:?}\n{}", draft.site())));
        }
    }
    let seen = lab::run(&job);
    assert_eq!(seen.len(), expected.len(), "one line a packet");
    for (seen, (expected, what)) in seen.iter().zip(&expected) {
        let (_, counted) = seen
            .split_once(' ')
            .expect("what became of it, and where it counted");
        match expected {
            Ok(rule) => assert_eq!(counted, rule, "{what}"),
            Err(dead) => assert!(
                !dead.iter().any(|rule| rule == counted),
                "{counted}: {what}"
            ),
        }
    }
    assert!(
        witnesses > 200 && idle > 20,
        "{witnesses} witnesses, {idle} idle rules"
    );
}

/// A packet of each rule that decides, and the names of the counters of rules that never do.
fn reviewed(site_text: &str) -> (Vec<(usize, Probe)>, Vec<String>) {
    let site = load_text("drawn", site_text).site.expect("the site loads");
    let network = Network::new(&site, TODAY);
    let gateway_review = GatewayReview::new(&network, RouterId(0)).expect("the gateway filters");
    let (mut decided, mut dead) = (Vec::new(), Vec::new());
    for (rule, status) in gateway_review.review.rules.iter().enumerate() {
        match status {
            RuleStatus::Decides { witness, .. } => {
                let packet = witness.packet;
                let probe = Probe {
                    source: packet.source,
                    destination: packet.destination,
                    protocol: packet.protocol.0,
                    source_port: packet.source_port,
                    destination_port: packet.destination_port,
                };
                decided.push((rule, probe));
            }
            RuleStatus::Dead(_) | RuleStatus::Irrelevant => dead.push(format!("r{rule}")),
            RuleStatus::Off | RuleStatus::Unknown => {}
        }
    }
    (decided, dead)
}

/// What each packet meets, in the agent's words, and what to say where it is not so. The product and the
/// simulator must agree before the kernel is asked.
fn decisions(site_text: &str, probes: &[Probe]) -> Vec<(String, String)> {
    let loaded = load_text("drawn", site_text);
    let site = loaded
        .site
        .unwrap_or_else(|| panic!("{:?}\n{site_text}", loaded.problems));
    let network = Network::new(&site, TODAY);
    let lines = probes.iter().map(|probe| {
        let what = format!("{probe:?}\n{site_text}");
        let traced = traced(&network, probe);
        assert_eq!(
            traced,
            simulated(&site, *probe),
            "product (left), simulator (right): {what}"
        );
        (traced, what)
    });
    lines.collect()
}

/// What the product says.
fn traced(network: &Network<'_>, probe: &Probe) -> String {
    let packet = Packet {
        source: probe.source,
        destination: probe.destination,
        protocol: Protocol(probe.protocol),
        source_port: probe.source_port,
        destination_port: probe.destination_port,
    };
    let traces = trace(network, Sender::Segment(SegmentId(0)), &packet);
    let decided = traces[0].steps[0]
        .decision
        .as_ref()
        .expect("the gateway has rules");
    let decision = decided.rule.map_or(Decision::Default, Decision::Rule);
    spell(decision, decided.action)
}

/// The slow reading of the rules.
fn simulated(site: &Site, probe: Probe) -> String {
    let decided = Simulator::new(site, TODAY).decides(0, 0, 1, probe);
    let (decision, action) = decided.expect("the gateway has rules");
    spell(decision, action)
}

fn spell(decision: Decision, action: Action) -> String {
    let name = match decision {
        Decision::Rule(index) => format!("r{index}"),
        Decision::Default => "default".to_owned(),
    };
    let word = if action == Action::Permit {
        "passed"
    } else {
        "blocked"
    };
    format!("{word} {name}")
}

/// A lab in which one rule takes everything proves nothing.
fn assert_varied(seen: &[String]) {
    let mut distinct = seen.to_vec();
    distinct.sort();
    distinct.dedup();
    assert!(
        40 < distinct.len(),
        "only {} different outcomes",
        distinct.len()
    );
}
