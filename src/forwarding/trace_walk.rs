//! The walk of one packet from device to device.

use std::net::IpAddr;

use crate::model::{Action, Family, HostId, SegmentId};
use crate::packet::IntervalSet;

use super::crossing::{Crossing, class_of, holds};
use super::filter::{TranslationPlan, Written};
use super::layer2::Origin;
use super::network::{Attachment, Device, DeviceId, DeviceIndex, Network, Plan};
use super::reach::{MOST_HOPS, Place, Stop};
use super::routes::NextHop;
use super::trace::{Outcome, Packet, RouteChoice, Step, Trace};
use super::wires::Stand;

/// Where a packet goes from a device or a sender.
#[derive(Clone)]
pub(super) enum Next {
    /// To one of these interfaces, whichever answers; never none.
    Arrive(Vec<(DeviceIndex, usize)>),
    Done(Outcome),
    /// As the first says, and perhaps as the second: to a next hop that is known only if it has asked.
    Perhaps(Box<[Self; 2]>),
}

impl Next {
    /// Where it may go besides, by what the sender may have learned.
    fn or_learned(self, learned: Vec<(DeviceIndex, usize)>) -> Self {
        match learned.is_empty() {
            true => self,
            false => Self::Perhaps(Box::new([self, Self::Arrive(learned)])),
        }
    }

    /// Where it goes for certain.
    pub(super) fn certain(self) -> Self {
        match self {
            Self::Perhaps(both) => {
                let [certain, _] = *both;
                certain.certain()
            }
            next => next,
        }
    }
}

/// Walks one packet.
pub(super) struct Walker<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
}

impl Walker<'_> {
    pub(super) fn walk_from_segment(&self, segment: SegmentId, packet: &Packet) -> Vec<Trace> {
        let destination = Family::value(packet.destination);
        let stand = Stand::Segment(segment);
        let start = match self.plan.segment(segment).on_link.contains(destination) {
            true => on_wire(self.plan, stand, packet),
            false => any_router(self.plan, stand),
        };
        let mut traces = self.go_on((start, *packet), Vec::new());
        for &host in self.plan.hosts_with_own_ways(segment) {
            traces.extend(self.walk_from_host_on(host, segment, packet));
        }
        traces
    }

    /// What a described host on a segment sends by its own routes out of an interface there, if the source is one of
    /// its addresses on that interface.
    fn walk_from_host_on(
        &self,
        host: DeviceIndex,
        segment: SegmentId,
        packet: &Packet,
    ) -> Vec<Trace> {
        let here = self.plan.device(host);
        let entry = here.routes.lookup(Family::value(packet.destination));
        let egress = entry.and_then(|entry| entry.next_hop.interface());
        let egress = egress.map(|egress| &here.interfaces[egress]);
        let source = Family::value(packet.source);
        let sends = |interface: &Attachment| {
            interface.segment == segment && interface.addresses.contains(&source)
        };
        let itself = here.own.contains(Family::value(packet.destination));
        match egress.is_some_and(sends) && !itself && !self.plan.nobody.contains(source) {
            true => self.walk_from_device(host, packet),
            false => Vec::new(),
        }
    }

    pub(super) fn walk_from_hostile(&self, origin: Origin, packet: &Packet) -> Vec<Trace> {
        let destination = Family::value(packet.destination);
        let wire = self.plan.wire(Stand::Hostile(origin));
        let taken = |(there, addresses): &&(SegmentId, Option<IntervalSet>)| {
            let addresses = addresses.as_ref();
            self.plan.segment(*there).on_link.contains(destination)
                && !self.plan.routers_own.contains(destination)
                && addresses.is_none_or(|set| set.contains(destination))
        };
        let landed = wire.lands.iter().filter(taken);
        let landed = landed.map(|(there, _)| Next::Done(landing(self.plan, *there, packet)));
        let attached = wire.attached.iter();
        let attached = attached.map(|&at| Next::Arrive(vec![at]));
        let starts: Vec<Next> = landed.chain(attached).collect();
        let ways = starts.into_iter();
        ways.flat_map(|start| self.go_on((start, *packet), Vec::new()))
            .collect()
    }

    pub(super) fn walk_from_host(&self, host: HostId, packet: &Packet) -> Vec<Trace> {
        self.walk_from_device(self.plan.host_index(host), packet)
    }

    fn walk_from_device(&self, device: DeviceIndex, packet: &Packet) -> Vec<Trace> {
        let mut steps = Vec::new();
        let next = self.route(device, blank(device, None, packet), *packet, &mut steps);
        let mut traces = self.go_on(next, steps);
        traces
            .iter_mut()
            .for_each(|trace| trace.host = Some(device));
        traces
    }

    /// A packet handed over by another way than the sender's own: to interfaces that somebody chose.
    pub(super) fn walk_by(&self, via: &[(DeviceIndex, usize)], packet: &Packet) -> Vec<Trace> {
        match via.is_empty() {
            true => Vec::new(),
            false => self.go_on((Next::Arrive(via.to_vec()), *packet), Vec::new()),
        }
    }

    /// Follows a packet to its end; where several routers may be used, each way to its own end.
    fn go_on(&self, start: (Next, Packet), mut steps: Vec<Step>) -> Vec<Trace> {
        let (mut next, mut packet) = start;
        loop {
            let outcome = match next {
                Next::Arrive(at) => {
                    if let &[(device, interface)] = at.as_slice() {
                        (next, packet) = self.arrive(device, interface, packet, &mut steps);
                        continue;
                    }
                    let each = at.into_iter();
                    let each = each.map(|at| (Next::Arrive(vec![at]), packet));
                    return each
                        .flat_map(|start| self.go_on(start, steps.clone()))
                        .collect();
                }
                Next::Perhaps(both) => {
                    let [certain, learned] = *both;
                    let mut traces = self.go_on((certain, packet), steps.clone());
                    let mut perhaps = self.go_on((learned, packet), steps);
                    perhaps.iter_mut().for_each(|trace| trace.learned = true);
                    traces.append(&mut perhaps);
                    return traces;
                }
                Next::Done(outcome) => outcome,
            };
            return vec![Trace {
                steps,
                outcome,
                packet,
                host: None,
                learned: false,
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
        let crossed = |step: &Step| {
            step.device == device && step.ingress == Some(ingress) && step.arrived == packet
        };
        if MOST_HOPS <= steps.len() || steps.iter().any(crossed) {
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
        let packet = match self.pass_filter(here, (egress, next_hop), &mut step, packet) {
            Ok(packet) => packet,
            Err(why) => {
                steps.push(step);
                return (Next::Done(Outcome::Stopped(why)), packet);
            }
        };
        step.left = packet;
        steps.push(step);
        (
            depart(self.plan, (device, egress), next_hop, &packet),
            packet,
        )
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

/// How it ends for a packet that comes to devices of a segment.
fn landing(plan: &Plan, segment: SegmentId, packet: &Packet) -> Outcome {
    match to_itself(plan, packet) {
        true => Outcome::Stopped(Stop::OwnSource),
        false => Outcome::Delivered(Place::Segment(segment)),
    }
}

/// Whether the receiver of a packet has its source address itself.
pub(super) fn to_itself(plan: &Plan, packet: &Packet) -> bool {
    let (source, destination) = (
        Family::value(packet.source),
        Family::value(packet.destination),
    );
    let mut several = plan.several_own.iter();
    source == destination || several.any(|own| own.contains(source) && own.contains(destination))
}

/// Any of the routers that plain devices find at a stand.
pub(super) fn any_router(plan: &Plan, stand: Stand) -> Next {
    let first_hops: Vec<_> = plan.routers_at(stand).collect();
    let certain = match first_hops.is_empty() {
        true => Next::Done(Outcome::Stopped(Stop::NoFirstHop)),
        false => Next::Arrive(first_hops),
    };
    certain.or_learned(plan.learned_routers(stand))
}

/// Who gets a packet that is handed out on-link.
pub(super) fn on_wire(plan: &Plan, stand: Stand, packet: &Packet) -> Next {
    let from = match stand {
        Stand::Foot(device, _) => Some(device),
        Stand::Segment(_) | Stand::Hostile(_) => None,
    };
    let destination = Family::value(packet.destination);
    let takers = plan
        .receivers(stand)
        .filter(|(device, _, own)| Some(*device) != from && own.contains(destination));
    let takers: Vec<_> = takers
        .map(|(device, interface, _)| (device, interface))
        .collect();
    let learned = plan.learned_receivers(stand);
    let learned = learned.filter(|(_, _, own)| own.contains(destination));
    let learned = learned.map(|(device, interface, _)| (device, interface));
    let learned: Vec<_> = learned.collect();
    if !takers.is_empty() {
        return Next::Arrive(takers).or_learned(learned);
    }
    let certain = to_devices(plan, stand, packet);
    let off = matches!(certain, Next::Done(Outcome::Stopped(Stop::OffWire)));
    match plan.segment_of(stand) {
        Some(segment) if off && plan.learned_hosts(stand).contains(destination) => {
            let landed = Next::Done(landing(plan, segment, packet));
            Next::Perhaps(Box::new([certain, landed]))
        }
        _ => certain.or_learned(learned),
    }
}

/// Who gets it of the devices that are found on the wire.
fn to_devices(plan: &Plan, stand: Stand, packet: &Packet) -> Next {
    let destination = Family::value(packet.destination);
    let takes = |addresses: &Option<IntervalSet>| {
        let set = addresses.as_ref();
        set.is_none_or(|set| set.contains(destination))
    };
    Next::Done(match plan.wire(stand).lands.first() {
        Some((segment, addresses))
            if takes(addresses) && !plan.routers_own.contains(destination) =>
        {
            landing(plan, *segment, packet)
        }
        _ => Outcome::Stopped(Stop::OffWire),
    })
}

/// Where a packet goes that leaves by an interface.
pub(super) fn depart(
    plan: &Plan,
    (device, egress): (DeviceIndex, usize),
    next_hop: NextHop,
    packet: &Packet,
) -> Next {
    let stand = Stand::Foot(device, egress);
    let stopped = |why| Next::Done(Outcome::Stopped(why));
    match next_hop {
        NextHop::OnLink { .. } => on_wire(plan, stand, packet),
        NextHop::Discard => stopped(Stop::Discarded),
        NextHop::AnyRouter { .. } => any_router(plan, stand),
        NextHop::Address { address, .. } => {
            let owners = plan.owners(stand, address);
            let certain = match plan.leads_out(stand) {
                _ if !owners.is_empty() => Next::Arrive(owners),
                Some(outside) => leave_site(plan, outside, packet),
                None => stopped(Stop::NextHopSilent),
            };
            certain.or_learned(plan.learned_owners(stand, address))
        }
    }
}

/// How it ends for a packet that leaves the site by an external segment.
fn leave_site(plan: &Plan, outside: SegmentId, packet: &Packet) -> Next {
    let destination = Family::value(packet.destination);
    Next::Done(match plan.segment(outside).unrouted.contains(destination) {
        true => Outcome::Stopped(Stop::LostOutside(outside)),
        false => landing(plan, outside, packet),
    })
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
