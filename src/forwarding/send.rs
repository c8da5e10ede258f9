//! How senders hand their packets to the first device.

use crate::model::{HostId, SegmentId};
use crate::packet::{Interval, IntervalSet, Region};

use super::flow::Flow;
use super::reach::{Sender, Stop, Target, Walk};
use super::routes::NextHop;

impl Walk<'_> {
    /// Sends everything that a sender can send to a target.
    pub(super) fn send(&mut self, sender: Sender, target: Target<'_>) {
        match sender {
            Sender::Segment(segment) => {
                let source = self.plan.segment(segment).addresses.clone();
                self.send_from_segment(segment, Flow::new(target.region(self.network, source)));
            }
            Sender::Host(host) => self.send_from_host(host, target),
            Sender::Hostile(segment) => self.send_hostile(segment, target, false),
        }
    }

    /// A host sends from an address of the interface that the packet leaves by; those that are valid on the
    /// link only are left to the link.
    fn send_from_host(&mut self, host: HostId, target: Target<'_>) {
        let device = self.plan.host_index(host);
        let here = self.plan.device(device);
        for (next_hop, destination) in here.routes.split(target.addresses) {
            let egress = next_hop.and_then(NextHop::interface);
            let addresses = egress.map_or(&[][..], |egress| &here.interfaces[egress].addresses);
            let source: IntervalSet = addresses.iter().map(|&at| Interval::point(at)).collect();
            let source = source.difference(&self.plan.nobody);
            let region = target.region(self.network, source);
            let flow = Flow::new(Region {
                destination,
                ..region
            });
            match flow.now.source.is_empty() {
                true => self.stop(Stop::NoSource, flow),
                false => self.route(device, flow),
            }
        }
    }

    fn send_from_segment(&mut self, segment: SegmentId, flow: Flow) {
        if flow.now.is_empty() {
            return;
        }
        let plan = self.plan.segment(segment);
        let (near, far) = self.split_destination(&flow, &plan.on_link);
        if let Some(near) = near {
            self.hand_over(segment, None, near);
        }
        if let Some(far) = far {
            self.send_to_routers(segment, far);
        }
    }

    pub(super) fn send_to_routers(&mut self, segment: SegmentId, flow: Flow) {
        let plan = self.plan.segment(segment);
        if plan.first_hops.is_empty() {
            self.stop(Stop::NoFirstHop, flow);
            return;
        }
        for &(device, interface) in &plan.first_hops {
            self.arrive(device, interface, flow.clone());
        }
    }

    /// Sends by every interface on the segment. With `beyond`, what plain devices send as well is left out:
    /// their own sources to destinations off the segment, by their first hops.
    pub(super) fn send_hostile(&mut self, segment: SegmentId, target: Target<'_>, beyond: bool) {
        let anywhere = self.plan.family.full().difference(&self.plan.nobody);
        let flow = Flow::new(target.region(self.network, anywhere));
        let plan = self.plan.segment(segment);
        let (near, _) = self.split_destination(&flow, &plan.on_link);
        let other_sources = Region {
            source: flow.now.source.difference(&plan.addresses),
            ..flow.now.clone()
        };
        let mut less = vec![flow.restricted(other_sources, &self.network.classes)];
        if let Some(near) = near {
            let own_sources = Region {
                source: near.now.source.intersection(&plan.addresses),
                ..near.now.clone()
            };
            less.push(near.restricted(own_sources, &self.network.classes));
            self.hand_over(segment, None, near);
        }
        less.retain(|flow| !flow.now.is_empty());
        for &(device, interface) in &plan.attached {
            if beyond && plan.first_hops.contains(&(device, interface)) {
                for flow in &less {
                    self.arrive(device, interface, flow.clone());
                }
            } else {
                self.arrive(device, interface, flow.clone());
            }
        }
    }
}
