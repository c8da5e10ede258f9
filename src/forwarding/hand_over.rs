//! Who takes a set of packets that is handed out on-link.

use boundwalk_packet::IntervalSet;

use super::device::{DeviceId, DeviceIndex};
use super::doubt::{Certainty, Doubt};
use super::flow::Flow;
use super::neighbours::SendPoint;
use super::plan::Plan;
use super::reach::Walk;
use super::stop::Stop;

impl Walk<'_> {
    /// Delivery on-link: to the gateway or router that owns the address, else to the devices there.
    pub(super) fn hand_over(&mut self, send_point: SendPoint, flow: Flow) {
        let from = send_point.device();
        let Some(flow) = self.hand_to_owners(send_point, flow) else {
            return;
        };
        let (routers, rest) = self.split_destination(&flow, &self.plan.routers_own);
        if let Some(routers) = routers {
            for (device, interface, own) in self.plan.learned_receivers(send_point) {
                if let (Some(mine), _) = self.split_destination(&routers, &own) {
                    self.arrive(device, interface, mine.at_most(Certainty::Possible));
                }
            }
            let mut taken = IntervalSet::empty();
            for (device, interface, own) in self.plan.receivers(send_point) {
                if Some(device) == from {
                    continue;
                }
                if let (Some(mine), _) = self.split_destination(&routers, &own) {
                    taken = taken.union(&own);
                    self.arrive(device, interface, mine);
                }
            }
            // A gateway or router that is not on the wire does not take its own there, nor does anybody else.
            if let (_, Some(lost)) = self.split_destination(&routers, &taken) {
                self.stop(Stop::OffWire, lost);
            }
        }
        if let Some(rest) = rest {
            self.land(send_point, rest);
        }
    }

    /// What is for addresses that go to whoever has them goes there; the rest is given back.
    fn hand_to_owners(&mut self, send_point: SendPoint, mut flow: Flow) -> Option<Flow> {
        if self.plan.by_owner.is_empty() {
            return Some(flow);
        }
        for address in points(&flow.now.destination.intersection(&self.plan.by_owner)) {
            let owners = self.plan.owners(send_point, address);
            if owners.is_empty() {
                continue;
            }
            let (same, others) = self.split_destination(&flow, &IntervalSet::point(address));
            if let Some(same) = same {
                self.hand_to_doubled(&owners, address, &same);
            }
            flow = others?;
        }
        Some(flow)
    }

    /// To whichever of some devices answers for an address that several have.
    fn hand_to_doubled(&mut self, owners: &[(DeviceIndex, usize)], address: u128, flow: &Flow) {
        let certainty = Doubt::of(Plan::doubt_between(owners));
        for &(device, interface) in owners {
            let flow = flow.clone().at_most(certainty);
            let here = self.plan.device(device);
            match here.id {
                DeviceId::Router(_) => self.arrive(device, interface, flow),
                DeviceId::Host(_) => self.deliver(here.home_of(address, interface), flow),
            }
        }
    }

    /// Delivery to the devices that are found on the wire.
    fn land(&mut self, send_point: SendPoint, flow: Flow) {
        let plan = self.plan;
        let Some((segment, addresses)) = plan.wire(send_point).receivers.first() else {
            self.land_learned(send_point, flow);
            return;
        };
        let (there, off) = match addresses {
            None => (Some(flow), None),
            Some(addresses) => self.split_destination(&flow, addresses),
        };
        if let Some(there) = there {
            self.deliver(*segment, there);
        }
        if let Some(off) = off {
            self.land_learned(send_point, off);
        }
    }

    /// Delivery to hosts that are not found, and are known if they have asked.
    fn land_learned(&mut self, send_point: SendPoint, flow: Flow) {
        let learned = self.plan.learned_hosts(send_point);
        if let (Some(there), _) = self.split_destination(&flow, &learned)
            && let Some(segment) = self.plan.segment_of(send_point)
        {
            self.deliver(segment, there.at_most(Certainty::Possible));
        }
        self.stop(Stop::OffWire, flow);
    }
}

/// The single addresses of a set.
fn points(set: &IntervalSet) -> Vec<u128> {
    set.intervals()
        .iter()
        .flat_map(|part| part.low()..=part.high())
        .collect()
}
