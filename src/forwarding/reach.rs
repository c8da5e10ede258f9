//! Sends sets of packets through a network and lists where each part arrives or stops.

use boundwalk_model::{Action, SegmentId};
use boundwalk_packet::{ClassSet, IntervalSet, Mask, Region};

use super::Sender;
use super::coverage::{Limit, WalkCoverage};
use super::device::{DeviceId, DeviceIndex};
use super::doubt::{Certainty, Doubt};
use super::explored::{Explored, FlowVisit, Visit, bare, unordered};
use super::filter::FilterPlan;
use super::flow::{Flow, Hop, Side, Stopped};
use super::layer2::Origin;
use super::neighbours::SendPoint;
use super::network::Network;
use super::plan::Plan;
use super::routes::NextHop;
use super::stop::{Place, Stop};

/// What becomes of a part of a flow.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Arrival {
    /// It arrives.
    Delivered(Place, Flow),
    /// It stops.
    Stopped(Stop, Stopped),
}

/// Width of an interval of sources from which on looking up the lines that meet it does not pay.
const WIDE: u128 = 1 << 20;

/// Destinations to send to.
#[derive(Clone, Copy, Debug)]
pub struct Target<'a> {
    /// The addresses.
    pub addresses: &'a IntervalSet,
    /// The segment whose addresses they are, if so: saves time.
    pub segment: Option<SegmentId>,
    /// Services to send; `None`: all.
    pub services: Option<&'a ClassSet>,
}

impl Target<'_> {
    /// What is sent there from some sources.
    pub(super) fn region(&self, network: &Network<'_>, source: IntervalSet) -> Region {
        let services = self.services.cloned();
        Region {
            source,
            destination: self.addresses.clone(),
            services: services.unwrap_or_else(|| network.classes.all()),
        }
    }

    /// Whether there is nothing to send.
    fn is_empty(&self) -> bool {
        self.addresses.is_empty() || self.services.is_some_and(ClassSet::is_empty)
    }
}

/// Sends everything that `sender` can send to `target` and calls `sink` for every part that arrives or
/// stops. Where a sender may use several routers, each gets its own copy.
///
/// Where a limit was met, what was listed is a lower bound. Cost: for each gateway crossed, the rules that can
/// match, times the pieces they leave.
pub fn reach(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    target: Target<'_>,
    sink: &mut dyn FnMut(Arrival),
) -> WalkCoverage {
    let mut walk = Walk::new(network, plan, sender, target, sink);
    if !target.is_empty() {
        walk.send(sender, target);
    }
    walk.coverage
}

/// Sends everything that `sender` can send to `target` round every filtering gateway: what comes to one is not
/// followed. Otherwise as [`reach()`]. No rules are walked through, so that no limit is met.
pub fn reach_unfiltered(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    target: Target<'_>,
    sink: &mut dyn FnMut(Arrival),
) {
    let mut walk = Walk::new(network, plan, sender, target, sink);
    walk.rules = Rules::Avoided;
    walk.explored = Explored::new(usize::MAX);
    if !target.is_empty() {
        walk.send(sender, target);
    }
}

/// Sends what a hostile device on a segment can send to `target` and no plain device there can: from other
/// sources, or by other next hops. Together with what plain devices send it is all that a hostile one can.
/// Otherwise as [`reach()`].
pub fn reach_beyond(
    network: &Network<'_>,
    plan: &Plan,
    origin: Origin,
    target: Target<'_>,
    sink: &mut dyn FnMut(Arrival),
) -> WalkCoverage {
    let mut walk = Walk::new(network, plan, Sender::Hostile(origin), target, sink);
    if !target.is_empty() {
        walk.send_hostile(origin, target, true);
    }
    walk.coverage
}

/// As [`reach()`], or with `beyond` as [`reach_beyond()`], as if the rules of every gateway permitted everything: where it
/// goes past rules, they decide on their own. Translations are made.
pub fn reach_past_rules(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    target: Target<'_>,
    beyond: bool,
    sink: &mut dyn FnMut(Arrival),
) -> WalkCoverage {
    let mut walk = Walk::new(network, plan, sender, target, sink);
    walk.rules = Rules::Passed;
    match sender {
        _ if target.is_empty() => {}
        Sender::Hostile(origin) if beyond => walk.send_hostile(origin, target, true),
        _ => walk.send(sender, target),
    }
    walk.coverage
}

/// What becomes of packets at rules.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Rules {
    /// The rules decide.
    Asked,
    /// What comes to a device with rules is not followed.
    Avoided,
    /// All pass.
    Passed,
}

/// A walk under way.
pub(super) struct Walk<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
    /// The segment that the sender is on.
    origin: Option<SegmentId>,
    /// Whether the sender may use any source.
    hostile: bool,
    /// The segment whose addresses are the destinations.
    target: Option<SegmentId>,
    rules: Rules,
    sink: &'a mut dyn FnMut(Arrival),
    explored: Explored<FlowVisit>,
    coverage: WalkCoverage,
}

impl<'a> Walk<'a> {
    fn new(
        network: &'a Network<'a>,
        plan: &'a Plan,
        sender: Sender,
        target: Target<'_>,
        sink: &'a mut dyn FnMut(Arrival),
    ) -> Self {
        Self {
            network,
            plan,
            origin: match sender {
                Sender::Segment(segment) => Some(segment),
                Sender::Hostile(origin) => origin.segment(),
                Sender::Host(_) => None,
            },
            hostile: matches!(sender, Sender::Hostile(_)),
            target: target.segment,
            rules: Rules::Asked,
            sink,
            explored: Explored::new(network.open_pieces),
            coverage: WalkCoverage::Complete,
        }
    }
}

impl Walk<'_> {
    pub(super) fn arrive(&mut self, device: DeviceIndex, ingress: usize, flow: Flow) {
        let here = self.plan.device(device);
        if self.rules == Rules::Avoided && here.filter.is_some() {
            return;
        }
        for flow in self.unlooped(device, ingress, flow) {
            let key = || match self.rules {
                Rules::Avoided => Some(bare(device, ingress, &flow)),
                Rules::Asked | Rules::Passed => unordered(device, ingress, &flow),
            };
            match self.explored.visit(key) {
                Visit::New => self.enter(device, ingress, flow),
                Visit::Known => {}
                Visit::TooMany => {
                    let limit = Limit::Visits(self.network.open_pieces);
                    self.coverage.note(WalkCoverage::Cut(limit));
                }
            }
        }
    }

    fn enter(&mut self, device: DeviceIndex, ingress: usize, mut flow: Flow) {
        let here = self.plan.device(device);
        flow.hops.push(Hop::arriving(device, ingress));
        match self.forwardable(flow) {
            Some(part) => flow = part,
            None => return,
        }
        if let Some(accepts) = &here.interfaces[ingress].accepts {
            let (accepted, refused) =
                flow.split(Side::Source, &accepts.surely, &self.network.classes);
            if let Some(refused) = refused {
                let (perhaps, _) =
                    refused.split(Side::Source, &accepts.perhaps, &self.network.classes);
                if let Some(perhaps) = perhaps {
                    self.pass(device, ingress, perhaps.at_most(Certainty::Possible));
                }
                self.stop(Stop::SourceCheck, refused);
            }
            match accepted {
                Some(accepted) => flow = accepted,
                None => return,
            }
        }
        self.pass(device, ingress, flow);
    }

    /// What comes past the source check.
    fn pass(&mut self, device: DeviceIndex, ingress: usize, flow: Flow) {
        let here = self.plan.device(device);
        match &here.filter {
            Some(filter) if !filter.arrivals.is_empty() => {
                for part in self.translate_destination(filter, ingress, flow) {
                    self.local_or_route(device, part);
                }
            }
            _ => self.local_or_route(device, flow),
        }
    }

    /// The part with addresses that routers forward from and to; the other parts stop here.
    fn forwardable(&mut self, mut flow: Flow) -> Option<Flow> {
        let nobody = &self.plan.nobody;
        if flow.now.destination.overlaps(nobody) {
            let (none, some) = self.split_destination(&flow, nobody);
            none.into_iter()
                .for_each(|none| self.stop(Stop::NotForwardable, none));
            flow = some?;
        }
        // An address that a translation writes may be valid on its link only.
        if flow.now.source.overlaps(nobody) {
            let (none, some) = flow.split(Side::Source, nobody, &self.network.classes);
            none.into_iter()
                .for_each(|none| self.stop(Stop::NotForwardable, none));
            flow = some?;
        }
        Some(flow)
    }

    fn local_or_route(&mut self, device: DeviceIndex, flow: Flow) {
        let here = self.plan.device(device);
        let (mine, others) = self.split_destination(&flow, &here.own);
        let mine = mine.and_then(|mine| self.not_from(mine, &here.own));
        if let Some(mine) = mine {
            match &here.filter {
                Some(filter) => {
                    for part in self.filter(filter, filter.itself, mine) {
                        self.deliver_locally(device, part);
                    }
                }
                None => self.deliver_locally(device, mine),
            }
        }
        match others {
            Some(others) if here.forwards => self.route(device, others),
            Some(others) => self.stop(Stop::NotForwarding, others),
            None => {}
        }
    }

    fn deliver_locally(&mut self, device: DeviceIndex, flow: Flow) {
        let here = self.plan.device(device);
        if let DeviceId::Router(router) = here.id {
            (self.sink)(Arrival::Delivered(Place::Router(router), flow));
            return;
        }
        for interface in here
            .interfaces
            .iter()
            .filter(|interface| !interface.addresses.is_empty())
        {
            let (mine, _) = self.split_destination(&flow, &interface.own());
            if let Some(mine) = mine {
                (self.sink)(Arrival::Delivered(Place::Segment(interface.segment), mine));
            }
        }
    }

    /// Route look-up, rules, source translation, departure.
    pub(super) fn route(&mut self, device: DeviceIndex, flow: Flow) {
        let here = self.plan.device(device);
        for (next_hop, doubt, destinations) in here.routes.split_ways(&flow.now.destination) {
            let part = Region {
                destination: destinations,
                ..flow.now.clone()
            };
            let part = flow.restricted(part, &self.network.classes);
            self.route_by(device, next_hop, part.at_most(Doubt::of(doubt)));
        }
    }

    /// By one next hop of the routes; `None`: no route.
    pub(super) fn route_by(&mut self, device: DeviceIndex, next_hop: Option<NextHop>, flow: Flow) {
        match next_hop.map(|next_hop| (next_hop, next_hop.interface())) {
            Some((next_hop, Some(egress))) => self.leave(device, egress, next_hop, flow),
            Some((_, None)) => self.stop(Stop::Discarded, flow),
            None => self.stop(Stop::NoRoute, flow),
        }
    }

    fn leave(&mut self, device: DeviceIndex, egress: usize, next_hop: NextHop, mut flow: Flow) {
        let here = self.plan.device(device);
        let Some(filter) = &here.filter else {
            if let Some(hop) = flow.hops.last_mut() {
                hop.egress = Some(egress);
            }
            self.depart(device, egress, next_hop, flow);
            return;
        };
        for mut part in self.filter(filter, egress, flow) {
            if let Some(hop) = part.hops.last_mut() {
                hop.egress = Some(egress);
            }
            for part in self.translate_source(filter, (device, egress), next_hop, part) {
                self.depart(device, egress, next_hop, part);
            }
        }
    }

    fn depart(&mut self, device: DeviceIndex, egress: usize, next_hop: NextHop, flow: Flow) {
        let send_point = SendPoint::WiredInterface(device, egress);
        match next_hop {
            NextHop::OnLink { .. } => self.hand_over(send_point, flow),
            NextHop::AnyRouter { .. } => self.send_to_routers(send_point, flow),
            NextHop::Discard => self.stop(Stop::Discarded, flow),
            NextHop::Address { address, .. } => {
                for (next, interface) in self.plan.learned_owners(send_point, address) {
                    self.arrive(next, interface, flow.clone().at_most(Certainty::Possible));
                }
                let owners = self.plan.owners(send_point, address);
                let mut certainty = Doubt::of(Plan::doubt_between(&owners));
                let to_itself = self.plan.device(device).own.contains(address);
                if to_itself {
                    // Another device has the sender's own address: it sends to itself, or to that one.
                    certainty = Certainty::OneOf;
                    self.stop(Stop::NextHopSilent, flow.clone().at_most(certainty));
                }
                for &(next, interface) in &owners {
                    self.arrive(next, interface, flow.clone().at_most(certainty));
                }
                match self.plan.leads_out(send_point) {
                    _ if to_itself || !owners.is_empty() => {}
                    Some(outside) => self.leave_site(outside, flow),
                    None => self.stop(Stop::NextHopSilent, flow),
                }
            }
        }
    }

    /// What leaves by an external segment is out there, whatever its destination reads; private addresses that nobody
    /// out there routes are lost.
    fn leave_site(&mut self, outside: SegmentId, flow: Flow) {
        let unrouted = &self.plan.segment(outside).unrouted;
        let (lost, routed) = self.split_destination(&flow, unrouted);
        if let Some(lost) = lost {
            self.stop(Stop::LostOutside(outside), lost);
        }
        if let Some(routed) = routed {
            self.deliver(outside, routed);
        }
    }

    /// The parts that the rules permit; the others stop here.
    fn filter(&mut self, filter: &FilterPlan, egress: usize, flow: Flow) -> Vec<Flow> {
        if self.rules == Rules::Passed {
            let mut passed = flow;
            passed
                .hops
                .iter_mut()
                .last()
                .into_iter()
                .for_each(|hop| hop.filtered = true);
            return vec![passed];
        }
        let ingress = flow.hops.last().map_or(0, |hop| hop.ingress);
        let mut candidates = filter.between(ingress, egress);
        self.narrow_by_source(filter, &flow, &mut candidates);
        self.narrow_by_destination(filter, &flow, &mut candidates);
        let mut decided: Vec<(Option<usize>, Region)> = Vec::new();
        let start = flow.now.clone();
        let result = filter.lines.walk(
            &candidates,
            start,
            self.network.open_pieces,
            &mut |line, region| {
                decided.push((line, region));
            },
        );
        if result.is_err() {
            let limit = Limit::OpenPieces(self.network.open_pieces);
            self.coverage.note(WalkCoverage::Cut(limit));
        }
        let mut permitted = Vec::new();
        for (line, region) in decided {
            let rule = line.map(|line| filter.rules[line]);
            if filter.action(line) == Action::Permit {
                let mut part = flow.restricted(region, &self.network.classes);
                if let Some(hop) = part.hops.last_mut() {
                    hop.filtered = true;
                    hop.rule = rule;
                }
                permitted.push(part);
            } else {
                let sent = flow.sent_part(region, &self.network.classes);
                (self.sink)(Arrival::Stopped(Stop::Denied(rule), flow.stopped(sent)));
            }
        }
        permitted
    }

    /// Drops lines whose sources can't meet the flow's. For the addresses of a whole segment the lines are
    /// known; any superset of the lines that can match is right.
    fn narrow_by_source(&self, filter: &FilterPlan, flow: &Flow, candidates: &mut Mask) {
        let sets = || self.plan.segments.iter().map(|segment| &segment.cover);
        match self.origin {
            Some(origin) if flow.now.source.is_subset(&self.plan.segment(origin).cover) => {
                candidates.and_assign(&filter.source_masks(sets())[origin.0]);
            }
            // Any source at all: nearly every line can match, and finding out which costs more.
            _ if self.hostile
                && flow
                    .now
                    .source
                    .intervals()
                    .iter()
                    .any(|part| part.high() - part.low() > WIDE) => {}
            _ => candidates.and_assign(&filter.lines.from_source(&flow.now.source)),
        }
    }

    /// The same for destinations.
    fn narrow_by_destination(&self, filter: &FilterPlan, flow: &Flow, candidates: &mut Mask) {
        let sets = || self.plan.segments.iter().map(|segment| &segment.cover);
        match self.target {
            Some(target)
                if flow
                    .now
                    .destination
                    .is_subset(&self.plan.segment(target).cover) =>
            {
                candidates.and_assign(&filter.destination_masks(sets())[target.0]);
            }
            _ => candidates.and_assign(&filter.lines.to_destination(&flow.now.destination)),
        }
    }

    /// The part with destinations in `set`, and the other part.
    pub(super) fn split_destination(
        &self,
        flow: &Flow,
        set: &IntervalSet,
    ) -> (Option<Flow>, Option<Flow>) {
        flow.split(Side::Destination, set, &self.network.classes)
    }

    pub(super) fn deliver(&mut self, segment: SegmentId, flow: Flow) {
        for flow in self.not_to_itself(flow) {
            (self.sink)(Arrival::Delivered(Place::Segment(segment), flow));
        }
    }

    pub(super) fn stop(&mut self, why: Stop, flow: Flow) {
        let stopped = flow.stopped(flow.sent().clone());
        (self.sink)(Arrival::Stopped(why, stopped));
    }
}
