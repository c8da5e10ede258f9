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

use std::fmt::Write;

use boundwalk::forwarding::{Network, Packet, Sender, trace};
use boundwalk::load::load_text;
use boundwalk::model::{Action, Date, Protocol, SegmentId, Site};

use lab::rules::Draft;
use random::Random;
use simulator::{Decision, Probe, Simulator};

/// No rule here expires.
const TODAY: Date = Date::constant(2026, 4, 1);
const SETS: u64 = 60;
const PACKETS: usize = 150;

#[test]
fn a_kernel_decides_by_the_same_rule() {
    if let Some(reason) = lab::missing() {
        skip(&reason);
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

#[allow(
    clippy::print_stderr,
    reason = "whoever runs the tests must see what was not tested"
)]
fn skip(reason: &str) {
    assert!(
        std::env::var("BOUNDWALK_LAB").as_deref() != Ok("require"),
        "the lab is required: {reason}"
    );
    eprintln!("SKIPPED a_kernel_decides_by_the_same_rule: {reason}");
}
