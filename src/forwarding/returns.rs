//! Whether replies come back.
//!
//! Replies are sent as sets too. A flow under way back is kept in the orientation of the forward direction:
//! its `now.source` is where the reply goes, its `now.destination` where it comes from. A stateful gateway
//! that the flow crossed lets replies pass and undoes its own translations; one that it did not cross stops
//! them; a stateless gateway asks its rules again, with source and destination exchanged.

use crate::model::{Action, ICMP, ICMPV6, SegmentId};
use crate::packet::{ClassSet, IntervalSet, Region, ServiceClasses};

use super::filter::FilterPlan;
use super::flow::{Flow, Hop, Side};
use super::network::{DeviceIndex, Network, Plan};
use super::reach::{Place, Sender};
use super::routes::NextHop;
use super::seeds::{ECHO_V4, ECHO_V6, messages, whole_protocol};
use super::wires::{Stand, overheard};

/// The parts of a delivered flow, as sent, whose replies come back to the sender. May overlap where replies
/// have several ways. ICMP messages other than echo requests expect no reply and count as come back.
pub fn returns(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    place: Place,
    flow: &Flow,
) -> Vec<Region> {
    let home = sender.segments(plan);
    let mut back = Back {
        network,
        plan,
        home,
        hostile: sender.hostile(),
        host: sender.host(plan),
        found: Vec::new(),
    };
    let Some(mut flow) = back.without_silent(flow) else {
        return back.found;
    };
    match place {
        Place::Segment(segment) => back.answer(segment, flow),
        Place::Router(router) => {
            let device = plan.router_index(router);
            undo(&mut flow, device, &network.classes);
            // A reply to an address of its own stays where it is.
            let (_, others) = back.split(&flow, &plan.device(device).own);
            if let Some(flow) = others {
                back.route(device, None, flow, &[]);
            }
        }
    }
    back.found
}

/// Interfaces that a reply has arrived on so far.
type Visited = [(DeviceIndex, usize)];

struct Back<'a> {
    network: &'a Network<'a>,
    plan: &'a Plan,
    home: Vec<SegmentId>,
    /// The segment of a hostile sender.
    hostile: Option<SegmentId>,
    /// The device of a sender that is a host.
    host: Option<DeviceIndex>,
    found: Vec<Region>,
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

    /// The receivers answer: hosts with routes of their own by those, others as plain devices do.
    fn answer(&mut self, segment: SegmentId, flow: Flow) {
        let plan = self.plan;
        let mut rest = Some(flow);
        for (host, own) in &plan.answering {
            let Some(flow) = rest.take() else { return };
            if !flow.now.destination.overlaps(own) {
                rest = Some(flow);
                continue;
            }
            let (mine, others) = flow.split(Side::Destination, own, &self.network.classes);
            if let Some(mine) = mine {
                self.route(*host, None, mine, &[]);
            }
            rest = others;
        }
        if let Some(flow) = rest {
            self.send_from_segment(segment, flow, &[]);
        }
    }

    fn send_from_segment(&mut self, segment: SegmentId, flow: Flow, visited: &Visited) {
        let plan = self.plan.segment(segment);
        let (near, far) = self.split(&flow, &plan.on_link);
        let stand = Stand::Segment(segment);
        if let Some(near) = near {
            self.hand_over(stand, near, visited);
        }
        if let Some(far) = far {
            self.send_to_routers(stand, far, visited);
        }
    }

    fn send_to_routers(&mut self, stand: Stand, flow: Flow, visited: &Visited) {
        for &(device, interface) in &self.plan.wire(stand).first_hops {
            self.arrive(device, interface, flow.clone(), visited);
        }
    }

    /// On-link delivery: home, or to a gateway or router whose address the reply is sent to.
    fn hand_over(&mut self, stand: Stand, flow: Flow, visited: &Visited) {
        let from = match stand {
            Stand::Foot(device, _) => Some(device),
            Stand::Segment(_) | Stand::Hostile(_) => None,
        };
        let mut rest = flow;
        if rest.now.source.overlaps(&self.plan.routers_own) {
            for (device, interface, own) in self.plan.receivers(stand) {
                if Some(device) == from {
                    continue;
                }
                let (mine, others) = self.split(&rest, &own);
                if let Some(mine) = mine {
                    self.arrive(device, interface, mine, visited);
                }
                match others {
                    Some(others) => rest = others,
                    None => return,
                }
            }
            match self.split(&rest, &self.plan.routers_own) {
                (_, Some(others)) => rest = others,
                (_, None) => return,
            }
        }
        self.come_home(stand, rest);
    }

    /// The reply is on the wire of a stand: home is where the sender finds it there.
    fn come_home(&mut self, stand: Stand, flow: Flow) {
        let plan = self.plan;
        let found = match plan.wire(stand).lands.first() {
            Some((segment, addresses)) if self.home.contains(segment) => match addresses {
                Some(addresses) => self.split(&flow, addresses).0,
                None => Some(flow),
            },
            _ if overheard(self.network, plan, stand, self.hostile) => Some(flow),
            _ => None,
        };
        if let Some(flow) = found {
            self.keep(flow);
        }
    }

    fn arrive(&mut self, device: DeviceIndex, ingress: usize, mut flow: Flow, visited: &Visited) {
        if visited.contains(&(device, ingress)) {
            return;
        }
        let visited = &[visited, &[(device, ingress)]].concat();
        let here = self.plan.device(device);
        if let Some(accepts) = &here.interfaces[ingress].accepts {
            match flow.split(Side::Destination, accepts, &self.network.classes) {
                (Some(accepted), _) => flow = accepted,
                (None, _) => return,
            }
        }
        let stateful = here.filter.as_ref().is_some_and(|filter| filter.stateful);
        if stateful && !undo(&mut flow, device, &self.network.classes) {
            return;
        }
        let (mine, others) = self.split(&flow, &here.own);
        if let Some(mine) = mine.filter(|_| self.host == Some(device)) {
            // The sender's own address, by whichever interface.
            self.keep(mine);
        }
        if let Some(others) = others.filter(|_| here.forwards) {
            self.route(device, Some(ingress), others, visited);
        }
    }

    /// A reply that is home, unless some translation is not undone.
    fn keep(&mut self, flow: Flow) {
        let translated = flow.hops.iter().any(|hop| hop.translates());
        if !translated && !flow.sent().is_empty() {
            self.found.push(flow.into_sent());
        }
    }

    fn route(
        &mut self,
        device: DeviceIndex,
        ingress: Option<usize>,
        flow: Flow,
        visited: &Visited,
    ) {
        let here = self.plan.device(device);
        for (next_hop, source) in here.routes.split(&flow.now.source) {
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
            match (&here.filter, ingress) {
                (Some(filter), Some(ingress)) if !filter.stateful => {
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
        let stand = Stand::Foot(device, egress);
        match next_hop {
            NextHop::OnLink { .. } => self.hand_over(stand, flow, visited),
            NextHop::AnyRouter { .. } => self.send_to_routers(stand, flow, visited),
            NextHop::Discard => {}
            NextHop::Address { address, .. } => match self.plan.owner(stand, address) {
                Some((next, interface)) => self.arrive(next, interface, flow, visited),
                None if self.plan.leads_out(stand) => self.come_home(stand, flow),
                None => {}
            },
        }
    }

    /// The part of a flow whose replies a stateless gateway's rules permit.
    fn permitted_back(
        &self,
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
            // A walk given up leaves the parts found so far: replies are then under-counted, never invented.
            let _ = filter.lines.walk(
                &candidates,
                start,
                super::reach::OPEN_PIECES,
                &mut |line, region| {
                    if filter.action(line) == Action::Permit {
                        let back = match one_kind {
                            true => services.clone(),
                            false => self.network.classes.swapped(&region.services),
                        };
                        parts.push(Region {
                            source: region.destination,
                            destination: region.source,
                            services: back,
                        });
                    }
                },
            );
        }
        let parts = parts.into_iter();
        parts
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
    let crossings = (0..flow.hops.len())
        .rev()
        .filter(|&at| flow.hops[at].device == device);
    let Some(at) = crossings.into_iter().find(|&at| belongs(at)) else {
        return false;
    };
    flow.undo(at, classes);
    true
}
