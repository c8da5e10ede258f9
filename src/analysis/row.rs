//! One row of a matrix: everything that one sender reaches.

use std::borrow::Cow;

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use crate::forwarding::{
    Arrival, DeviceId, Flow, Network, Place, Plan, Sender, Target, reach, reach_beyond,
};
use crate::model::SegmentId;
use crate::packet::{ClassSet, IntervalSet, Region};

use super::cell::{Cell, Extent, HostileReach, Reading, merge};
use super::matrix::{By, Question};
use super::missed::Missed;
use super::party::{Column, Party, forwardable, within};
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
    /// Whether some device on the way may hand one packet to several routers.
    pub(super) forks: bool,
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
            // What is addressed to the sender's own segment may still be translated and arrive elsewhere.
            if cells[own].reading != Reading::NoAddresses {
                let target = self.target(&column.addresses, column.segment);
                let own = (cells[own].reading == Reading::Pair).then_some(own);
                self.send(configured, target, own, &mut cells, &mut reached);
            }
        }
        let target = self.target(self.extra, None);
        self.send(configured, target, None, &mut cells, &mut reached);
        if self.question.hostile {
            self.compare_hostile(sender, &mut cells, &reached);
        }
        cells
    }

    fn blank(&self, sender: Party, column: &Column) -> Cell {
        let has_source = match sender {
            Party::Segment(segment) => !self.plan.segment(segment).addresses.is_empty(),
            Party::Host(host) => !forwardable(self.plan, self.plan.host_index(host)).is_empty(),
            Party::Zone(_) | Party::Device(_) => false,
        };
        let reading = if within(self.plan, sender, column.party) {
            Reading::Within
        } else if !has_source || column.addresses.is_empty() {
            Reading::NoAddresses
        } else {
            Reading::Pair
        };
        Cell::empty(reading, &self.network.classes)
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
        let mut missed = Missed::new(self.asked(), self.plan, sender, self.forks);
        let mut replies = Replies::new(self.network, self.plan, sender, target);
        let complete = reach(
            self.network,
            self.plan,
            sender,
            target,
            &mut |arrival| match arrival {
                Arrival::Stopped(_, sent) => missed.add(&sent),
                Arrival::Delivered(place, flow) => {
                    let mut mine = None;
                    for (at, part) in self.takers(place, &flow) {
                        if cells[at].reading == Reading::Pair {
                            self.record(&mut replies, place, &part, &mut cells[at]);
                            if self.question.hostile {
                                note(&mut reached[at], part.sent());
                            }
                            if Some(at) == own {
                                mine = Some(part);
                            }
                        }
                    }
                    missed.deliver(flow.sent(), mine.as_deref().map(Flow::sent));
                }
            },
        );
        if !complete {
            // What was not listed may have arrived anywhere.
            cells.iter_mut().for_each(|cell| cell.complete = false);
        }
        if let Some(own) = own.filter(|_| complete) {
            cells[own].every = missed.others();
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
        let better = !cell.answered() && extent != Extent::None;
        if cell.witness.is_none() || better {
            let shown = answered.as_ref().unwrap_or(flow.sent());
            cell.witness = witness(self.network, self.plan, shown);
        }
        cell.two_way = cell.two_way.and(extent);
    }

    fn compare_hostile(&self, sender: Party, cells: &mut [Cell], reached: &[Reached]) {
        let mut complete = true;
        let segments = configured(sender).map(|own| own.segments(self.plan));
        for segment in segments.into_iter().flatten() {
            for column in self.targets {
                let target = self.target(&column.addresses, column.segment);
                complete &= self.send_hostile(sender, segment, target, cells, reached);
            }
            let target = self.target(self.extra, None);
            complete &= self.send_hostile(sender, segment, target, cells, reached);
        }
        for (cell, column) in cells.iter_mut().zip(self.targets) {
            if cell.reading == Reading::Within || column.addresses.is_empty() {
                continue;
            }
            let larger = matches!(cell.hostile, HostileReach::Larger(_));
            match complete && cell.complete {
                true if larger => {}
                true => cell.hostile = HostileReach::Same,
                // What was not listed for a plain device may be what this one gets through.
                false if larger && cell.complete => {}
                false => cell.hostile = HostileReach::Unknown,
            }
        }
    }

    /// Sends as a hostile device and marks each column that gets something no plain device gets through.
    fn send_hostile(
        &self,
        sender: Party,
        segment: SegmentId,
        target: Target<'_>,
        cells: &mut [Cell],
        reached: &[Reached],
    ) -> bool {
        if target.addresses.is_empty() {
            return true;
        }
        let mut compare = |arrival| {
            let Arrival::Delivered(place, flow) = arrival else {
                return;
            };
            for (at, part) in self.takers(place, &flow) {
                let known = matches!(cells[at].hostile, HostileReach::Larger(_));
                if known || cells[at].reading == Reading::Within {
                    continue;
                }
                if is_known(&reached[at], part.sent()) {
                    continue;
                }
                let left = left_over(without_source(part.sent()), &reached[at]);
                let part = left.into_iter().next().map(|left| Region {
                    source: part.sent().source.clone(),
                    ..left
                });
                let packet = part.and_then(|part| witness(self.network, self.plan, &part));
                if let Some(packet) = packet {
                    cells[at].hostile = HostileReach::Larger(packet);
                }
            }
        };
        let (network, plan) = (self.network, self.plan);
        match sender {
            // One host sends less than all plain devices of its segment.
            Party::Host(_) => {
                let hostile = Sender::Hostile(segment);
                reach(network, plan, hostile, target, &mut compare)
            }
            _ => reach_beyond(network, plan, segment, target, &mut compare),
        }
    }

    /// The columns to which a delivery belongs, each with its part.
    fn takers<'f>(&self, place: Place, flow: &'f Flow) -> SmallVec<[(usize, Cow<'f, Flow>); 1]> {
        if self.question.by != By::Host {
            let at = self.places.0.get(&place).into_iter();
            return at.map(|&at| (at, Cow::Borrowed(flow))).collect();
        }
        let numbered = self.targets.iter().enumerate();
        let takers = numbered.filter_map(|(at, column)| {
            Some((at, column.takes(self.network, self.plan, place, flow)?))
        });
        takers.collect()
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
