//! Who can reach what.

use crate::forwarding::{
    Arrival, DeviceId, Flow, Network, Place, Plan, Sender, Target, reach, returns,
};
use crate::model::{Family, HostId, SegmentId, ZoneId};
use crate::packet::{ClassSet, IntervalSet, Region};

use super::cell::{Cell, HostileReach, Reading, merge};
use super::party::{Column, Party, columns};
use super::witness::witness;

/// What the rows and columns of a matrix are.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum By {
    /// Zones.
    Zone,
    /// Segments.
    #[default]
    Segment,
    /// Hosts.
    Host,
}

/// What is asked of a matrix.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Question {
    /// Rows and columns.
    pub by: By,
    /// The family.
    pub family: Family,
    /// Whether to compare with hostile reach; about doubles the work.
    pub hostile: bool,
}

/// All cells of one family.
#[derive(Clone, Debug)]
pub struct Matrix {
    /// What was asked.
    pub question: Question,
    /// Senders.
    pub rows: Vec<Party>,
    /// Targets: the same, then gateways and routers themselves.
    pub columns: Vec<Party>,
    /// Row by row.
    pub cells: Vec<Vec<Cell>>,
}

impl Matrix {
    /// The whole matrix. Holds all cells: for thousands of segments use [`rows`].
    pub fn new(
        network: &Network<'_>,
        question: &Question,
        progress: &mut dyn FnMut(usize, usize),
    ) -> Self {
        let mut matrix = Self {
            question: question.clone(),
            rows: Vec::new(),
            columns: Vec::new(),
            cells: Vec::new(),
        };
        let plan = network.plan(question.family);
        let targets = columns(network, plan, question.by == By::Host);
        matrix.columns = targets.iter().map(|column| column.party).collect();
        rows(network, question, progress, &mut |party, cells| {
            matrix.rows.push(party);
            matrix.cells.push(cells);
        });
        if question.by == By::Zone {
            matrix = matrix.folded_to_zones(network);
        }
        matrix
    }

    /// Joins the cells of segments into cells of zones.
    fn folded_to_zones(self, network: &Network<'_>) -> Self {
        let site = network.site;
        let zone_of = |party: Party| match party {
            Party::Segment(segment) => Party::Zone(site.segment(segment).zone),
            other => other,
        };
        let zones: Vec<Party> = (0..site.zones.len())
            .map(|at| Party::Zone(ZoneId(at)))
            .collect();
        let devices = self
            .columns
            .iter()
            .copied()
            .filter(|party| matches!(party, Party::Device(_)));
        let columns: Vec<Party> = zones.iter().copied().chain(devices).collect();
        let blank = Cell::empty(Reading::Within, &network.classes);
        let mut cells = vec![vec![blank; columns.len()]; zones.len()];
        for (row, line) in self.rows.iter().zip(&self.cells) {
            let at = zones.iter().position(|&zone| zone == zone_of(*row));
            for (column, cell) in self.columns.iter().zip(line) {
                let to = columns.iter().position(|&party| party == zone_of(*column));
                if let (Some(at), Some(to)) = (at, to) {
                    cells[at][to].join(cell);
                }
            }
        }
        Self {
            question: self.question,
            rows: zones,
            columns,
            cells,
        }
    }
}

/// Computes the matrix row by row and hands each to `sink`; rows are segments (also where zones are asked
/// for) or hosts. `progress` is told the rows done and the rows in all.
pub fn rows(
    network: &Network<'_>,
    question: &Question,
    progress: &mut dyn FnMut(usize, usize),
    sink: &mut dyn FnMut(Party, Vec<Cell>),
) {
    let plan = network.plan(question.family);
    let by_host = question.by == By::Host;
    let targets = columns(network, plan, by_host);
    let extra = translated_destinations(plan, &targets);
    let senders: Vec<Party> = targets
        .iter()
        .map(|column| column.party)
        .filter(|party| !matches!(party, Party::Device(_)))
        .collect();
    let total = senders.len();
    for (done, &sender) in senders.iter().enumerate() {
        progress(done, total);
        let row = Row {
            network,
            plan,
            question,
            targets: &targets,
            extra: &extra,
        };
        sink(sender, row.compute(sender));
    }
    progress(total, total);
}

/// Destinations that some translation matches and that no column holds: sending there may arrive anywhere.
fn translated_destinations(plan: &Plan, targets: &[Column]) -> IntervalSet {
    let lines = plan
        .devices
        .iter()
        .filter_map(|device| device.filter.as_ref());
    let mut all = IntervalSet::empty();
    for line in lines.flat_map(|filter| &filter.arrivals) {
        all = match &line.destination {
            Some(destination) => all.union(destination),
            None => plan.family.full(),
        };
    }
    let held = targets
        .iter()
        .flat_map(|column| column.addresses.intervals())
        .copied()
        .collect();
    all.difference(&held)
        .difference(&plan.family.never_forwarded())
}

struct Row<'a> {
    network: &'a Network<'a>,
    plan: &'a Plan,
    question: &'a Question,
    targets: &'a [Column],
    extra: &'a IntervalSet,
}

/// What arrived at a column, by destination and services, without regard to the source.
type Reached = Vec<Region>;

impl Row<'_> {
    fn compute(&self, sender: Party) -> Vec<Cell> {
        let mut cells: Vec<Cell> = self
            .targets
            .iter()
            .map(|column| self.blank(sender, column))
            .collect();
        let mut reached: Vec<Reached> = vec![Vec::new(); self.targets.len()];
        let Some(configured) = configured(sender) else {
            return cells;
        };
        for (own, column) in self.targets.iter().enumerate() {
            if cells[own].reading == Reading::Pair {
                let target = Target {
                    addresses: &column.addresses,
                    segment: column.segment,
                };
                self.send(configured, target, Some(own), &mut cells, &mut reached);
            }
        }
        let target = Target {
            addresses: self.extra,
            segment: None,
        };
        self.send(configured, target, None, &mut cells, &mut reached);
        if self.question.hostile {
            for segment in self.hostile_segments(sender) {
                self.compare_hostile(segment, &mut cells, &reached);
            }
        }
        cells
    }

    fn blank(&self, sender: Party, column: &Column) -> Cell {
        let has_source = match sender {
            Party::Segment(segment) => !self.plan.segment(segment).addresses.is_empty(),
            Party::Host(host) => !self.plan.device(self.plan.host_index(host)).own.is_empty(),
            Party::Zone(_) | Party::Device(_) => false,
        };
        let reading = if sender == column.party || self.same_segment(sender, column.party) {
            Reading::Within
        } else if !has_source || column.addresses.is_empty() {
            Reading::NoAddresses
        } else {
            Reading::Pair
        };
        Cell::empty(reading, &self.network.classes)
    }

    /// Two hosts that share their only segment.
    fn same_segment(&self, sender: Party, target: Party) -> bool {
        let (Party::Host(one), Party::Host(other)) = (sender, target) else {
            return false;
        };
        let segments = |host: HostId| {
            let device = self.plan.device(self.plan.host_index(host));
            let mut segments: Vec<SegmentId> = device
                .interfaces
                .iter()
                .map(|interface| interface.segment)
                .collect();
            segments.dedup();
            segments
        };
        let (one, other) = (segments(one), segments(other));
        one.len() == 1 && one == other
    }

    fn send(
        &self,
        sender: Sender,
        target: Target<'_>,
        own: Option<usize>,
        cells: &mut [Cell],
        reached: &mut [Reached],
    ) {
        if target.addresses.is_empty() {
            return;
        }
        let mut missed = self.network.classes.none();
        let mut arrived: Vec<Region> = Vec::new();
        let complete = reach(
            self.network,
            self.plan,
            sender,
            target,
            &mut |arrival| match arrival {
                Arrival::Stopped(_, sent) => missed.union_with(&sent.services),
                Arrival::Delivered(place, flow) => {
                    let mut here = false;
                    for at in self.takers(place, &flow.now.destination) {
                        if cells[at].reading == Reading::Pair {
                            here |= Some(at) == own;
                            self.record(sender, place, &flow, &mut cells[at]);
                            note(&mut reached[at], &flow.sent);
                        }
                    }
                    if here {
                        arrived.push(flow.sent);
                    } else {
                        missed.union_with(&flow.sent.services);
                    }
                }
            },
        );
        let Some(own) = own else {
            return;
        };
        cells[own].complete &= complete;
        if complete {
            let every = self.every(sender, target, missed, &arrived);
            cells[own].every.union_with(&every);
        }
    }

    fn record(&self, sender: Sender, place: Place, flow: &Flow, cell: &mut Cell) {
        cell.some.union_with(&flow.sent.services);
        cell.filtered.add(flow.filtered());
        for hop in &flow.hops {
            if let DeviceId::Router(router) = self.plan.device(hop.device).id {
                merge(&mut cell.crossed, &[router]);
                if hop.filtered {
                    merge(&mut cell.rules, &[(router, hop.rule)]);
                }
            }
        }
        let back = returns(self.network, self.plan, sender, place, flow);
        let all = back.iter().any(|part| *part == flow.sent);
        cell.two_way.add(all || covered(&flow.sent, &back));
        if !back.is_empty() && !all && !covered(&flow.sent, &back) {
            cell.two_way.add(true);
        }
        if cell.witness.is_none() {
            let shown = back.first().unwrap_or(&flow.sent);
            cell.witness = witness(self.network, self.plan, shown);
        }
    }

    /// Services of which every packet arrives. What was missed on one way may have arrived on another, so
    /// where there are several the arrived parts are taken out of everything sent, one by one.
    fn every(
        &self,
        sender: Sender,
        target: Target<'_>,
        missed: ClassSet,
        arrived: &[Region],
    ) -> ClassSet {
        let all = self.network.classes.all();
        let Sender::Segment(segment) = sender else {
            return all.difference(&missed);
        };
        let plan = self.plan.segment(segment);
        if plan.first_hops.len() < 2 {
            return all.difference(&missed);
        }
        let start = Region {
            source: plan.addresses.clone(),
            destination: target.addresses.clone(),
            services: missed,
        };
        let left = left_over(start, arrived);
        left.iter()
            .fold(all, |every, part| every.difference(&part.services))
    }

    fn hostile_segments(&self, sender: Party) -> Vec<SegmentId> {
        match sender {
            Party::Segment(segment) => vec![segment],
            Party::Host(host) => {
                let device = self.plan.device(self.plan.host_index(host));
                device
                    .interfaces
                    .iter()
                    .map(|interface| interface.segment)
                    .collect()
            }
            Party::Zone(_) | Party::Device(_) => Vec::new(),
        }
    }

    fn compare_hostile(&self, segment: SegmentId, cells: &mut [Cell], reached: &[Reached]) {
        for (own, column) in self.targets.iter().enumerate() {
            if cells[own].reading == Reading::Within || column.addresses.is_empty() {
                continue;
            }
            let target = Target {
                addresses: &column.addresses,
                segment: column.segment,
            };
            let complete = self.send_hostile(segment, target, cells, reached);
            if !matches!(cells[own].hostile, HostileReach::Larger(_)) {
                cells[own].hostile = if complete {
                    HostileReach::Same
                } else {
                    HostileReach::Unknown
                };
            }
        }
        if !self.extra.is_empty() {
            let target = Target {
                addresses: self.extra,
                segment: None,
            };
            self.send_hostile(segment, target, cells, reached);
        }
    }

    /// Sends as a hostile device and marks each column that gets something no plain device gets through.
    fn send_hostile(
        &self,
        segment: SegmentId,
        target: Target<'_>,
        cells: &mut [Cell],
        reached: &[Reached],
    ) -> bool {
        reach(
            self.network,
            self.plan,
            Sender::Hostile(segment),
            target,
            &mut |arrival| {
                let Arrival::Delivered(place, flow) = arrival else {
                    return;
                };
                for at in self.takers(place, &flow.now.destination) {
                    let known = matches!(cells[at].hostile, HostileReach::Larger(_));
                    if known || cells[at].reading == Reading::Within {
                        continue;
                    }
                    let left = left_over(without_source(&flow.sent), &reached[at]);
                    let part = left.into_iter().next();
                    let part = part.map(|part| Region {
                        source: flow.sent.source.clone(),
                        ..part
                    });
                    let packet = part.and_then(|part| witness(self.network, self.plan, &part));
                    if let Some(packet) = packet {
                        cells[at].hostile = HostileReach::Larger(packet);
                    }
                }
            },
        )
    }

    /// The columns to which a delivery belongs.
    fn takers(&self, place: Place, destinations: &IntervalSet) -> Vec<usize> {
        let segments = self.plan.segments.len();
        match (self.question.by, place) {
            (By::Host, _) => {
                let numbered = self.targets.iter().enumerate();
                let takers =
                    numbered.filter(|(_, column)| column.takes(self.plan, place, destinations));
                takers.map(|(at, _)| at).collect()
            }
            (_, Place::Segment(segment)) => vec![segment.0],
            (_, Place::Router(router)) => vec![segments + router.0],
        }
    }
}

fn configured(party: Party) -> Option<Sender> {
    match party {
        Party::Segment(segment) => Some(Sender::Segment(segment)),
        Party::Host(host) => Some(Sender::Host(host)),
        Party::Zone(_) | Party::Device(_) => None,
    }
}

fn without_source(region: &Region) -> Region {
    Region {
        source: IntervalSet::point(0),
        ..region.clone()
    }
}

/// Notes destinations and services that arrived; what is known already is not noted again.
fn note(reached: &mut Reached, sent: &Region) {
    let new = without_source(sent);
    let known = |old: &Region| {
        new.services.is_subset(&old.services) && new.destination.is_subset(&old.destination)
    };
    if !reached.iter().any(known) {
        reached.push(new);
    }
}

/// What is left of a region without the given parts.
fn left_over(region: Region, parts: &[Region]) -> Vec<Region> {
    let mut left = vec![region];
    for part in parts {
        left = left
            .into_iter()
            .flat_map(|piece| piece.difference(part))
            .collect();
        if left.is_empty() {
            break;
        }
    }
    left
}

fn covered(region: &Region, parts: &[Region]) -> bool {
    !parts.is_empty() && left_over(region.clone(), parts).is_empty()
}
