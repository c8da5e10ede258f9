//! Do the set-valued walk and the single-packet walk say what a slow, obvious simulator says?
//!
//! Small random sites; from each segment, configured and hostile, packets at the ends of everything the
//! site mentions. Place, packet on arrival, deciding rules and the way back must be equal both ways: no
//! outcome missing, none too many.

#[path = "support/engine.rs"]
mod engine;
#[path = "support/probes.rs"]
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

use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, SegmentId, Site};

use engine::{Reach, traced};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Outcome, Probe, Simulator, Spot, Stance};

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);

/// What was seen, so that a test that compares nothing with nothing fails.
#[derive(Default, Debug)]
struct Seen {
    packets: usize,
    delivered: usize,
    to_devices: usize,
    several_hops: usize,
    translated: usize,
    one_way: usize,
    two_way: usize,
    several_ways: usize,
}

#[test]
fn walks_agree_with_the_simulator_on_random_sites() {
    let (mut seen, mut wrong) = (Seen::default(), Vec::new());
    for seed in seeds(800) {
        let text = random_site::random_site(seed);
        let loaded = load_text("drawn", &text);
        let site = loaded
            .site
            .unwrap_or_else(|| panic!("seed {seed}: {:#?}\n{text}", loaded.problems));
        let before = wrong.len();
        compare_site(seed, &site, &mut seen, &mut wrong);
        if before == 0 && !wrong.is_empty() {
            wrong[0] += &text;
        }
    }
    assert!(
        wrong.is_empty(),
        "{} differ:\n{}",
        wrong.len(),
        wrong[..wrong.len().min(3)].join("\n")
    );
    seen.assert_varied();
}

/// Sends packets from every segment of a site, and says where an answer differs.
fn compare_site(seed: u64, site: &Site, seen: &mut Seen, wrong: &mut Vec<String>) {
    let network = Network::new(site, TODAY);
    let simulator = Simulator::new(site, TODAY);
    let (pool, mut random) = (Probes::new(site), Random::new(seed ^ 0xb0a7));
    let stances = [Stance::Configured, Stance::Hostile];
    let senders = site
        .segment_ids()
        .flat_map(|from| stances.map(|stance| (from, stance)));
    for (from, stance) in senders {
        for family in Family::ALL {
            let reach = Reach::new(&network, family, from, stance);
            for _ in 0..30 {
                let likely = |address| simulator.lives_on(from, address);
                let probe = pool.draw(&mut random, family, likely);
                let expected = simulator.send(from, probe, stance);
                let mut check = |walk: &str, answer: Vec<Outcome>| {
                    if answer != expected {
                        let who = format!("seed {seed}, {from:?}, {stance:?}, {probe:?}");
                        wrong.push(format!(
                            "{who}\n{walk}: {answer:#?}\nsimulator: {expected:#?}\n"
                        ));
                    }
                };
                // Sets are boxes: where many addresses are both sender's and receiver's, the packets that a device
                // would send to itself are left in.
                if probe.source != probe.destination {
                    check("sets", reach.outcomes(&probe));
                }
                // The single-packet walk leaves it to its caller whether the source may be used.
                if simulator.may_send(from, probe, stance) {
                    check("trace", traced(&network, from, &probe, stance));
                }
                seen.count(&probe, &expected);
            }
        }
    }
}

impl Seen {
    fn assert_varied(&self) {
        let kinds = [
            self.delivered,
            self.to_devices,
            self.several_hops,
            self.translated,
            self.one_way,
            self.two_way,
            self.several_ways,
        ];
        assert!(
            kinds.iter().all(|&count| 100 < count),
            "the sites are too tame: {self:?}"
        );
    }

    fn count(&mut self, probe: &Probe, outcomes: &[Outcome]) {
        self.packets += 1;
        self.several_ways += usize::from(1 < outcomes.len());
        for outcome in outcomes {
            self.delivered += 1;
            self.to_devices += usize::from(matches!(outcome.place, Spot::Router(_)));
            self.several_hops += usize::from(1 < outcome.hops.len());
            self.translated += usize::from(outcome.arrived != *probe);
            self.one_way += usize::from(!outcome.came_back);
            self.two_way += usize::from(outcome.came_back);
        }
    }
}

/// The same seed gives the same site: a failure can be looked at again.
#[test]
fn random_sites_repeat() {
    let site = random_site::random_site(3);
    assert_eq!(site, random_site::random_site(3));
    assert_ne!(site, random_site::random_site(4));
}

/// A host whose prefix is wider than that of its segment looks for its client on the wire, where it is not: the packet
/// arrives, and the reply is lost.
#[test]
fn a_host_with_too_wide_a_prefix_is_reached_and_does_not_answer() {
    let came_back = |length: u8| {
        let text = format!(
            r#"
[zones.works]
trust = 60
[segments.office]
zone = "works"
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "works"
prefixes = ["10.44.60.0/24"]
[routers.core.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24"]
[routers.core.interfaces.brewhouse]
segment = "brewhouse"
addresses = ["10.44.60.1/24"]
[[hosts.desk.interfaces]]
segment = "office"
addresses = ["10.44.10.5/{length}"]
"#
        );
        let loaded = load_text("case", &text);
        let problems = format!("{:#?}", loaded.problems);
        let site = loaded.site.expect(&problems);
        let network = Network::new(&site, TODAY);
        let probe = Probe {
            source: [10, 44, 60, 7].into(),
            destination: [10, 44, 10, 5].into(),
            protocol: 6,
            source_port: 50_000,
            destination_port: 443,
        };
        let (from, stance) = (SegmentId(1), Stance::Configured);
        let found = Reach::new(&network, Family::V4, from, stance).outcomes(&probe);
        assert_eq!(
            found,
            Simulator::new(&site, TODAY).send(from, probe, stance)
        );
        found
            .iter()
            .map(|outcome| outcome.came_back)
            .collect::<Vec<_>>()
    };
    assert_eq!(came_back(24), [true]);
    assert_eq!(came_back(16), [false]);
}
