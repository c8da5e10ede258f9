//! The walk of one packet from device to device.

use std::net::IpAddr;

use crate::model::{Action, Family, HostId, SegmentId};
use crate::packet::IntervalSet;

use super::crossing::{Crossing, class_of, holds};
use super::filter::{TranslationPlan, Written};
use super::network::{Device, DeviceId, DeviceIndex, Network, Plan};
use super::reach::{Place, Stop};
use super::routes::NextHop;
use super::trace::{Outcome, Packet, RouteChoice, Step, Trace};
use super::wires::Stand;

/// Where a packet goes from a device or a sender.
#[derive(Clone, Copy)]
pub(super) enum Next {
    Arrive(DeviceIndex, usize),
    /// Any of the routers that plain devices find there.
    AnyRouter(Stand),
    Done(Outcome),
}

/// Walks one packet.
pub(super) struct Walker<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
}

impl Walker<'_> {
    pub(super) fn walk_from_segment(&self, segment: SegmentId, packet: &Packet) -> Vec<Trace> {
        let destination = Family::value(packet.destination);
        let start = match self.plan.segment(segment).on_link.contains(destination) {
            true => on_wire(self.plan, Stand::Segment(segment), destination),
            false => Next::AnyRouter(Stand::Segment(segment)),
        };
        self.go_on((start, *packet), Vec::new())
    }

    pub(super) fn walk_from_hostile(&self, segment: SegmentId, packet: &Packet) -> Vec<Trace> {
        let destination = Family::value(packet.destination);
        let wire = self.plan.wire(Stand::Hostile(segment));
        let taken = |(there, addresses): &&(SegmentId, Option<IntervalSet>)| {
            let addresses = addresses.as_ref();
            self.plan.segment(*there).on_link.contains(destination)
                && !self.plan.routers_own.contains(destination)
                && addresses.is_none_or(|set| set.contains(destination))
        };
        let landed = wire.lands.iter().filter(taken);
        let landed =
            landed.map(|(there, _)| Next::Done(Outcome::Delivered(Place::Segment(*there))));
        let attached = wire.attached.iter();
        let attached = attached.map(|&(device, interface)| Next::Arrive(device, interface));
        let starts: Vec<Next> = landed.chain(attached).collect();
        let ways = starts.into_iter();
        ways.flat_map(|start| self.go_on((start, *packet), Vec::new()))
            .collect()
    }

    pub(super) fn walk_from_host(&self, host: HostId, packet: &Packet) -> Vec<Trace> {
        let device = self.plan.host_index(host);
        let mut steps = Vec::new();
        let next = self.route(device, blank(device, None, packet), *packet, &mut steps);
        self.go_on(next, steps)
    }

    /// Follows a packet to its end; where several routers may be used, each way to its own end.
    fn go_on(&self, start: (Next, Packet), mut steps: Vec<Step>) -> Vec<Trace> {
        let (mut next, mut packet) = start;
        loop {
            let outcome = match next {
                Next::Arrive(device, interface) => {
                    (next, packet) = self.arrive(device, interface, packet, &mut steps);
                    continue;
                }
                Next::AnyRouter(stand) => {
                    let first_hops = &self.plan.wire(stand).first_hops;
                    let ways = first_hops.iter().flat_map(|&(device, interface)| {
                        self.go_on((Next::Arrive(device, interface), packet), steps.clone())
                    });
                    let ways: Vec<Trace> = ways.collect();
                    if !ways.is_empty() {
                        return ways;
                    }
                    Outcome::Stopped(Stop::NoFirstHop)
                }
                Next::Done(outcome) => outcome,
            };
            return vec![Trace {
                steps,
                outcome,
                packet,
                reply: None,
            }];
        }
    }

    fn arrive(
        &self,
        device: DeviceIndex,
        ingress: usize,
        mut packet: Packet,
        steps: &mut Vec<Step>,
    ) -> (Next, Packet) {
        let here = self.plan.device(device);
        let mut step = blank(device, Some(ingress), &packet);
        let stop = |why, step: Step, steps: &mut Vec<Step>| {
            let packet = step.left;
            steps.push(step);
            (Next::Done(why), packet)
        };
        let crossed = |step: &Step| step.device == device && step.ingress == Some(ingress);
        if steps.iter().any(crossed) {
            return stop(Outcome::Stopped(Stop::Loop), step, steps);
        }
        let nobody = &self.plan.nobody;
        let values = [packet.source, packet.destination].map(Family::value);
        if values.iter().any(|&value| nobody.contains(value)) {
            return stop(Outcome::NotForwardable, step, steps);
        }
        if let Some(accepts) = &here.interfaces[ingress].accepts {
            let accepted = accepts.contains(Family::value(packet.source));
            step.source_check = Some(accepted);
            if !accepted {
                return stop(Outcome::Stopped(Stop::SourceCheck), step, steps);
            }
        }
        if let Some(filter) = &here.filter {
            let matched = self.first_match(&filter.arrivals, ingress, &packet);
            if let Some(translation) = matched {
                step.destination_translation = Some(translation.line);
                if let Written::Address(address) = translation.written {
                    packet.destination = self.plan.family.address(address);
                    packet.destination_port = translation.port.unwrap_or(packet.destination_port);
                }
                step.left = packet;
            }
        }
        if here.own.contains(Family::value(packet.destination)) {
            return self.for_itself(here, step, packet, steps);
        }
        if !here.forwards {
            return stop(Outcome::Stopped(Stop::NotForwarding), step, steps);
        }
        self.route(device, step, packet, steps)
    }

    fn for_itself(
        &self,
        here: &Device,
        mut step: Step,
        packet: Packet,
        steps: &mut Vec<Step>,
    ) -> (Next, Packet) {
        let mut outcome = Outcome::Delivered(self.place_of_own(here, packet.destination));
        if let (Some(filter), Some(ingress)) = (&here.filter, step.ingress) {
            let decision = Crossing::new(self.network, filter, (ingress, filter.itself), &packet)
                .decide(here.id);
            if decision.action != Action::Permit {
                outcome = Outcome::Stopped(Stop::Denied(decision.rule));
            }
            step.decision = Some(decision);
        }
        steps.push(step);
        (Next::Done(outcome), packet)
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

    fn route(
        &self,
        device: DeviceIndex,
        mut step: Step,
        packet: Packet,
        steps: &mut Vec<Step>,
    ) -> (Next, Packet) {
        let here = self.plan.device(device);
        let destination = Family::value(packet.destination);
        let entry = here.routes.lookup(destination);
        step.route = entry.map(|entry| RouteChoice {
            prefix: (entry.prefix.low(), entry.prefix.high()),
            next_hop: entry.next_hop,
            place: entry.place,
        });
        let next_hop = entry.map(|entry| entry.next_hop);
        let Some((next_hop, egress)) = next_hop.and_then(|hop| Some((hop, hop.interface()?)))
        else {
            steps.push(step);
            let why = if next_hop.is_some() {
                Stop::Discarded
            } else {
                Stop::NoRoute
            };
            return (Next::Done(Outcome::Stopped(why)), packet);
        };
        let packet = match self.pass_filter(here, egress, &mut step, packet) {
            Ok(packet) => packet,
            Err(why) => {
                steps.push(step);
                return (Next::Done(Outcome::Stopped(why)), packet);
            }
        };
        step.left = packet;
        steps.push(step);
        (
            depart(self.plan, device, egress, next_hop, destination),
            packet,
        )
    }

    /// Rules and source translation; gives the packet as it leaves.
    fn pass_filter(
        &self,
        here: &Device,
        egress: usize,
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
            Written::Interface => here.interfaces[egress].addresses.first().copied(),
        };
        let address = written.ok_or(Stop::NoTranslationAddress)?;
        packet.source = self.plan.family.address(address);
        Ok(packet)
    }

    fn first_match<'t>(
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

/// Who gets a packet that is handed out on-link.
pub(super) fn on_wire(plan: &Plan, stand: Stand, destination: u128) -> Next {
    let from = match stand {
        Stand::Foot(device, _) => Some(device),
        Stand::Segment(_) | Stand::Hostile(_) => None,
    };
    let mut receivers = plan.receivers(stand);
    let owner =
        receivers.find(|(device, _, own)| Some(*device) != from && own.contains(destination));
    if let Some((device, interface, _)) = owner {
        return Next::Arrive(device, interface);
    }
    let takes = |addresses: &Option<IntervalSet>| {
        let set = addresses.as_ref();
        set.is_none_or(|set| set.contains(destination))
    };
    Next::Done(match plan.wire(stand).lands.first() {
        Some((segment, addresses))
            if takes(addresses) && !plan.routers_own.contains(destination) =>
        {
            Outcome::Delivered(Place::Segment(*segment))
        }
        _ => Outcome::Stopped(Stop::OffWire),
    })
}

/// Where a packet goes that leaves by an interface.
pub(super) fn depart(
    plan: &Plan,
    device: DeviceIndex,
    egress: usize,
    next_hop: NextHop,
    destination: u128,
) -> Next {
    let stand = Stand::Foot(device, egress);
    let stopped = |why| Next::Done(Outcome::Stopped(why));
    match next_hop {
        NextHop::OnLink { .. } => on_wire(plan, stand, destination),
        NextHop::Discard => stopped(Stop::Discarded),
        NextHop::AnyRouter { .. } => Next::AnyRouter(stand),
        NextHop::Address { address, .. } => match plan.owner(stand, address) {
            Some((next, interface)) => Next::Arrive(next, interface),
            None if plan.leads_out(stand) => {
                Next::Done(Outcome::Delivered(Place::Segment(plan.segment_of(stand))))
            }
            None => stopped(Stop::NextHopSilent),
        },
    }
}

fn blank(device: DeviceIndex, ingress: Option<usize>, packet: &Packet) -> Step {
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
