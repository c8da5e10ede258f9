//! The walk of one packet from device to device.

use std::cell::RefCell;
use std::net::IpAddr;

use boundwalk_model::{Action, Family, SegmentId};

use super::crossing::{Crossing, class_of, holds};
use super::device::{Device, DeviceId, DeviceIndex};
use super::doubt::Doubt;
use super::explored::{Explored, Visit};
use super::filter::{TranslationPlan, Written};
use super::network::Network;
use super::next::{Next, depart};
use super::plan::Plan;
use super::routes::{NextHop, RouteEntry};
use super::stop::{MOST_HOPS, Place, Stop};
use super::trace_types::{Outcome, Packet, RouteChoice, Step, Trace};
use super::trace_visit::PacketVisit;

/// A packet on one of its ways.
pub(super) struct Branch {
    doubts: Vec<Doubt>,
    next: Next,
    packet: Packet,
    steps: Vec<Step>,
}

impl Branch {
    pub(super) fn sure(next: Next, packet: Packet, steps: Vec<Step>) -> Vec<Self> {
        vec![Self {
            doubts: Vec::new(),
            next,
            packet,
            steps,
        }]
    }

    /// It ends at the last step.
    fn ends(outcome: Outcome, step: Step, mut steps: Vec<Step>) -> Vec<Self> {
        let packet = step.left;
        steps.push(step);
        Self::sure(Next::Done(outcome), packet, steps)
    }
}

/// Walks one packet.
pub(super) struct Walker<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
    explored: RefCell<Explored<PacketVisit>>,
}

impl<'a> Walker<'a> {
    pub(super) fn new(network: &'a Network<'a>, plan: &'a Plan) -> Self {
        Self {
            network,
            plan,
            explored: RefCell::new(Explored::new(network.open_pieces)),
        }
    }
}

impl Walker<'_> {
    /// Follows a packet to its ends.
    pub(super) fn go_on(&self, branches: Vec<Branch>) -> Vec<Trace> {
        self.go_on_in_doubt(branches, &[])
    }

    /// The same for one whose way so far is in doubt, which is said of its ends by the caller.
    fn go_on_in_doubt(&self, branches: Vec<Branch>, so_far: &[Doubt]) -> Vec<Trace> {
        let mut traces = Vec::new();
        for branch in branches {
            for (more, next) in branch.next.ways() {
                let doubts = [&branch.doubts[..], &more].concat();
                let at = match next {
                    Next::Arrive(at) => at,
                    Next::Done(outcome) => {
                        let (packet, steps) = (branch.packet, branch.steps.clone());
                        traces.push(ended(outcome, packet, steps, doubts));
                        continue;
                    }
                    Next::Ways(_) => continue,
                };
                for (device, interface) in at {
                    let so_far = [so_far, &doubts].concat();
                    let next = match self.visit(
                        (device, interface),
                        (branch.packet, &branch.steps),
                        &so_far,
                    ) {
                        Visit::New => self.arrive(device, interface, branch.packet, &branch.steps),
                        Visit::Known => continue,
                        Visit::TooMany => Branch::ends(
                            Outcome::Stopped(Stop::TooManyWays),
                            blank(device, Some(interface), &branch.packet),
                            branch.steps.clone(),
                        ),
                    };
                    let mut on = self.go_on_in_doubt(next, &so_far);
                    on.iter_mut().for_each(|trace| {
                        trace.doubts.extend_from_slice(&doubts);
                        trace.doubts.sort_unstable();
                        trace.doubts.dedup();
                    });
                    traces.append(&mut on);
                }
            }
        }
        traces
    }

    fn visit(
        &self,
        at: (DeviceIndex, usize),
        (packet, steps): (Packet, &[Step]),
        so_far: &[Doubt],
    ) -> Visit {
        // One step alone has no order.
        let key = || (1 < steps.len()).then(|| PacketVisit::new(at, packet, steps, so_far));
        self.explored.borrow_mut().visit(key)
    }

    fn arrive(
        &self,
        device: DeviceIndex,
        ingress: usize,
        packet: Packet,
        steps: &[Step],
    ) -> Vec<Branch> {
        let here = self.plan.device(device);
        let step = blank(device, Some(ingress), &packet);
        let ends = |outcome, step| Branch::ends(outcome, step, steps.to_vec());
        let crossed = |step: &Step| {
            step.device == device && step.ingress == Some(ingress) && step.arrived == packet
        };
        if MOST_HOPS <= steps.len() || steps.iter().any(crossed) {
            return ends(Outcome::Stopped(Stop::Loop), step);
        }
        let nobody = &self.plan.nobody;
        let values = [packet.source, packet.destination].map(Family::value);
        if values.iter().any(|&value| nobody.contains(value)) {
            return ends(Outcome::NotForwardable, step);
        }
        let Some(accepts) = &here.interfaces[ingress].accepts else {
            return self.pass(device, step, packet, steps);
        };
        let checked = |passed| Step {
            source_check: Some(passed),
            ..step.clone()
        };
        let source = Family::value(packet.source);
        if accepts.surely.contains(source) {
            return self.pass(device, checked(true), packet, steps);
        }
        let mut branches = ends(Outcome::Stopped(Stop::SourceCheck), checked(false));
        if accepts.perhaps.contains(source) {
            let mut on = self.pass(device, checked(true), packet, steps);
            on.iter_mut()
                .for_each(|branch| branch.doubts.push(Doubt::Backup));
            branches.append(&mut on);
        }
        branches
    }

    /// What comes past the source check.
    fn pass(
        &self,
        device: DeviceIndex,
        mut step: Step,
        mut packet: Packet,
        steps: &[Step],
    ) -> Vec<Branch> {
        let here = self.plan.device(device);
        let arrivals = here.filter.as_ref().map(|filter| &filter.arrivals);
        let matched = arrivals
            .zip(step.ingress)
            .and_then(|(lines, ingress)| self.first_match(lines, ingress, &packet));
        if let Some(translation) = matched {
            step.destination_translation = Some(translation.line);
            if let Written::Address(address) = translation.written {
                packet.destination = self.plan.family.address(address);
                packet.destination_port = translation.port.unwrap_or(packet.destination_port);
            }
            step.left = packet;
        }
        if here.own.contains(Family::value(packet.destination)) {
            self.for_itself(here, step, packet, steps)
        } else if here.forwards {
            self.route(device, &step, packet, steps)
        } else {
            let stopped = Outcome::Stopped(Stop::NotForwarding);
            Branch::ends(stopped, step, steps.to_vec())
        }
    }

    fn for_itself(
        &self,
        here: &Device,
        mut step: Step,
        packet: Packet,
        steps: &[Step],
    ) -> Vec<Branch> {
        let mut outcome = Outcome::Delivered(self.place_of_own(here, packet.destination));
        if here.own.contains(Family::value(packet.source)) {
            outcome = Outcome::Stopped(Stop::OwnSource);
        } else if let (Some(filter), Some(ingress)) = (&here.filter, step.ingress) {
            let decision = Crossing::new(self.network, filter, (ingress, filter.itself), &packet)
                .decide(here.id);
            if decision.action != Action::Permit {
                outcome = Outcome::Stopped(Stop::Denied(decision.rule));
            }
            step.decision = Some(decision);
        }
        Branch::ends(outcome, step, steps.to_vec())
    }

    fn place_of_own(&self, device: &Device, address: IpAddr) -> Place {
        match device.id {
            DeviceId::Router(router) => Place::Router(router),
            DeviceId::Host(_) => {
                let value = Family::value(address);
                let mut owners = device.interfaces.iter();
                let owner = owners.find(|interface| interface.addresses.contains(&value));
                Place::Segment(owner.map_or(SegmentId(0), |interface| interface.segment))
            }
        }
    }

    /// By each route that may be used.
    pub(super) fn route(
        &self,
        device: DeviceIndex,
        step: &Step,
        packet: Packet,
        steps: &[Step],
    ) -> Vec<Branch> {
        let here = self.plan.device(device);
        let ways = here.routes.ways(Family::value(packet.destination));
        if ways.is_empty() {
            let stopped = Outcome::Stopped(Stop::NoRoute);
            return Branch::ends(stopped, step.clone(), steps.to_vec());
        }
        let each = ways.into_iter().flat_map(|(entry, doubt)| {
            let mut branches = self.route_by(entry, (device, step.clone()), packet, steps);
            branches
                .iter_mut()
                .for_each(|branch| branch.doubts.extend(doubt));
            branches
        });
        each.collect()
    }

    fn route_by(
        &self,
        entry: &RouteEntry,
        (device, mut step): (DeviceIndex, Step),
        packet: Packet,
        steps: &[Step],
    ) -> Vec<Branch> {
        let here = self.plan.device(device);
        step.route = Some(RouteChoice {
            prefix: (entry.prefix.low(), entry.prefix.high()),
            next_hop: entry.next_hop,
            place: entry.place,
        });
        let ends = |outcome, step| Branch::ends(outcome, step, steps.to_vec());
        let Some(egress) = entry.next_hop.interface() else {
            return ends(Outcome::Stopped(Stop::Discarded), step);
        };
        let packet = match self.pass_filter(here, (egress, entry.next_hop), &mut step, packet) {
            Ok(packet) => packet,
            Err(why) => return ends(Outcome::Stopped(why), step),
        };
        step.left = packet;
        let next = depart(self.plan, (device, egress), entry.next_hop, &packet);
        let steps = [steps, &[step]].concat();
        Branch::sure(next, packet, steps)
    }

    /// Rules and source translation; gives the packet as it leaves.
    fn pass_filter(
        &self,
        here: &Device,
        (egress, next_hop): (usize, NextHop),
        step: &mut Step,
        mut packet: Packet,
    ) -> Result<Packet, Stop> {
        let (Some(filter), Some(ingress)) = (&here.filter, step.ingress) else {
            return Ok(packet);
        };
        let decision =
            Crossing::new(self.network, filter, (ingress, egress), &packet).decide(here.id);
        let (action, rule) = (decision.action, decision.rule);
        step.decision = Some(decision);
        if action != Action::Permit {
            return Err(Stop::Denied(rule));
        }
        let Some(translation) = self.first_match(&filter.departures, egress, &packet) else {
            return Ok(packet);
        };
        step.source_translation = Some(translation.line);
        let written = match translation.written {
            Written::Address(address) => Some(address),
            Written::Unchanged => return Ok(packet),
            Written::Interface => {
                let target = match next_hop {
                    NextHop::Address { address, .. } => address,
                    _ => Family::value(packet.destination),
                };
                here.interfaces[egress].facing(target, &self.plan.nobody)
            }
        };
        let address = written.ok_or(Stop::NoTranslationAddress)?;
        packet.source = self.plan.family.address(address);
        Ok(packet)
    }

    pub(super) fn first_match<'t>(
        &self,
        list: &'t [TranslationPlan],
        interface: usize,
        packet: &Packet,
    ) -> Option<&'t TranslationPlan> {
        let class = class_of(self.network, packet);
        list.iter().find(|line| {
            holds(line.interfaces.as_ref(), interface as u128)
                && holds(line.source.as_ref(), Family::value(packet.source))
                && holds(line.destination.as_ref(), Family::value(packet.destination))
                && line
                    .services
                    .as_ref()
                    .is_none_or(|services| services.contains(class))
        })
    }
}

fn ended(outcome: Outcome, packet: Packet, steps: Vec<Step>, mut doubts: Vec<Doubt>) -> Trace {
    doubts.sort_unstable();
    doubts.dedup();
    Trace {
        steps,
        outcome,
        packet,
        host: None,
        doubts,
        reply: None,
    }
}

pub(super) fn blank(device: DeviceIndex, ingress: Option<usize>, packet: &Packet) -> Step {
    Step {
        device,
        ingress,
        source_check: None,
        arrived: *packet,
        destination_translation: None,
        route: None,
        decision: None,
        source_translation: None,
        left: *packet,
    }
}
