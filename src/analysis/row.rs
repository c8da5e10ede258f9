//! One row of a matrix: everything that one sender reaches.

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use crate::forwarding::{
    Arrival, DeviceId, Flow, Network, Place, Plan, Sender, Target, reach, reach_beyond,
};
use crate::model::{HostId, SegmentId};
use crate::packet::{ClassSet, IntervalSet, Region};

use super::cell::{Cell, HostileReach, Reading, merge};
use super::matrix::{By, Question};
use super::party::{Column, Party};
use super::replies::{Replies, left_over};
use super::witness::witness;

/// What is needed to compute a row.
pub(super) struct Row<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
    pub(super) question: &'a Question,
    pub(super) targets: &'a [Column],
    pub(super) places: &'a Places,
    pub(super) extra: &'a IntervalSet,
}

/// Which column a place is, for matrices by segment.
pub(super) struct Places(FxHashMap<Place, usize>);

impl Places {
    pub(super) fn new(targets: &[Column]) -> Self {
        let numbered = targets.iter().enumerate();
        let places = numbered.filter_map(|(at, column)| match column.party {
            Party::Segment(segment) => Some((Place::Segment(segment), at)),
            Party::Device(router) => Some((Place::Router(router), at)),
            Party::Zone(_) | Party::Host(_) => None,
        });
        Self(places.collect())
    }
}

/// What arrived at a column, by destination and services, without regard to the source.
type Reached = Vec<Region>;

impl Row<'_> {
    pub(super) fn compute(&self, sender: Party) -> Vec<Cell> {
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
                let target = self.target(&column.addresses, column.segment);
                self.send(configured, target, Some(own), &mut cells, &mut reached);
            }
        }
        let target = self.target(self.extra, None);
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
        let mut replies = Replies::new(self.network, self.plan, sender, target);
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
                            self.record(&mut replies, place, &flow, &mut cells[at]);
                            if self.question.hostile {
                                note(&mut reached[at], flow.sent());
                            }
                        }
                    }
                    if here {
                        arrived.push(flow.into_sent());
                    } else {
                        missed.union_with(&flow.sent().services);
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

    fn record(&self, replies: &mut Replies<'_>, place: Place, flow: &Flow, cell: &mut Cell) {
        cell.some.union_with(&flow.sent().services);
        cell.filtered.add(flow.filtered());
        for hop in &flow.hops {
            if let DeviceId::Router(router) = self.plan.device(hop.device).id {
                merge(&mut cell.crossed, &[router]);
                if hop.filtered {
                    merge(&mut cell.rules, &[(router, hop.rule)]);
                }
            }
        }
        let (extent, answered) = replies.of(place, flow);
        cell.two_way = cell.two_way.and(extent);
        if cell.witness.is_none() {
            cell.witness = witness(
                self.network,
                self.plan,
                answered.as_ref().unwrap_or(flow.sent()),
            );
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
        let all = self.asked();
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
            let target = self.target(&column.addresses, column.segment);
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
            let target = self.target(self.extra, None);
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
        reach_beyond(self.network, self.plan, segment, target, &mut |arrival| {
            let Arrival::Delivered(place, flow) = arrival else {
                return;
            };
            for at in self.takers(place, &flow.now.destination) {
                let known = matches!(cells[at].hostile, HostileReach::Larger(_));
                if known || cells[at].reading == Reading::Within {
                    continue;
                }
                if is_known(&reached[at], flow.sent()) {
                    continue;
                }
                let left = left_over(without_source(flow.sent()), &reached[at]);
                let part = left.into_iter().next();
                let part = part.map(|part| Region {
                    source: flow.sent().source.clone(),
                    ..part
                });
                let packet = part.and_then(|part| witness(self.network, self.plan, &part));
                if let Some(packet) = packet {
                    cells[at].hostile = HostileReach::Larger(packet);
                }
            }
        })
    }

    /// The columns to which a delivery belongs.
    fn takers(&self, place: Place, destinations: &IntervalSet) -> SmallVec<[usize; 1]> {
        if self.question.by != By::Host {
            return self.places.0.get(&place).copied().into_iter().collect();
        }
        let numbered = self.targets.iter().enumerate();
        let takers = numbered.filter(|(_, column)| column.takes(self.plan, place, destinations));
        takers.map(|(at, _)| at).collect()
    }

    /// What to send to some addresses.
    fn target<'t>(&'t self, addresses: &'t IntervalSet, segment: Option<SegmentId>) -> Target<'t> {
        Target {
            addresses,
            segment,
            services: self.question.services.as_ref(),
        }
    }

    /// The services asked about.
    fn asked(&self) -> ClassSet {
        let asked = self.question.services.clone();
        asked.unwrap_or_else(|| self.network.classes.all())
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

/// Whether one part that arrived holds all of these destinations and services.
fn is_known(reached: &[Region], sent: &Region) -> bool {
    reached.iter().any(|old| {
        sent.services.is_subset(&old.services) && sent.destination.is_subset(&old.destination)
    })
}

/// Notes destinations and services that arrived, whatever the source.
fn note(reached: &mut Reached, sent: &Region) {
    if is_known(reached, sent) {
        return;
    }
    let same = reached
        .iter_mut()
        .find(|old| old.destination == sent.destination);
    match same {
        Some(old) => old.services.union_with(&sent.services),
        None => reached.push(without_source(sent)),
    }
}
