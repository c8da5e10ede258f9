//! How senders hand their packets to the first device.

use boundwalk_model::SegmentId;
use boundwalk_packet::{IntervalSet, Region};

use super::device::{Attachment, DeviceIndex};
use super::doubt::{Certainty, Doubt};
use super::flow::Flow;
use super::layer2::Origin;
use super::neighbours::SendPoint;
use super::plan::SegmentPlan;
use super::reach::{Target, Walk};
use super::routes::NextHop;
use super::sender::Sender;
use super::stop::Stop;

impl Walk<'_> {
    /// Sends everything that a sender can send to a target.
    pub(super) fn send(&mut self, sender: Sender, target: Target<'_>) {
        match sender {
            Sender::Segment(segment) => {
                let source = self.plan.segment(segment).addresses.clone();
                self.send_from_segment(segment, Flow::new(target.region(self.network, source)));
                let plan = self.plan;
                for &host in plan.hosts_with_own_ways(segment) {
                    self.send_from_host(host, Some(segment), target);
                }
            }
            Sender::Host(host) => self.send_from_host(self.plan.host_index(host), None, target),
            Sender::Hostile(origin) => self.send_hostile(origin, target, false),
        }
    }

    /// A host sends from an address of the interface that the packet leaves by; those that are valid on the
    /// link only are left to the link. With a segment, only what leaves by interfaces on it.
    fn send_from_host(&mut self, device: DeviceIndex, only: Option<SegmentId>, target: Target<'_>) {
        let here = self.plan.device(device);
        // What it sends to itself never leaves it.
        let others = target.addresses.difference(&here.own);
        for (next_hop, doubt, destination) in here.routes.split_ways(&others) {
            let egress = next_hop.and_then(NextHop::interface);
            let egress = egress.map(|egress| &here.interfaces[egress]);
            if only.is_some() && egress.map(|egress| egress.segment) != only {
                continue;
            }
            let source = egress.map(Attachment::own).unwrap_or_default();
            let source = source.difference(&self.plan.nobody);
            let region = target.region(self.network, source);
            let mut flow = Flow::new(Region {
                destination,
                ..region
            });
            flow.host = Some(device);
            flow.certainty = Doubt::of(doubt);
            match flow.now.source.is_empty() {
                true if only.is_some() => {}
                true => self.stop(Stop::NoSource, flow),
                false => self.route_by(device, next_hop, flow),
            }
        }
    }

    fn send_from_segment(&mut self, segment: SegmentId, flow: Flow) {
        if flow.now.is_empty() {
            return;
        }
        let plan = self.plan.segment(segment);
        let (near, far) = self.split_destination(&flow, &plan.on_link);
        let send_point = SendPoint::Segment(segment);
        if let Some(mut near) = near {
            let contested = &self.plan.contested;
            if near.now.destination.overlaps(contested) {
                let (either, rest) = self.split_destination(&near, contested);
                if let Some(either) = either.map(|either| either.at_most(Certainty::OneOf)) {
                    self.hand_over(send_point, either.clone());
                    self.send_to_routers(send_point, either);
                }
                match rest {
                    Some(rest) => near = rest,
                    None => return self.send_far(send_point, far),
                }
            }
            self.hand_over(send_point, near);
        }
        self.send_far(send_point, far);
    }

    fn send_far(&mut self, send_point: SendPoint, far: Option<Flow>) {
        if let Some(far) = far {
            self.send_to_routers(send_point, far);
        }
    }

    pub(super) fn send_to_routers(&mut self, send_point: SendPoint, flow: Flow) {
        let plan = self.plan;
        for (device, interface) in plan.learned_routers(send_point) {
            self.arrive(device, interface, flow.clone().at_most(Certainty::Possible));
        }
        for (device, interface) in plan.other_routers_at(send_point) {
            self.arrive(device, interface, flow.clone().at_most(Certainty::Possible));
        }
        let mut first_hops = plan.routers_at(send_point).peekable();
        if first_hops.peek().is_none() {
            self.stop(Stop::NoFirstHop, flow);
            return;
        }
        let shared = !plan.doubled.is_empty();
        for (device, interface) in first_hops {
            let certainty = if shared && plan.shares_gateway(send_point, (device, interface)) {
                Certainty::OneOf
            } else {
                Certainty::Certain
            };
            self.arrive(device, interface, flow.clone().at_most(certainty));
        }
    }

    /// Sends to every interface that frames reach, and to devices directly. With `beyond`, what plain
    /// devices send as well is left out: their own sources to destinations off the segment, by their first
    /// hops.
    pub(super) fn send_hostile(&mut self, origin: Origin, target: Target<'_>, beyond: bool) {
        let family = self.plan;
        let anywhere = family.family.full().difference(&family.nobody);
        let flow = Flow::new(target.region(self.network, anywhere));
        let home = origin.segment().map(|segment| family.segment(segment));
        let less = match home {
            Some(home) if beyond => self.beyond_plain(home, &flow),
            _ => vec![flow.clone()],
        };
        let wire = family.wire(SendPoint::Hostile(origin));
        self.land_hostile(&wire.receivers, &flow);
        for &(device, interface) in &wire.attached {
            if home.is_some_and(|home| home.first_hops.contains(&(device, interface))) {
                for flow in &less {
                    self.arrive(device, interface, flow.clone());
                }
            } else {
                self.arrive(device, interface, flow.clone());
            }
        }
    }

    /// What plain devices of a segment do not send by their first hops.
    fn beyond_plain(&self, home: &SegmentPlan, flow: &Flow) -> Vec<Flow> {
        let (near, _) = self.split_destination(flow, &home.on_link);
        let other_sources = Region {
            source: flow.now.source.difference(&home.addresses),
            ..flow.now.clone()
        };
        let mut less = vec![flow.restricted(other_sources, &self.network.classes)];
        if let Some(near) = near {
            let own_sources = Region {
                source: near.now.source.intersection(&home.addresses),
                ..near.now.clone()
            };
            less.push(near.restricted(own_sources, &self.network.classes));
        }
        less.retain(|flow| !flow.now.is_empty());
        less
    }

    /// Frames that reach devices without any router: to addresses of their segments.
    fn land_hostile(&mut self, receivers: &[(SegmentId, Option<IntervalSet>)], flow: &Flow) {
        for (segment, addresses) in receivers {
            let on_link = &self.plan.segment(*segment).on_link;
            let theirs = on_link.difference(&self.plan.routers_only);
            let theirs = match addresses {
                Some(addresses) => theirs.intersection(addresses),
                None => theirs,
            };
            if let (Some(there), _) = self.split_destination(flow, &theirs) {
                self.deliver(*segment, there);
            }
        }
    }
}
