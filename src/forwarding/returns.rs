//! Whether replies come back.
//!
//! Replies are sent as sets too. A flow under way back is kept in the orientation of the forward direction:
//! its `now.source` is where the reply goes, its `now.destination` where it comes from. A stateful gateway
//! that the flow crossed lets replies pass and undoes its own translations. One that it did not cross takes a reply
//! for a new flow, if it can be one: TCP's second packet and an echo reply can't, others pass if its rules permit
//! them. A stateless gateway asks its rules again, with source and destination exchanged.
//!
//! A stateful gateway that sees one direction only of a TCP connection stops it after the first answer: such a flow
//! is not answered, though the first answer comes back.

use boundwalk_model::{Action, ICMP, ICMPV6, Protocol, SegmentId, TCP};
use boundwalk_packet::{ClassSet, IntervalSet, Region, ServiceClasses};

use super::coverage::{Limit, WalkCoverage};
use super::device::DeviceIndex;
use super::doubt::{Certainty, Doubt};
use super::explored::{Explored, FlowVisit, Visit};
use super::filter::{FilterPlan, TranslationPlan, Written};
use super::flow::{Flow, Hop, Side};
use super::layer2::Origin;
use super::neighbours::SendPoint;
use super::network::Network;
use super::overheard::overheard;
use super::plan::Plan;
use super::routes::NextHop;
use super::seeds::{ECHO_V4, ECHO_V6, messages, whole_protocol};
use super::sender::Sender;
use super::stop::{MOST_HOPS, Place};

/// The parts of a delivered flow, as sent, that are answered. May overlap where replies have several ways. ICMP
/// messages other than echo requests expect no reply and count as answered. Where a limit was met, more may be.
pub fn returns(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    place: Place,
    flow: &Flow,
) -> (Vec<Region>, WalkCoverage) {
    let host = flow.host.or(sender.host(plan));
    let home = match host {
        Some(host) => segments_of(plan, host),
        None => sender.segments(plan),
    };
    let mut back = Back {
        network,
        plan,
        home,
        hostile: sender.hostile(),
        host,
        found: Vec::new(),
        explored: Explored::new(network.open_pieces),
        coverage: WalkCoverage::Complete,
    };
    let Some(mut flow) = back.without_silent(flow) else {
        return (back.found, back.coverage);
    };
    match place {
        Place::Segment(segment) => back.answer(segment, flow),
        Place::Router(router) => {
            let device = plan.router_index(router);
            undo(&mut flow, device, &network.classes);
            // A reply to an address of its own stays where it is.
            let (_, others) = back.split(&flow, &plan.device(device).own);
            if let Some(flow) = others {
                back.route(device, Entry::Starts, flow, &[]);
            }
        }
    }
    (back.found, back.coverage)
}

fn segments_of(plan: &Plan, host: DeviceIndex) -> Vec<SegmentId> {
    plan.device(host)
        .interfaces
        .iter()
        .map(|interface| interface.segment)
        .collect()
}

/// Interfaces that a reply has arrived on so far, each with the number of translations undone by then: as long as
/// none is undone, the headers stay the same.
type Visited = [(DeviceIndex, usize, usize)];

/// How a reply comes into a device.
#[derive(Clone, Copy)]
enum Entry {
    /// It starts there.
    Starts,
    /// By an interface, and needs no rule: state lets it pass, or there are no rules.
    Passes,
    /// By this interface, to be held against the rules: a stateless gateway, or a stateful one without state for it.
    Asks(usize),
}

/// A reply at an interface, and the interfaces that it came in by before, in an order of their own.
type ReplyVisit = (FlowVisit, Vec<(DeviceIndex, usize, usize)>);

struct Back<'a> {
    network: &'a Network<'a>,
    plan: &'a Plan,
    home: Vec<SegmentId>,
    /// Where a hostile sender is.
    hostile: Option<Origin>,
    /// The device of a sender that is a host.
    host: Option<DeviceIndex>,
    found: Vec<Region>,
    explored: Explored<ReplyVisit>,
    coverage: WalkCoverage,
}

impl Back<'_> {
    /// The part of a flow that expects replies; the other part counts as come back.
    fn without_silent(&mut self, flow: &Flow) -> Option<Flow> {
        let silent = self.silent(&flow.now.services);
        if silent.is_empty() {
            return Some(flow.clone());
        }
        let classes = &self.network.classes;
        let with = |services: ClassSet| Region {
            services,
            ..flow.now.clone()
        };
        let rest = with(flow.now.services.difference(&silent));
        self.found.push(flow.sent_part(with(silent), classes));
        (!rest.is_empty()).then(|| flow.restricted(rest, classes))
    }

    /// Classes of messages that expect no reply: ICMP and ICMPv6 other than echo requests.
    fn silent(&self, services: &ClassSet) -> ClassSet {
        let classes = &self.network.classes;
        let whole = [ICMP, ICMPV6].map(whole_protocol);
        let echo = [
            messages(ICMP, ECHO_V4.0 >> 8),
            messages(ICMPV6, ECHO_V6.0 >> 8),
        ];
        classes
            .of(&whole)
            .difference(&classes.of(&echo))
            .intersection(services)
    }

    /// The receivers answer: hosts with routes of their own by those, others as plain devices do. Nobody beyond an
    /// external segment answers a private address that is not routed there.
    fn answer(&mut self, segment: SegmentId, flow: Flow) {
        let plan = self.plan;
        let mut rest = Some(flow.clone());
        let here = plan.answering.iter().filter(|(_, at, _)| *at == segment);
        for (host, _, own) in here {
            if !flow.now.destination.overlaps(own) {
                continue;
            }
            // Of several that have one address each may answer.
            let (mine, _) = flow.split(Side::Destination, own, &self.network.classes);
            if let Some(mine) = mine {
                self.route(*host, Entry::Starts, mine, &[]);
            }
            let others =
                rest.map(|flow| flow.split(Side::Destination, own, &self.network.classes).1);
            rest = others.flatten();
        }
        let unrouted = &plan.segment(segment).unrouted;
        if let Some(flow) = rest.and_then(|flow| self.split(&flow, unrouted).1) {
            self.send_from_segment(segment, flow, &[]);
        }
    }

    fn send_from_segment(&mut self, segment: SegmentId, flow: Flow, visited: &Visited) {
        let plan = self.plan.segment(segment);
        let (near, far) = self.split(&flow, &plan.on_link);
        let send_point = SendPoint::Segment(segment);
        if let Some(near) = near {
            if !self.plan.contested.is_empty()
                && let (Some(either), _) = self.split(&near, &self.plan.contested)
            {
                self.send_to_routers(send_point, either, visited);
            }
            self.hand_over(send_point, near, visited);
        }
        if let Some(far) = far {
            self.send_to_routers(send_point, far, visited);
        }
    }

    fn send_to_routers(&mut self, send_point: SendPoint, flow: Flow, visited: &Visited) {
        let plan = self.plan;
        for (device, interface) in plan.routers_at(send_point) {
            self.arrive(device, interface, flow.clone(), visited);
        }
    }

    /// On-link delivery: home, or to a gateway or router whose address the reply is sent to.
    fn hand_over(&mut self, send_point: SendPoint, flow: Flow, visited: &Visited) {
        let from = send_point.device();
        let (routers, rest) = self.split(&flow, &self.plan.routers_own);
        if let Some(routers) = routers {
            if !self.plan.doubled.is_empty()
                && let (_, Some(hosts_too)) = self.split(&routers, &self.plan.routers_only)
            {
                self.come_home(send_point, hosts_too);
            }
            for (device, interface, own) in self.plan.receivers(send_point) {
                if Some(device) == from {
                    continue;
                }
                if let (Some(mine), _) = self.split(&routers, &own) {
                    self.arrive(device, interface, mine, visited);
                }
            }
        }
        if let Some(rest) = rest {
            self.come_home(send_point, rest);
        }
    }

    /// The reply is on the wire of a send point: home is where the sender finds it there.
    fn come_home(&mut self, send_point: SendPoint, flow: Flow) {
        let plan = self.plan;
        let found = match plan.wire(send_point).receivers.first() {
            Some((segment, addresses)) if self.home.contains(segment) => match addresses {
                Some(addresses) => self.split(&flow, addresses).0,
                None => Some(flow),
            },
            _ if overheard(self.network, plan, send_point, self.hostile) => Some(flow),
            _ => None,
        };
        if let Some(flow) = found {
            self.keep(flow);
        }
    }

    fn arrive(&mut self, device: DeviceIndex, ingress: usize, mut flow: Flow, visited: &Visited) {
        let undone = flow.hops.iter().filter(|hop| hop.undone).count();
        let here = (device, ingress, undone);
        if visited.contains(&here) || MOST_HOPS <= visited.len() {
            return;
        }
        let key = || {
            let mut visited = visited.to_vec();
            visited.sort_unstable();
            // One alone has no order.
            (1 < visited.len()).then(|| ((device, ingress, flow.clone()), visited))
        };
        match self.explored.visit(key) {
            Visit::New => {}
            Visit::Known => return,
            Visit::TooMany => {
                let limit = Limit::Visits(self.network.open_pieces);
                self.coverage.note(WalkCoverage::Cut(limit));
                return;
            }
        }
        let visited = &[visited, &[here]].concat();
        let here = self.plan.device(device);
        if let Some(accepts) = &here.interfaces[ingress].accepts {
            match flow.split(Side::Destination, &accepts.all(), &self.network.classes) {
                (Some(accepted), _) => flow = accepted,
                (None, _) => return,
            }
        }
        let mut entry = Entry::Passes;
        if let Some(filter) = &here.filter {
            let known = filter.stateful && undo(&mut flow, device, &self.network.classes);
            if !known {
                entry = Entry::Asks(ingress);
            }
            if filter.stateful && !known {
                let Some(fresh) = self.part_that_begins(&flow) else {
                    return;
                };
                flow = fresh;
            }
        }
        let (mine, others) = self.split(&flow, &here.own);
        if let Some(mine) = mine.filter(|_| self.host == Some(device)) {
            // The sender's own address, by whichever interface.
            self.keep(mine);
        }
        if let Some(others) = others.filter(|_| here.forwards) {
            self.route(device, entry, others, visited);
        }
    }

    /// A reply that is home, unless some translation is not undone; of TCP only where every stateful gateway on the way
    /// there was on the way back too.
    fn keep(&mut self, flow: Flow) {
        if flow.hops.iter().any(|hop| hop.translates()) {
            return;
        }
        let kept = if self.seen_both_ways(&flow) {
            Some(flow)
        } else {
            self.without(&flow, &[TCP])
        };
        if let Some(flow) = kept.filter(|flow| !flow.sent().is_empty()) {
            self.found.push(flow.into_sent());
        }
    }

    /// Whether each stateful gateway that the flow crossed has let a reply of it pass.
    fn seen_both_ways(&self, flow: &Flow) -> bool {
        let stateful = |hop: &&Hop| {
            let filter = self.plan.device(hop.device).filter.as_ref();
            filter.is_some_and(|filter| filter.stateful)
        };
        // A gateway that sees the flow twice with the same headers keeps one state for it, else two.
        let one_state = |at: usize, other: usize| {
            let between = &flow.hops[at.min(other)..at.max(other)];
            flow.hops[at].device == flow.hops[other].device
                && between.iter().all(|hop| hop.translated.is_none())
        };
        let passed = |at: usize| {
            let mut hops = flow.hops.iter().enumerate();
            hops.any(|(other, hop)| hop.undone && one_state(at, other))
        };
        let mut crossed = flow.hops.iter().enumerate();
        crossed.all(|(at, hop)| !stateful(&hop) || passed(at))
    }

    /// The part of a flow whose replies may begin a flow at a gateway without state for them: neither TCP's second
    /// packet nor an echo reply does (observed in a kernel's connection tracking: both are invalid).
    fn part_that_begins(&self, flow: &Flow) -> Option<Flow> {
        let begins = self.without(flow, &[TCP, ICMP, ICMPV6]);
        // Where only spoofed packets may return otherwise, ports are not kept apart for it: they count as unanswered.
        begins.filter(|flow| self.network.classes.can_swap(&flow.now.services))
    }

    /// The part of a flow of other protocols.
    fn without(&self, flow: &Flow, protocols: &[Protocol]) -> Option<Flow> {
        let classes = &self.network.classes;
        let boxes: Vec<_> = protocols.iter().copied().map(whole_protocol).collect();
        let part = Region {
            services: flow.now.services.difference(&classes.of(&boxes)),
            ..flow.now.clone()
        };
        (!part.services.is_empty()).then(|| flow.restricted(part, classes))
    }

    fn route(&mut self, device: DeviceIndex, entry: Entry, flow: Flow, visited: &Visited) {
        let here = self.plan.device(device);
        for (next_hop, doubt, source) in here.routes.split_ways(&flow.now.source) {
            // An answer counts where it does not take a backup route.
            if Doubt::of(doubt) == Certainty::Possible {
                continue;
            }
            let Some((next_hop, egress)) = next_hop.and_then(|hop| Some((hop, hop.interface()?)))
            else {
                continue;
            };
            let part = flow.restricted(
                Region {
                    source,
                    ..flow.now.clone()
                },
                &self.network.classes,
            );
            match (&here.filter, entry) {
                (Some(filter), Entry::Asks(ingress)) => {
                    for part in self.permitted_back(filter, ingress, egress, &part) {
                        self.depart(device, egress, next_hop, part, visited);
                    }
                }
                _ => self.depart(device, egress, next_hop, part, visited),
            }
        }
    }

    fn depart(
        &mut self,
        device: DeviceIndex,
        egress: usize,
        next_hop: NextHop,
        flow: Flow,
        visited: &Visited,
    ) {
        let send_point = SendPoint::WiredInterface(device, egress);
        match next_hop {
            NextHop::OnLink { .. } => self.hand_over(send_point, flow, visited),
            NextHop::AnyRouter { .. } => self.send_to_routers(send_point, flow, visited),
            NextHop::Discard => {}
            NextHop::Address { address, .. } => {
                let owners = self.plan.owners(send_point, address);
                for &(next, interface) in &owners {
                    self.arrive(next, interface, flow.clone(), visited);
                }
                let outside = self
                    .plan
                    .leads_out(send_point)
                    .filter(|_| owners.is_empty());
                if let Some(outside) = outside {
                    let unrouted = &self.plan.segment(outside).unrouted;
                    if let (_, Some(flow)) = self.split(&flow, unrouted) {
                        self.come_home(send_point, flow);
                    }
                }
            }
        }
    }

    /// The part of a flow whose replies a gateway's rules permit. A stateful gateway that takes replies for a new flow
    /// would translate them too: then they are not what the sender waits for.
    fn permitted_back(
        &mut self,
        filter: &FilterPlan,
        ingress: usize,
        egress: usize,
        flow: &Flow,
    ) -> Vec<Flow> {
        let candidates = filter.between(ingress, egress);
        let mut parts = Vec::new();
        for (services, replies) in self.replies(&flow.now.services) {
            let one_kind = replies.count() == 1;
            let start = Region {
                source: flow.now.destination.clone(),
                destination: flow.now.source.clone(),
                services: replies,
            };
            let mut permitted = Vec::new();
            let limit = self.network.open_pieces;
            let walked = filter
                .lines
                .walk(&candidates, start, limit, &mut |line, region| {
                    if filter.action(line) == Action::Permit {
                        permitted.push(region);
                    }
                });
            if walked.is_err() {
                // The parts found so far stay: replies are then under-counted, never invented.
                let limit = Limit::OpenPieces(limit);
                self.coverage.note(WalkCoverage::Cut(limit));
            }
            if filter.stateful {
                permitted = untranslated(filter, (ingress, egress), permitted);
            }
            parts.extend(permitted.into_iter().map(|region| Region {
                services: if one_kind {
                    services.clone()
                } else {
                    self.network.classes.swapped(&region.services)
                },
                source: region.destination,
                destination: region.source,
            }));
        }
        parts
            .into_iter()
            .map(|part| flow.restricted(part, &self.network.classes))
            .collect()
    }

    /// Splits services that expect replies by the kind of reply, and gives the replies.
    fn replies(&self, services: &ClassSet) -> Vec<(ClassSet, ClassSet)> {
        let classes = &self.network.classes;
        let mut turned = services.clone();
        let mut groups = Vec::new();
        for (protocol, (request, reply)) in [(ICMP, ECHO_V4), (ICMPV6, ECHO_V6)] {
            // Every code of an echo request is answered alike; the request's type decides.
            let requests = classes
                .of(&[messages(protocol, request >> 8)])
                .intersection(services);
            if !requests.is_empty() {
                turned.difference_with(&requests);
                let answer = single(classes, classes.class_of(protocol.0, 0, reply));
                groups.push((requests, answer));
            }
        }
        if !turned.is_empty() {
            let replies = classes.swapped(&turned);
            groups.push((turned, replies));
        }
        groups
    }

    /// The part whose replies go to addresses in `set`, and the other part.
    fn split(&self, flow: &Flow, set: &IntervalSet) -> (Option<Flow>, Option<Flow>) {
        flow.split(Side::Source, set, &self.network.classes)
    }
}

/// The parts of packets that no translation of a gateway rewrites between two interfaces.
fn untranslated(
    filter: &FilterPlan,
    (ingress, egress): (usize, usize),
    packets: Vec<Region>,
) -> Vec<Region> {
    let arriving = |parts| left_alone(&filter.arrivals, (ingress, true), parts);
    let leaving = |parts| left_alone(&filter.departures, (egress, false), parts);
    leaving(arriving(packets))
}

/// The parts that a list of translations leaves as they are: the first line that matches decides.
fn left_alone(
    list: &[TranslationPlan],
    (interface, arriving): (usize, bool),
    parts: Vec<Region>,
) -> Vec<Region> {
    let mut open = parts;
    let mut kept = Vec::new();
    for line in list {
        let mut next = Vec::new();
        for region in open {
            let Some(part) = line.matched(interface, &region) else {
                next.push(region);
                continue;
            };
            next.extend(region.difference(&part));
            kept.extend(kept_as_is(line, part, arriving));
        }
        open = next;
    }
    kept.extend(open);
    kept
}

/// The part of what a translation matches that has what it writes already.
fn kept_as_is(line: &TranslationPlan, part: Region, arriving: bool) -> Option<Region> {
    let address = match line.written {
        Written::Unchanged => return Some(part),
        Written::Address(address) if line.port.is_none() => IntervalSet::point(address),
        Written::Address(_) | Written::Interface => return None,
    };
    let kept = if arriving {
        Region {
            destination: part.destination.intersection(&address),
            ..part
        }
    } else {
        Region {
            source: part.source.intersection(&address),
            ..part
        }
    };
    (!kept.is_empty()).then_some(kept)
}

fn single(classes: &ServiceClasses, class: usize) -> ClassSet {
    let mut set = classes.none();
    set.insert(class);
    set
}

/// Undoes the translations of a device's crossing that a reply belongs to; false where the device keeps no
/// state for it. State is kept for packets as they leave: whatever later devices translated must be undone
/// by now, and nothing that this or an earlier device translated.
fn undo(flow: &mut Flow, device: DeviceIndex, classes: &ServiceClasses) -> bool {
    let belongs = |at: usize| {
        let later = flow.hops[at + 1..].iter().all(|hop| !hop.translates());
        let rewrote = |hop: &Hop| hop.translated.is_some();
        later
            && flow.hops[..=at]
                .iter()
                .all(|hop| !rewrote(hop) || !hop.undone)
    };
    let Some(at) = (0..flow.hops.len())
        .rev()
        .filter(|&at| flow.hops[at].device == device)
        .into_iter()
        .find(|&at| belongs(at))
    else {
        return false;
    };
    flow.undo(at, classes);
    true
}
