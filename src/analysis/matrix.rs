//! Who can reach what.

use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_forwarding::{Network, Origin, Plan};
use boundwalk_model::{Family, HostId, ICMP, ICMPV6, SegmentId, Service, Site, ZoneId};
use boundwalk_packet::{ClassSet, Interval, IntervalSet};

use super::cell::{Cell, HostileReach, Reading};
use super::missed::forks;
use super::party::{Column, Endpoint, Places, chosen, columns};
use super::question::{By, Question};
use super::row::Row;
use super::short_way::Cuts;

/// The messages of ICMP and ICMPv6: they tell of what people use failing, and are not used by themselves.
pub fn messages(network: &Network<'_>) -> ClassSet {
    let own = [(ICMP, Family::V4), (ICMPV6, Family::V6)];
    let boxes = own
        .iter()
        .filter_map(|&(protocol, family)| Service::Whole(protocol).packets(family));
    network.classes.of(&boxes.collect::<Vec<_>>())
}

/// All cells of one family.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Matrix {
    /// What was asked.
    pub question: Question,
    /// Senders.
    pub rows: Vec<Endpoint>,
    /// Targets: the same, then gateways and routers themselves.
    pub columns: Vec<Endpoint>,
    /// Row by row.
    pub cells: Vec<Vec<Arc<Cell>>>,
}

impl Matrix {
    /// The whole matrix. Holds all cells: for thousands of segments use [`rows()`].
    pub fn new(
        network: &Network<'_>,
        question: &Question,
        progress: &mut dyn FnMut(usize, usize),
    ) -> Self {
        let plan = network.plan(question.family);
        let targets = asked_columns(network, plan, question);
        let columns: Vec<Endpoint> = targets.iter().map(|column| column.party).collect();
        if question.by == By::Zone {
            let mut zones = ByZone::new(network, &columns);
            single_rows(network, question, progress, &mut |party, cells| {
                zones.add(party, cells.iter());
            });
            return zones.finish(question.clone());
        }
        let mut matrix = Self {
            question: question.clone(),
            rows: Vec::new(),
            columns,
            cells: Vec::new(),
        };
        rows(network, question, progress, &mut |party, cells| {
            matrix.rows.push(party);
            matrix.cells.push(cells);
        });
        matrix
    }

    /// The matrix by zone of what is one by segment: joins its cells.
    #[must_use]
    pub fn by_zones(&self, network: &Network<'_>) -> Self {
        let mut zones = ByZone::new(network, &self.columns);
        for (&party, cells) in self.rows.iter().zip(&self.cells) {
            zones.add(party, cells.iter().map(|cell| &**cell));
        }
        zones.finish(Question {
            by: By::Zone,
            ..self.question.clone()
        })
    }
}

/// Cells by segment, joined into cells by zone as they come.
struct ByZone<'n> {
    site: &'n Site,
    blank: Cell,
    rows: Vec<Endpoint>,
    columns: Vec<Endpoint>,
    /// For each column by segment the one that it is a part of.
    places: Vec<usize>,
    cells: Vec<Vec<Cell>>,
}

impl<'n> ByZone<'n> {
    /// For columns by segment.
    fn new(network: &Network<'n>, segments: &[Endpoint]) -> Self {
        let site = network.site;
        let zones: Vec<Endpoint> = (0..site.zones.len())
            .map(|at| Endpoint::Zone(ZoneId(at)))
            .collect();
        let of = |wanted: fn(&Endpoint) -> bool| segments.iter().copied().filter(wanted);
        let devices = of(|party| matches!(party, Endpoint::Device(_)));
        let unclaimed = of(|party| matches!(party, Endpoint::Unclaimed(..)));
        let columns: Vec<Endpoint> = zones
            .iter()
            .copied()
            .chain(devices)
            .chain(unclaimed)
            .collect();
        let numbers: FxHashMap<Endpoint, usize> = columns
            .iter()
            .enumerate()
            .map(|(at, &party)| (party, at))
            .collect();
        let place = |&party: &Endpoint| numbers[&zone_of(site, party)];
        let blank = Cell::empty(Reading::Within, &network.classes);
        Self {
            site,
            cells: vec![vec![blank.clone(); columns.len()]; zones.len()],
            places: segments.iter().map(place).collect(),
            rows: zones,
            columns,
            blank,
        }
    }

    fn add<'c>(&mut self, party: Endpoint, cells: impl Iterator<Item = &'c Cell>) {
        let own = zone_of(self.site, party);
        let row = match self.rows.iter().position(|&row| row == own) {
            Some(row) => row,
            None => {
                self.rows.push(own);
                self.cells
                    .push(vec![self.blank.clone(); self.columns.len()]);
                self.rows.len() - 1
            }
        };
        for (&column, cell) in self.places.iter().zip(cells) {
            self.cells[row][column].join(cell);
        }
    }

    fn finish(self, question: Question) -> Matrix {
        let shared = |line: Vec<Cell>| line.into_iter().map(Arc::new).collect();
        Matrix {
            question,
            rows: self.rows,
            columns: self.columns,
            cells: self.cells.into_iter().map(shared).collect(),
        }
    }
}

/// The zone of a segment; what is none stays itself.
fn zone_of(site: &Site, party: Endpoint) -> Endpoint {
    match party {
        Endpoint::Segment(segment) => Endpoint::Zone(site.segment(segment).zone),
        other => other,
    }
}

/// Cells and sets of services that are the same, held once.
#[derive(Default)]
struct Shared {
    cells: FxHashSet<Arc<Cell>>,
    sets: FxHashSet<Arc<ClassSet>>,
}

impl Shared {
    fn cell(&mut self, mut cell: Cell) -> Arc<Cell> {
        for set in [&mut cell.some, &mut cell.every, &mut cell.plain] {
            match self.sets.get(set) {
                Some(known) => *set = Arc::clone(known),
                None => {
                    self.sets.insert(Arc::clone(set));
                }
            }
        }
        // Packets differ from cell to cell.
        if cell.witness.is_some() || matches!(cell.hostile, HostileReach::Larger(_)) {
            return Arc::new(cell);
        }
        if let Some(known) = self.cells.get(&cell) {
            return Arc::clone(known);
        }
        let cell = Arc::new(cell);
        self.cells.insert(Arc::clone(&cell));
        cell
    }
}

/// Computes the matrix row by row and hands each to `sink`; rows are segments (also where zones are asked
/// for) or hosts. `progress` is told the rows done and the rows in all.
pub fn rows(
    network: &Network<'_>,
    question: &Question,
    progress: &mut dyn FnMut(usize, usize),
    sink: &mut dyn FnMut(Endpoint, Vec<Arc<Cell>>),
) {
    let mut shared = Shared::default();
    single_rows(network, question, progress, &mut |party, cells| {
        sink(
            party,
            cells.into_iter().map(|cell| shared.cell(cell)).collect(),
        );
    });
}

/// The same, each cell by itself.
fn single_rows(
    network: &Network<'_>,
    question: &Question,
    progress: &mut dyn FnMut(usize, usize),
    sink: &mut dyn FnMut(Endpoint, Vec<Cell>),
) {
    let plan = network.plan(question.family);
    let all = columns(network, plan, question.by == By::Host);
    let targets = asked_columns(network, plan, question);
    let extra = elsewhere(plan, &all, &targets);
    let places = Places::new(&targets);
    let senders = senders(network, question);
    let total = senders.len();
    let forks = forks(plan);
    let destinations = Cuts::default();
    let row = Row {
        network,
        plan,
        question,
        targets: &targets,
        places: &places,
        extra: &extra,
        destinations: &destinations,
        sources: &Cuts::default(),
        forks,
    };
    // A few at a time, so that the first ones are handed on while later ones are computed.
    let together = 4 * rayon::current_num_threads();
    for (number, senders) in senders.chunks(together).enumerate() {
        progress(number * together, total);
        let computed: Vec<Vec<Cell>> = senders
            .par_iter()
            .map(|&sender| {
                let sources = &Cuts::default();
                Row { sources, ..row }.compute(sender)
            })
            .collect();
        for (&sender, cells) in senders.iter().zip(computed) {
            // Of what has no address in this family nothing is asked.
            let idle =
                |cell: &Cell| matches!(cell.hostile, HostileReach::Same | HostileReach::NotAsked);
            let passes = |cell: &Cell| !idle(cell);
            if matches!(sender, Endpoint::Unclaimed(..)) && !cells.iter().any(passes) {
                continue;
            }
            sink(sender, cells);
        }
    }
    progress(total, total);
}

fn senders(network: &Network<'_>, question: &Question) -> Vec<Endpoint> {
    let site = network.site;
    let all: Vec<Endpoint> = match question.by {
        By::Host => (0..site.hosts.len())
            .map(HostId)
            .map(Endpoint::Host)
            .collect(),
        By::Zone | By::Segment => site.segment_ids().map(Endpoint::Segment).collect(),
    };
    all.into_iter()
        .chain(unclaimed_senders(network, question))
        .filter(|&party| chosen(site, &question.from, party))
        .collect()
}

/// Unclaimed ports from which frames get anywhere.
fn unclaimed_senders(network: &Network<'_>, question: &Question) -> Vec<Endpoint> {
    if !question.hostile || question.by == By::Host {
        return Vec::new();
    }
    let far = network
        .fabric
        .unclaimed_ids()
        .map(Origin::Unclaimed)
        .filter(|&group| {
            let reached = network.wiring.from_hostile(group);
            !reached.interfaces.is_empty() || !reached.free_ports.is_empty()
        });
    far.map(|group| Endpoint::of(&network.fabric, group))
        .collect()
}

/// Unclaimed ports where frames of some segment come out; those of hostile devices only if asked for.
fn unclaimed_columns(network: &Network<'_>, question: &Question) -> Vec<Column> {
    if question.by == By::Host {
        return Vec::new();
    }
    let wiring = &network.wiring;
    let comes_out = |from, at| {
        let hostile = || wiring.heard_at(wiring.from_hostile(Origin::Segment(from)), at);
        wiring.hears(from, at) || question.hostile && hostile()
    };
    let heard = network
        .fabric
        .unclaimed_ids()
        .map(Origin::Unclaimed)
        .filter(|&at| {
            let mut segments = network.site.segment_ids();
            segments.any(|from| comes_out(from, at))
        });
    let columns = heard.map(|at| Column {
        party: Endpoint::of(&network.fabric, at),
        addresses: IntervalSet::empty(),
        segment: None,
    });
    columns.collect()
}

fn asked_columns(network: &Network<'_>, plan: &Plan, question: &Question) -> Vec<Column> {
    let mut targets = columns(network, plan, question.by == By::Host);
    targets.extend(unclaimed_columns(network, question));
    targets.retain(|column| chosen(network.site, &question.to, column.party));
    targets
}

/// Destinations of others that may be delivered at a column all the same: those that some translation
/// matches, and those that a device sends out on a column's segment though they are another's. Where all
/// columns are asked about, the latter are sent to anyway.
pub(super) fn elsewhere(plan: &Plan, all: &[Column], asked: &[Column]) -> IntervalSet {
    let mut others = Vec::new();
    if asked.len() < all.len() {
        let segments = asked.iter().filter_map(|column| column.segment);
        for segment in segments {
            others.extend(sent_out_on(plan, segment));
        }
    }
    let others: IntervalSet = others.into_iter().collect();
    let others = others.intersection(&held(all)).union(&translated(plan));
    others.difference(&held(asked))
}

/// Destinations that packets are sent to when everything is asked about: addresses that somebody has, and those that
/// some translation matches.
pub(super) fn addressed(network: &Network<'_>, plan: &Plan) -> IntervalSet {
    let all = columns(network, plan, false);
    let both = held(&all).union(&translated(plan));
    both.difference(&plan.nobody)
}

fn held(columns: &[Column]) -> IntervalSet {
    columns
        .iter()
        .flat_map(|column| column.addresses.intervals())
        .copied()
        .collect()
}

/// Destinations that some device sends out on a segment.
fn sent_out_on(plan: &Plan, segment: SegmentId) -> Vec<Interval> {
    let mut there = Vec::new();
    for device in &plan.devices {
        let routed = device.routes.destinations(|entry| {
            let egress = entry.next_hop.interface();
            egress.is_some_and(|egress| device.interfaces[egress].segment == segment)
        });
        there.extend_from_slice(routed.intervals());
    }
    there
}

/// Destinations that some translation matches, without those that no router forwards.
fn translated(plan: &Plan) -> IntervalSet {
    let all = plan
        .devices
        .iter()
        .filter_map(|device| device.filter.as_ref())
        .flat_map(|filter| &filter.arrivals)
        .fold(IntervalSet::empty(), |all, line| match &line.destination {
            Some(destination) => all.union(destination),
            None => plan.family.full(),
        });
    all.difference(&plan.nobody)
}
