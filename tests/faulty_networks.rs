//! Do answers about a faulty network hold for everything that the fault may mean?
//!
//! A good random site gets one fault: an address twice, by mistake or as a cluster's, a default gateway that nobody is,
//! prefixes that overlap, two routes to one destination. Each may mean several things; each of these is a site of its
//! own for the simulator of single packets. Whatever arrives in one of them may arrive by the product's answer, and
//! whatever must arrive by that answer arrives in each.

#[path = "support/engine.rs"]
mod engine;
#[path = "support/faults.rs"]
mod faults;
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

use std::collections::BTreeMap;
use std::fmt::Write;

use boundwalk::analysis::intent::{IntentStatus, judge_expectations};
use boundwalk::analysis::{By, Matrix, Question};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, SegmentId, Site};

use engine::{Reach, traced};
use faults::{Fault, Reading, broken};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Outcome, Probe, Simulator, Spot, Stance};

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);

/// What was compared, by fault: packets that arrive in some reading, and claims that something must arrive or must not.
type Compared = BTreeMap<(Fault, &'static str), usize>;

#[test]
fn answers_bound_what_a_fault_may_mean() {
    let (mut compared, mut wrong) = (Compared::new(), Vec::new());
    for seed in seeds(100) {
        let mut text = random_site::random_site(seed);
        text.push_str(&lines(&loaded(seed, &text)));
        let good = loaded(seed, &text);
        for fault in Fault::ALL {
            let mut random = Random::new(seed ^ 0xfa17);
            let Some((site, readings)) = broken(&mut random, &good, fault) else {
                continue;
            };
            let mut judge = Judge {
                seed,
                fault,
                site: &site,
                compared: &mut compared,
                wrong: &mut wrong,
            };
            judge.compare(&readings, &mut random);
        }
    }
    assert!(
        wrong.is_empty(),
        "{} differ:\n{}",
        wrong.len(),
        wrong[..wrong.len().min(4)].join("\n")
    );
    let sorts = [
        "may arrive",
        "may arrive, hostile",
        "must arrive",
        "must arrive by a line",
        "must not arrive",
    ];
    for fault in Fault::ALL {
        for sort in sorts {
            let count = compared.get(&(fault, sort)).copied().unwrap_or(0);
            assert!(10 < count, "{fault:?}, {sort}: {count}\n{compared:#?}");
        }
    }
}

fn loaded(seed: u64, text: &str) -> Site {
    let loaded = load_text("drawn", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("seed {seed}: {:#?}\n{text}", loaded.problems))
}

/// For each pair of segments a line that nothing and a line that everything passes.
fn lines(site: &Site) -> String {
    let mut text = String::new();
    let name = |id: SegmentId| &site.segment(id).name.value;
    for from in site.segment_ids() {
        for to in site.segment_ids().filter(|&to| to != from) {
            let (from, to) = (name(from), name(to));
            for (claim, demand) in [
                ("nothing", "permit = \"nothing\""),
                ("all", "permit = \"at-least\"\nservices = [\"tcp/22\"]"),
            ] {
                writeln!(
                    text,
                    "[[expectations]]\nname = \"{claim} {from} {to}\"\nfrom = \"{from}\"\nto = \"{to}\"\n{demand}"
                )
                .expect("a string");
            }
        }
    }
    text
}

struct Judge<'a> {
    seed: u64,
    fault: Fault,
    site: &'a Site,
    compared: &'a mut Compared,
    wrong: &'a mut Vec<String>,
}

impl Judge<'_> {
    fn count(&mut self, sort: &'static str) {
        *self.compared.entry((self.fault, sort)).or_default() += 1;
    }

    fn differ(&mut self, what: &str, probe: Probe, more: impl std::fmt::Debug) {
        let (seed, fault) = (self.seed, self.fault);
        self.wrong.push(format!(
            "seed {seed}, {fault:?}, {what}: {probe:?} {more:#?}"
        ));
    }

    fn compare(&mut self, readings: &[Reading], random: &mut Random) {
        let network = Network::new(self.site, TODAY);
        let simulators: Vec<(Simulator<'_>, &Reading)> = readings
            .iter()
            .map(|reading| (reading.simulator(TODAY), reading))
            .collect();
        let pool = Probes::new(self.site);
        let claims = Claims::new(&network);
        for family in Family::ALL {
            for from in self.site.segment_ids() {
                for stance in [Stance::Configured, Stance::Hostile] {
                    let reach = Reach::new(&network, family, from, stance);
                    for _ in 0..25 {
                        let own = |address| simulators[0].0.has(from, address);
                        let mut probe = pool.draw(random, family, own);
                        if stance == Stance::Configured && random.percent(30) {
                            probe = as_in_the_lines(probe);
                        }
                        let may = may(&network, &reach, from, probe, stance);
                        let ends = [Some(probe.source), Some(probe.destination)];
                        let asked = simulators
                            .iter()
                            .filter(|(_, one)| one.absent.is_none() || !ends.contains(&one.absent));
                        for (simulator, reading) in asked {
                            self.may_arrive((from, stance), probe, simulator, &may);
                            if stance == Stance::Configured {
                                let must = reading.usual;
                                self.claims((&claims, &network), (from, must), probe, simulator);
                            }
                        }
                    }
                }
            }
        }
    }

    fn may_arrive(
        &mut self,
        (from, stance): (SegmentId, Stance),
        probe: Probe,
        simulator: &Simulator<'_>,
        may: &[Vec<Outcome>; 2],
    ) {
        // A single walk is one of a packet that somebody may send.
        // What a device sends to itself crosses no network.
        if probe.source == probe.destination
            || simulator.are_of_one_device(probe.source, probe.destination)
            || !simulator.may_send(from, probe, stance)
        {
            return;
        }
        for outcome in simulator.send(from, probe, stance) {
            self.count(match stance {
                Stance::Configured => "may arrive",
                Stance::Hostile => "may arrive, hostile",
            });
            for (way, may) in ["sets", "trace"].into_iter().zip(may) {
                if !may.iter().any(|one| alike(one, &outcome)) {
                    let what = format!("{way} from {from:?} {stance:?}");
                    self.differ(&what, probe, (&outcome, may));
                }
            }
        }
    }

    /// What is claimed of the pair that a packet is of.
    fn claims(
        &mut self,
        (claims, network): (&Claims, &Network<'_>),
        (from, usual): (SegmentId, bool),
        probe: Probe,
        simulator: &Simulator<'_>,
    ) {
        if probe.source == probe.destination
            || simulator.are_of_one_device(probe.source, probe.destination)
            || !simulator.has(from, probe.source)
        {
            return;
        }
        let class =
            network
                .classes
                .class_of(probe.protocol, probe.source_port, probe.destination_port);
        for to in self.site.segment_ids().filter(|&to| to != from) {
            if !simulator.has(to, probe.destination) {
                continue;
            }
            let arrives = |outcomes: &[Outcome]| {
                let mut all = outcomes.iter();
                all.any(|one| one.place == Spot::Segment(to.0))
            };
            if claims.nothing(from, to) {
                self.count("must not arrive");
                let sent = simulator.send(from, probe, Stance::Configured);
                let straight = |one: &Outcome| one.arrived.destination == probe.destination;
                if sent
                    .iter()
                    .any(|one| straight(one) && arrives(std::slice::from_ref(one)))
                {
                    self.differ(&format!("nothing from {from:?} to {to:?}"), probe, sent);
                }
            }
            let Some(owner) = simulator.send_from_owner(from, probe).filter(|_| usual) else {
                continue;
            };
            let by_line =
                probe.protocol == 6 && probe.destination_port == 22 && claims.all(from, to);
            let every = claims.every(Family::of(probe.source), from, to, class);
            let sorts = [("must arrive", every), ("must arrive by a line", by_line)];
            for (sort, _) in sorts.into_iter().filter(|(_, claimed)| *claimed) {
                self.count(sort);
                if !arrives(&owner) {
                    self.differ(&format!("{sort}, from {from:?} to {to:?}"), probe, &owner);
                }
            }
        }
    }
}

/// A packet of the service that the lines demand.
fn as_in_the_lines(probe: Probe) -> Probe {
    Probe {
        protocol: 6,
        source_port: 50_000,
        destination_port: 22,
        ..probe
    }
}

/// The ways that the product knows, as sets and as single walks.
fn may(
    network: &Network<'_>,
    reach: &Reach<'_>,
    from: SegmentId,
    probe: Probe,
    stance: Stance,
) -> [Vec<Outcome>; 2] {
    [
        reach.outcomes(&probe),
        traced(network, from, &probe, stance),
    ]
}

/// Whether two packets arrive alike, by the same devices; whether they are answered is another question.
fn alike(one: &Outcome, other: &Outcome) -> bool {
    one.place == other.place && one.arrived == other.arrived && one.hops == other.hops
}

/// What is claimed of the faulty site.
struct Claims {
    matrices: [Matrix; 2],
    lines: BTreeMap<String, bool>,
    names: Vec<String>,
}

impl Claims {
    fn new(network: &Network<'_>) -> Self {
        let matrices = Family::ALL.map(|family| {
            let question = Question::all(By::Segment, family, false);
            Matrix::new(network, &question, &mut |_, _| {})
        });
        let lines = judge_expectations(network).into_iter().map(|line| {
            let held = matches!(line.status, IntentStatus::Held);
            (line.expectation.name.value.clone(), held)
        });
        let segments = network.site.segments.iter();
        Self {
            matrices,
            lines: lines.collect(),
            names: segments.map(|segment| segment.name.value.clone()).collect(),
        }
    }

    fn held(&self, claim: &str, from: SegmentId, to: SegmentId) -> bool {
        let [from, to] = [from, to].map(|id| &self.names[id.0]);
        self.lines[&format!("{claim} {from} {to}")]
    }

    fn nothing(&self, from: SegmentId, to: SegmentId) -> bool {
        self.held("nothing", from, to)
    }

    fn all(&self, from: SegmentId, to: SegmentId) -> bool {
        self.held("all", from, to)
    }

    fn every(&self, family: Family, from: SegmentId, to: SegmentId, class: usize) -> bool {
        let matrix = &self.matrices[usize::from(family == Family::V6)];
        let at = |parties: &[boundwalk::analysis::Endpoint], id: SegmentId| {
            let wanted = boundwalk::analysis::Endpoint::Segment(id);
            parties.iter().position(|&party| party == wanted)
        };
        at(&matrix.rows, from)
            .zip(at(&matrix.columns, to))
            .is_some_and(|(row, column)| matrix.cells[row][column].every.contains(class))
    }
}
