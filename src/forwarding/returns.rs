//! Whether replies come back.
//!
//! Replies are sent as sets too. A flow under way back is kept in the orientation of the forward direction:
//! its `now.source` is where the reply goes, its `now.destination` where it comes from. A stateful gateway
//! that the flow crossed lets replies pass and undoes its own translations; one that it did not cross stops
//! them; a stateless gateway asks its rules again, with source and destination exchanged.

use crate::model::{Action, ICMP, ICMPV6, SegmentId};
use crate::packet::{ClassSet, IntervalSet, Region, ServiceClasses};

use super::filter::FilterPlan;
use super::flow::Flow;
use super::network::{DeviceId, DeviceIndex, Network, Plan};
use super::reach::{Place, Sender};
use super::routes::NextHop;
use super::seeds::{ECHO_V4, ECHO_V6};

/// The parts of a delivered flow, as sent, whose replies come back to the sender. May overlap where replies
/// have several ways. ICMP messages other than echo requests expect no reply and count as come back.
pub fn returns(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    place: Place,
    flow: &Flow,
) -> Vec<Region> {
    let home = match sender {
        Sender::Segment(segment) | Sender::Hostile(segment) => vec![segment],
        Sender::Host(host) => {
            let device = plan.device(plan.host_index(host));
            device
                .interfaces
                .iter()
                .map(|interface| interface.segment)
                .collect()
        }
    };
    let mut back = Back {
        network,
        plan,
        home,
        found: Vec::new(),
    };
    match place {
        Place::Segment(segment) => back.send_from_segment(segment, flow.clone(), &[]),
        Place::Router(router) => {
            let device = plan.router_index(router);
            let mut flow = flow.clone();
            undo(&mut flow, device, &network.classes);
            back.route(device, None, flow, &[]);
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
    found: Vec<Region>,
}

impl Back<'_> {
    fn send_from_segment(&mut self, segment: SegmentId, flow: Flow, visited: &Visited) {
        let plan = self.plan.segment(segment);
        let (near, far) = self.split(&flow, &plan.on_link);
        if let Some(near) = near {
            self.hand_over(segment, None, near, visited);
        }
        if let Some(far) = far {
            for &(device, interface) in &plan.first_hops {
                self.arrive(device, interface, far.clone(), visited);
            }
        }
    }

    /// On-link delivery: home, or to a gateway or router whose address the reply is sent to.
    fn hand_over(
        &mut self,
        segment: SegmentId,
        from: Option<DeviceIndex>,
        flow: Flow,
        visited: &Visited,
    ) {
        let mut rest = flow;
        if rest.now.source.overlaps(&self.plan.routers_own) {
            for &(device, interface) in &self.plan.segment(segment).attached {
                let owner = self.plan.device(device);
                if Some(device) == from || !matches!(owner.id, DeviceId::Router(_)) {
                    continue;
                }
                let (mine, others) = self.split(&rest, &owner.own);
                if let Some(mine) = mine {
                    self.arrive(device, interface, mine, visited);
                }
                match others {
                    Some(others) => rest = others,
                    None => return,
                }
            }
        }
        self.come_home(segment, rest);
    }

    fn come_home(&mut self, segment: SegmentId, flow: Flow) {
        let translated = flow.hops.iter().any(|hop| hop.translates());
        if self.home.contains(&segment) && !translated && !flow.sent.is_empty() {
            self.found.push(flow.sent);
        }
    }

    fn arrive(&mut self, device: DeviceIndex, ingress: usize, mut flow: Flow, visited: &Visited) {
        if visited.contains(&(device, ingress)) {
            return;
        }
        let visited = &[visited, &[(device, ingress)]].concat();
        let here = self.plan.device(device);
        if let Some(accepts) = &here.interfaces[ingress].accepts {
            let destination = flow.now.destination.intersection(accepts);
            if destination.is_empty() {
                return;
            }
            if destination != flow.now.destination {
                let part = Region {
                    destination,
                    ..flow.now.clone()
                };
                flow = flow.restricted(part, &self.network.classes);
            }
        }
        let stateful = here.filter.as_ref().is_some_and(|filter| filter.stateful);
        if stateful && !undo(&mut flow, device, &self.network.classes) {
            return;
        }
        let (_, others) = self.split(&flow, &here.own);
        if let Some(others) = others.filter(|_| here.forwards) {
            self.route(device, Some(ingress), others, visited);
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
        let segment = self.plan.device(device).interfaces[egress].segment;
        match next_hop {
            NextHop::OnLink { .. } => self.hand_over(segment, Some(device), flow, visited),
            NextHop::AnyRouter { .. } => self.send_from_segment(segment, flow, visited),
            NextHop::Discard => {}
            NextHop::Address { address, .. } => match self.plan.owner(segment, address) {
                Some((next, interface)) => self.arrive(next, interface, flow, visited),
                None if self.plan.segment(segment).external => self.come_home(segment, flow),
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
            let Some(replies) = replies else {
                parts.push(Region {
                    services,
                    ..flow.now.clone()
                });
                continue;
            };
            let single = replies.count() == 1;
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
                        let back = match single {
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

    /// Splits services by the kind of reply: `None` where none is expected.
    fn replies(&self, services: &ClassSet) -> Vec<(ClassSet, Option<ClassSet>)> {
        let classes = &self.network.classes;
        let mut with_ports = classes.none();
        let mut silent = classes.none();
        let mut groups: Vec<(ClassSet, Option<ClassSet>)> = Vec::new();
        for class in services.iter() {
            let lowest = |set: &IntervalSet| set.lowest().unwrap_or_default();
            let shape = classes.class_box(class);
            let protocol = lowest(&shape.protocols) as u8;
            let message = lowest(&shape.destination_ports) as u16;
            let echo = [(ICMP, ECHO_V4), (ICMPV6, ECHO_V6)];
            let reply = echo.iter().find(|(echo, (request, _))| {
                // Every code of an echo request is answered alike; the request's type decides.
                echo.0 == protocol && request >> 8 == message >> 8
            });
            match reply {
                Some((_, (_, reply))) => {
                    let answer = classes.class_of(protocol, 0, *reply);
                    groups.push((single(classes, class), Some(single(classes, answer))));
                }
                None if protocol == ICMP.0 || protocol == ICMPV6.0 => silent.insert(class),
                None => with_ports.insert(class),
            }
        }
        if !with_ports.is_empty() {
            let swapped = classes.swapped(&with_ports);
            groups.push((with_ports, Some(swapped)));
        }
        if !silent.is_empty() {
            groups.push((silent, None));
        }
        groups
    }

    /// The part whose replies go to addresses in `set`, and the other part.
    fn split(&self, flow: &Flow, set: &IntervalSet) -> (Option<Flow>, Option<Flow>) {
        let inside = flow.now.source.intersection(set);
        if inside.is_empty() {
            return (None, Some(flow.clone()));
        }
        let outside = flow.now.source.difference(set);
        if outside.is_empty() {
            return (Some(flow.clone()), None);
        }
        let part = |source| {
            let part = Region {
                source,
                ..flow.now.clone()
            };
            Some(flow.restricted(part, &self.network.classes))
        };
        (part(inside), part(outside))
    }
}

fn single(classes: &ServiceClasses, class: usize) -> ClassSet {
    let mut set = classes.none();
    set.insert(class);
    set
}

/// Undoes the translations of the last crossing of a device; false where it was not crossed.
fn undo(flow: &mut Flow, device: DeviceIndex, classes: &ServiceClasses) -> bool {
    let mut crossed = flow
        .hops
        .iter_mut()
        .rev()
        .filter(|hop| hop.device == device);
    let Some(hop) = crossed.next() else {
        return false;
    };
    if !hop.undone {
        hop.undone = true;
        if let Some((_, source)) = &hop.source_before {
            flow.now.source = source.clone();
        }
        if let Some((_, destination)) = &hop.destination_before {
            flow.now.destination = destination.clone();
        }
        if let Some((before, port)) = &hop.services_before {
            // Only what really came through: the present services, taken back through the written port.
            let services = classes.before_destination_port(&flow.now.services, before, *port);
            flow.now.services = services;
        }
    }
    true
}
