//! One row of a matrix: everything that one sender reaches.

use std::borrow::Cow;
use std::sync::Arc;

use smallvec::SmallVec;

use boundwalk_forwarding::{
    Arrival, DeviceId, Flow, Hop, Network, Origin, Place, Plan, Sender, Target, WalkCoverage,
    reach, reach_beyond,
};
use boundwalk_model::SegmentId;
use boundwalk_packet::{ClassSet, IntervalSet, Region};

use super::cell::{Cell, Extent, HostileReach, Reading, merge};
use super::missed::Missed;
use super::party::{Column, Endpoint, Places, forwardable, within};
use super::question::{By, Question};
use super::reached::{Reached, without_source};
use super::replies::{Replies, left_over};
use super::short_way::Cuts;
use super::witness::{representative, witness};

/// What is needed to compute a row.
#[derive(Clone, Copy)]
pub(super) struct Row<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
    pub(super) question: &'a Question,
    pub(super) targets: &'a [Column],
    pub(super) places: &'a Places,
    pub(super) extra: &'a IntervalSet,
    /// Destinations, for all rows.
    pub(super) destinations: &'a Cuts,
    /// Sources, for this one.
    pub(super) sources: &'a Cuts,
    /// Whether some device on the way may hand one packet to several routers.
    pub(super) forks: bool,
}

impl Row<'_> {
    pub(super) fn compute(&self, sender: Endpoint) -> Vec<Cell> {
        let mut cells: Vec<Cell> = self
            .targets
            .iter()
            .map(|column| self.blank(sender, column))
            .collect();
        let mut reached: Vec<Reached> = Vec::new();
        reached.resize_with(self.targets.len(), Reached::default);
        if let Some(configured) = configured(sender) {
            self.send_configured(configured, &mut cells, &mut reached);
        }
        if self.question.hostile {
            self.compare_hostile(sender, &mut cells, &reached);
        }
        for (cell, column) in cells.iter_mut().zip(self.targets) {
            if let (Endpoint::Segment(from), Endpoint::Unclaimed(..)) = (sender, column.party) {
                *cell = self.comes_out(from, column.party);
            }
        }
        cells
    }

    fn send_configured(&self, configured: Sender, cells: &mut [Cell], reached: &mut [Reached]) {
        for (own, column) in self.targets.iter().enumerate() {
            // What is addressed to the sender's own segment may still be translated and arrive elsewhere.
            if cells[own].reading != Reading::NoAddresses {
                let target = self.target(&column.addresses, column.segment);
                let own = (cells[own].reading == Reading::Pair).then_some(own);
                self.send(configured, target, own, cells, reached);
            }
        }
        let target = self.target(self.extra, None);
        self.send(configured, target, None, cells, reached);
    }

    fn blank(&self, sender: Endpoint, column: &Column) -> Cell {
        let has_source = match sender {
            Endpoint::Segment(segment) => !self.plan.segment(segment).addresses.is_empty(),
            Endpoint::Host(host) => !forwardable(self.plan, self.plan.host_index(host)).is_empty(),
            // Whoever plugs in there takes any source.
            Endpoint::Unclaimed(..) => true,
            Endpoint::Zone(_) | Endpoint::Device(_) => false,
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
        let mut missed = Missed::new(
            self.asked(),
            self.plan,
            sender,
            target.addresses,
            self.forks,
        );
        let mut replies = Replies::new(self.network, self.plan, sender, target);
        let recorded = (&mut *cells, &mut *reached);
        let short = self.send_short(sender, target, own, (&mut replies, &mut missed), recorded);
        let coverage = short.unwrap_or_else(|| {
            let recorded = (&mut *cells, reached);
            self.send_long(sender, target, own, (&mut replies, &mut missed), recorded)
        });
        // What was not listed may have arrived anywhere.
        cells
            .iter_mut()
            .for_each(|cell| cell.coverage.note(coverage));
        if let Some(own) = own.filter(|_| coverage.is_complete()) {
            cells[own].every = Arc::new(missed.others());
        }
    }

    /// Sends and records piece by piece.
    fn send_long(
        &self,
        sender: Sender,
        target: Target<'_>,
        own: Option<usize>,
        (replies, missed): (&mut Replies<'_>, &mut Missed<'_>),
        (cells, reached): (&mut [Cell], &mut [Reached]),
    ) -> WalkCoverage {
        reach(
            self.network,
            self.plan,
            sender,
            target,
            &mut |arrival| match arrival {
                Arrival::Stopped(_, stopped) => missed.stop(&stopped),
                Arrival::Delivered(place, flow) => {
                    let mut mine = None;
                    for (at, part) in self.takers(place, &flow) {
                        if cells[at].reading == Reading::Pair {
                            self.record(replies, place, &part, &mut cells[at]);
                            if self.question.hostile {
                                reached[at].note(part.sent());
                            }
                            if Some(at) == own {
                                mine = Some(part);
                            }
                        }
                    }
                    let mine = mine.as_deref().map(Flow::sent);
                    missed.deliver(&flow, mine);
                }
            },
        )
    }

    pub(super) fn record(
        &self,
        replies: &mut Replies<'_>,
        place: Place,
        flow: &Flow,
        cell: &mut Cell,
    ) {
        let host = flow.host.and_then(|host| match self.plan.device(host).id {
            DeviceId::Host(host) => Some(host),
            DeviceId::Router(_) => None,
        });
        cell.add_services(flow.sent().services.bits(), host.is_some());
        merge(&mut cell.hosts, host.as_slice());
        cell.filtered.add(flow.filtered());
        self.note_crossed(flow, |hop| hop.rule, cell);
        let (extent, answered) = replies.of(place, flow);
        let better = !cell.answered() && matches!(extent, Extent::Some | Extent::All);
        if cell.witness.is_none() || better {
            let shown = answered.as_ref().unwrap_or(flow.sent());
            cell.witness = witness(self.network, self.plan, shown);
        }
        cell.two_way = cell.two_way.and(extent);
    }

    /// Notes the gateways and routers that a flow crossed, with the rules that permitted it.
    pub(super) fn note_crossed(
        &self,
        flow: &Flow,
        rule: impl Fn(&Hop) -> Option<usize>,
        cell: &mut Cell,
    ) {
        for hop in &flow.hops {
            if let DeviceId::Router(router) = self.plan.device(hop.device).id {
                merge(&mut cell.crossed, &[router]);
                if hop.filtered {
                    merge(&mut cell.rules, &[(router, rule(hop))]);
                }
            }
        }
    }

    fn compare_hostile(&self, sender: Endpoint, cells: &mut [Cell], reached: &[Reached]) {
        let mut coverage = WalkCoverage::Complete;
        for origin in self.origins(sender) {
            for column in self.targets {
                let target = self.target(&column.addresses, column.segment);
                coverage.note(self.send_hostile(sender, origin, target, cells, reached));
            }
            let target = self.target(self.extra, None);
            coverage.note(self.send_hostile(sender, origin, target, cells, reached));
        }
        let complete = coverage.is_complete();
        for (cell, column) in cells.iter_mut().zip(self.targets) {
            if cell.reading == Reading::Within || column.addresses.is_empty() {
                continue;
            }
            let larger = matches!(cell.hostile, HostileReach::Larger(_));
            match complete && cell.complete() {
                true if larger => {}
                true => cell.hostile = HostileReach::Same,
                // What was not listed for a plain device may be what this one gets through.
                false if larger && cell.complete() => {}
                false => cell.hostile = HostileReach::Unknown,
            }
        }
    }

    /// Sends as a hostile device and marks each column that gets something no plain device gets through.
    fn send_hostile(
        &self,
        sender: Endpoint,
        origin: Origin,
        target: Target<'_>,
        cells: &mut [Cell],
        reached: &[Reached],
    ) -> WalkCoverage {
        if target.addresses.is_empty() {
            return WalkCoverage::Complete;
        }
        if let Some(coverage) = self.send_hostile_short(origin, target, cells, reached) {
            return coverage;
        }
        let mut compare = |arrival| {
            let Arrival::Delivered(place, flow) = arrival else {
                return;
            };
            for (at, part) in self.takers(place, &flow) {
                if !self.is_settled(&cells[at]) {
                    self.mark(part.sent(), &mut cells[at], &reached[at]);
                }
            }
        };
        let (network, plan) = (self.network, self.plan);
        match sender {
            // One host sends less than all plain devices of its segment.
            Endpoint::Host(_) => {
                let hostile = Sender::Hostile(origin);
                reach(network, plan, hostile, target, &mut compare)
            }
            _ => reach_beyond(network, plan, origin, target, &mut compare),
        }
    }

    /// Marks a cell where what a hostile device sent holds more than plain ones get through.
    pub(super) fn mark(&self, sent: &Region, cell: &mut Cell, reached: &Reached) {
        if reached.holds(sent) {
            return;
        }
        let left = left_over(without_source(sent), &reached.regions());
        let part = left.into_iter().next().map(|left| Region {
            source: sent.source.clone(),
            ..left
        });
        let packet = part.and_then(|part| witness(self.network, self.plan, &part));
        if let Some(packet) = packet {
            cell.hostile = HostileReach::Larger(packet);
        }
    }

    /// Where a hostile device beside a sender may be.
    fn origins(&self, sender: Endpoint) -> Vec<Origin> {
        match sender {
            Endpoint::Unclaimed(..) => {
                let mut all = self.network.fabric.origins();
                let own = all.find(|&origin| Endpoint::of(&self.network.fabric, origin) == sender);
                own.into_iter().collect()
            }
            _ => configured(sender)
                .map(|own| own.segments(self.plan))
                .into_iter()
                .flatten()
                .map(Origin::Segment)
                .collect(),
        }
    }

    /// What of a segment's frames comes out at unclaimed ports, where nobody has an address.
    fn comes_out(&self, from: SegmentId, ports: Endpoint) -> Cell {
        let (network, plan) = (self.network, self.plan);
        let blank = Cell::empty(Reading::Pair, &network.classes);
        let Some(group) = self.origins(ports).into_iter().next() else {
            return blank;
        };
        let wiring = &network.wiring;
        let own = &plan.segment(from).addresses;
        let Some(source) = representative(plan, own) else {
            return Cell::empty(Reading::NoAddresses, &network.classes);
        };
        let source = IntervalSet::point(source);
        let inside = Region {
            destination: own.difference(&source),
            source,
            services: self.asked(),
        };
        let packet = witness(network, plan, &inside);
        let mut cell = blank;
        if wiring.hears(from, group) {
            let back = wiring.from_hostile(group);
            let asked = Arc::new(self.asked());
            cell.some = Arc::clone(&asked);
            cell.plain = Arc::clone(&asked);
            cell.every = asked;
            cell.filtered = Extent::None;
            cell.two_way = if wiring.touches(back, from) {
                Extent::All
            } else {
                Extent::None
            };
            cell.witness = packet;
        }
        let heard = wiring.heard_at(wiring.from_hostile(Origin::Segment(from)), group);
        if self.question.hostile {
            cell.hostile = match packet.filter(|_| heard && cell.some.is_empty()) {
                Some(packet) => HostileReach::Larger(packet),
                None => HostileReach::Same,
            };
        }
        cell
    }

    /// The columns to which a delivery belongs, each with its part.
    fn takers<'f>(&self, place: Place, flow: &'f Flow) -> SmallVec<[(usize, Cow<'f, Flow>); 1]> {
        if self.question.by != By::Host {
            let at = self.places.get(place).into_iter();
            return at.map(|&at| (at, Cow::Borrowed(flow))).collect();
        }
        let takers = self.targets.iter().enumerate().filter_map(|(at, column)| {
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

fn configured(party: Endpoint) -> Option<Sender> {
    match party {
        Endpoint::Segment(segment) => Some(Sender::Segment(segment)),
        Endpoint::Host(host) => Some(Sender::Host(host)),
        Endpoint::Zone(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..) => None,
    }
}
