//! Do the aggregated answers - cells, zones, flows of a pair - say what single packets do?
//!
//! Small random sites. From each party every packet is sent through the slow, obvious simulator: all
//! addresses of internal segments, of wide sets at least one of those that the site does not tell apart, one
//! packet of each service class. What arrives, counted, must be the cell: equal, neither more nor less.

#[path = "support/cell_checks.rs"]
mod cell_checks;
#[path = "support/engine.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod engine;
#[path = "support/flow_checks.rs"]
mod flow_checks;
#[path = "support/matrix_seen.rs"]
mod matrix_seen;
#[path = "oracles/pairs.rs"]
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

use std::collections::BTreeSet;
use std::net::IpAddr;
use std::sync::Arc;

use boundwalk::analysis::{By, Cell, Endpoint, HostileReach, Matrix, Question, Reading};
use boundwalk::forwarding::{Network, Packet};
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, Site, ZoneId};

use cell_checks::{Checked, cell_differences, larger, segments_of};
use flow_checks::Listed;
use matrix_seen::Seen;
use pairs::{Expected, Pairs, Sent, Service, one_of_each};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Simulator, Stance};

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);

/// Sites with more packets than this in a family and a row are left to `tests/reach_simulator.rs`.
const MOST_PACKETS: usize = 12_000;

/// Forged sources tried from a place.
const FORGED: usize = 5;

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn cells_and_flows_count_what_single_packets_do() {
    let halves = std::thread::scope(|scope| {
        let halves = [0, 1].map(|half| scope.spawn(move || run(seeds(400).skip(half).step_by(2))));
        halves.map(|half| half.join().expect("no half panics"))
    });
    let [(one, mut wrong), (other, more)] = halves;
    wrong.extend(more);
    let shown = &wrong[..wrong.len().min(4)];
    assert!(
        wrong.is_empty(),
        "{} differ:\n{}",
        wrong.len(),
        shown.join("\n")
    );
    let seen = one.and(other);
    eprintln!("{seen:#?}");
    seen.assert_varied();
}

fn run(seeds: impl Iterator<Item = u64>) -> (Seen, Vec<String>) {
    let (mut seen, mut wrong) = (Seen::default(), Vec::new());
    for seed in seeds {
        let text = random_site::random_site(seed);
        let loaded = load_text("drawn", &text);
        let site = loaded.site.expect("random sites load");
        let network = Network::new(&site, TODAY);
        let simulator = Simulator::new(&site, TODAY);
        for family in Family::ALL {
            let case = Case {
                seed,
                site: &site,
                network: &network,
                simulator: &simulator,
                family,
                services: one_of_each(&network.classes, seed.is_multiple_of(2)),
                pool: Probes::new(&site),
            };
            let before = wrong.len();
            case.check(&mut seen, &mut wrong);
            if before == 0 && !wrong.is_empty() {
                wrong[0] += &text;
            }
        }
    }
    (seen, wrong)
}

/// One site in one family.
struct Case<'s> {
    seed: u64,
    site: &'s Site,
    network: &'s Network<'s>,
    simulator: &'s Simulator<'s>,
    family: Family,
    services: Vec<Service>,
    pool: Probes,
}

impl Case<'_> {
    fn check(&self, seen: &mut Seen, wrong: &mut Vec<String>) {
        for by in [By::Segment, By::Host] {
            let pairs = Pairs::new(
                self.site,
                self.simulator,
                by,
                &self.services,
                self.addresses(),
            );
            let most = pairs.rows().map(|row| pairs.sources(row).count()).max();
            let packets = most.unwrap_or(0) * pairs.destinations.len() * self.services.len();
            if packets == 0 || MOST_PACKETS < packets {
                continue;
            }
            seen.add("sites", 1);
            let matrix = self.matrix(by);
            assert_eq!(matrix.columns, pairs.columns);
            assert_eq!(matrix.rows, pairs.rows().collect::<Vec<_>>());
            let mut expected = Vec::new();
            for (&from, cells) in matrix.rows.iter().zip(&matrix.cells) {
                let row = Row {
                    case: self,
                    pairs: &pairs,
                    by,
                    from,
                    cells,
                };
                expected.push(row.check(seen, wrong));
            }
            if by == By::Segment {
                self.check_zones(&matrix, &expected, seen, wrong);
            }
        }
    }

    fn matrix(&self, by: By) -> Matrix {
        let question = Question::all(by, self.family, true);
        Matrix::new(self.network, &question, &mut |_, _| {})
    }

    /// All addresses of internal segments; beyond them one at least of those that the site treats alike.
    fn addresses(&self) -> Vec<IpAddr> {
        let mut all: BTreeSet<IpAddr> = self.pool.addresses(self.family).iter().copied().collect();
        let prefixes = self
            .site
            .segments
            .iter()
            .filter(|segment| !segment.external)
            .flat_map(|segment| &segment.prefixes);
        for prefix in prefixes.filter(|prefix| prefix.value.family() == self.family) {
            let range = prefix.value.interval();
            all.extend((range.low()..=range.high()).map(|value| self.family.address(value)));
        }
        all.into_iter().collect()
    }

    /// Cells of zones are those of their segments, joined.
    fn check_zones(
        &self,
        matrix: &Matrix,
        expected: &[Vec<Expected>],
        seen: &mut Seen,
        wrong: &mut Vec<String>,
    ) {
        let zones = self.matrix(By::Zone);
        let zone_of = |party: Endpoint| match party {
            Endpoint::Segment(segment) => Endpoint::Zone(self.site.segment(segment).zone),
            other => other,
        };
        let rows = (0..self.site.zones.len()).map(|zone| Endpoint::Zone(ZoneId(zone)));
        assert_eq!(zones.rows, rows.collect::<Vec<_>>());
        for (&from, cells) in zones.rows.iter().zip(&zones.cells) {
            for (&to, cell) in zones.columns.iter().zip(cells) {
                let mut parts = Vec::new();
                let mut hostile = Vec::new();
                for (row, line) in expected.iter().enumerate() {
                    for (column, part) in line.iter().enumerate() {
                        let pair = (matrix.rows[row], matrix.columns[column]);
                        if (zone_of(pair.0), zone_of(pair.1)) == (from, to) {
                            parts.push((part, &*matrix.cells[row][column]));
                            hostile.push(matrix.cells[row][column].hostile);
                        }
                    }
                }
                let mut problems = zone_problems(cell, &parts, hostile);
                seen.add("open zones", usize::from(!cell.some.is_empty()));
                self.report(from, to, &mut problems, wrong);
            }
        }
    }

    fn report(
        &self,
        from: Endpoint,
        to: Endpoint,
        problems: &mut Vec<String>,
        wrong: &mut Vec<String>,
    ) {
        let head = format!("seed {}, {:?}, {from:?} > {to:?}", self.seed, self.family);
        wrong.extend(
            problems
                .drain(..)
                .map(|problem| format!("{head}: {problem}\n")),
        );
    }
}

/// What differs between the cell of two zones and the cells of their segments.
fn zone_problems(
    cell: &Cell,
    parts: &[(&Expected, &Cell)],
    hostile: Vec<HostileReach>,
) -> Vec<String> {
    let mut problems = cell_differences(cell, &Expected::joined(parts.iter().map(|part| part.0)));
    if parts.is_empty() {
        return problems;
    }
    let shows = |part: &Cell| part.witness == cell.witness && (part.answered() || !cell.answered());
    if !parts.iter().any(|(_, part)| shows(part)) {
        problems.push("the witness is no segment's, or not answered".to_owned());
    }
    if !hostile.contains(&cell.hostile) {
        problems.push(format!("{:?} is none of {hostile:?}", cell.hostile));
    }
    let any = hostile
        .iter()
        .any(|one| matches!(one, HostileReach::Larger(_)));
    if any != larger(cell).is_some() {
        problems.push(format!("{:?} of {hostile:?}", cell.hostile));
    }
    problems
}

/// One row of a matrix under test.
struct Row<'a> {
    case: &'a Case<'a>,
    pairs: &'a Pairs<'a>,
    by: By,
    from: Endpoint,
    cells: &'a [Arc<Cell>],
}

impl Row<'_> {
    fn check(&self, seen: &mut Seen, wrong: &mut Vec<String>) -> Vec<Expected> {
        let sent = self.pairs.sent(self.from);
        seen.add("packets", sent.len());
        let expected: Vec<Expected> = self
            .pairs
            .columns
            .iter()
            .map(|&to| self.pairs.cell(self.from, to, sent.iter()))
            .collect();
        let checks: Vec<Checked<'_>> = (0..expected.len())
            .map(|at| Checked {
                pairs: self.pairs,
                from: self.from,
                to: self.pairs.columns[at],
                cell: &self.cells[at],
                expected: &expected[at],
            })
            .collect();
        for check in &checks {
            let mut problems = check.problems();
            problems.extend(self.flow_problems(check, &sent, seen));
            seen.count(check.cell, self.by);
            self.case.report(self.from, check.to, &mut problems, wrong);
        }
        self.forge(&checks, seen, wrong);
        self.narrow(&sent, seen, wrong);
        expected
    }

    /// A question about one target and some services has the answer of the whole, as far as it goes.
    fn narrow(&self, sent: &[Sent], seen: &mut Seen, wrong: &mut Vec<String>) {
        let mut random = Random::new(self.case.seed ^ 0x7a77);
        let to = *random.pick(&self.pairs.columns);
        let classes = &self.case.network.classes;
        let mut services = classes.none();
        (0..classes.len())
            .filter(|_| random.percent(40))
            .for_each(|class| services.insert(class));
        let asked = sent.iter().filter(|sent| services.contains(sent.class));
        let (network, family) = (self.case.network, self.case.family);
        let question = Question {
            from: vec![self.from],
            to: vec![to],
            services: Some(services.clone()),
            ..Question::all(self.by, family, true)
        };
        let matrix = Matrix::new(network, &question, &mut |_, _| {});
        let [cells] = matrix.cells.as_slice() else {
            panic!("one sender was asked about: {:?}", matrix.rows)
        };
        let expected = self.pairs.cell(self.from, to, asked.clone());
        let check = Checked {
            pairs: self.pairs,
            from: self.from,
            to,
            cell: &cells[0],
            expected: &expected,
        };
        let mut problems = check.problems();
        let shown = [cells[0].witness, larger(&cells[0])];
        let class = |packet: Packet| {
            let ports = (packet.source_port, packet.destination_port);
            classes.class_of(packet.protocol.0, ports.0, ports.1)
        };
        let mut others = shown.into_iter().flatten().map(class);
        if others.any(|class| !services.contains(class)) {
            problems.push(format!("of a service not asked about: {shown:?}"));
        }
        if expected.reading == Reading::Pair {
            let pair = (self.from, to);
            let listed = Listed::new(self.pairs, network, family, pair, Some(&services));
            problems.extend(listed.problems(asked));
            seen.add("open when narrowed", usize::from(!expected.some.is_empty()));
        }
        self.case.report(self.from, to, &mut problems, wrong);
    }

    /// The flows of a pair: exactly what arrives, for the reasons named.
    fn flow_problems(&self, check: &Checked<'_>, sent: &[Sent], seen: &mut Seen) -> Vec<String> {
        if check.cell.reading != Reading::Pair {
            return Vec::new();
        }
        let pair = (self.from, check.to);
        let listed = Listed::new(self.pairs, self.case.network, self.case.family, pair, None);
        seen.add("flows", listed.flows.len());
        let rewritten = listed.flows.iter().filter(|flow| flow.sent != flow.arrives);
        seen.add("translated flows", rewritten.count());
        let mut problems = listed.problems(sent.iter());
        let mut services = self.case.network.classes.none();
        for flow in &listed.flows {
            services.union_with(&flow.sent.services);
        }
        if services != *check.cell.some {
            problems.push("the flows are of other services than the cell".to_owned());
        }
        problems
    }

    /// Sends as hostile devices, from addresses that are others'.
    fn forge(&self, checks: &[Checked<'_>], seen: &mut Seen, wrong: &mut Vec<String>) {
        let mut random = Random::new(self.case.seed ^ 0xf0e9);
        let sources = random.some(self.case.pool.addresses(self.case.family), FORGED);
        for segment in segments_of(self.pairs, self.from) {
            seen.add("hostile packets", self.pairs.packets(&sources).count());
            for (probe, class) in self.pairs.packets(&sources) {
                let ends = self.case.simulator.send(segment, probe, Stance::Hostile);
                for check in checks {
                    if ends.iter().any(|end| self.pairs.takes(check.to, end)) {
                        let problem = check.hostile_arrival(probe, class);
                        let mut problems = problem.into_iter().collect();
                        self.case.report(self.from, check.to, &mut problems, wrong);
                    }
                }
            }
        }
    }
}
