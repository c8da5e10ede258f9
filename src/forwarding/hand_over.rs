//! Who takes a set of packets that is handed out on-link.

use crate::packet::IntervalSet;

use super::flow::{Certainty, Flow};
use super::network::{DeviceId, DeviceIndex};
use super::reach::{Stop, Walk};
use super::wires::Stand;

impl Walk<'_> {
    /// Delivery on-link: to the gateway or router that owns the address, else to the devices there.
    pub(super) fn hand_over(&mut self, stand: Stand, flow: Flow) {
        let from = match stand {
            Stand::Foot(device, _) => Some(device),
            Stand::Segment(_) | Stand::Hostile(_) => None,
        };
        let mut flow = flow;
        for address in points(&flow.now.destination.intersection(&self.plan.by_owner)) {
            let (same, others) = self.split_destination(&flow, &IntervalSet::point(address));
            let owners = self.plan.owners(stand, address);
            if let Some(same) = same.filter(|_| !owners.is_empty()) {
                self.hand_to_doubled(&owners, address, &same);
                match others {
                    Some(others) => flow = others,
                    None => return,
                }
            }
        }
        let (routers, rest) = self.split_destination(&flow, &self.plan.routers_own);
        if let Some(routers) = routers {
            for (device, interface, own) in self.plan.learned_receivers(stand) {
                if let (Some(mine), _) = self.split_destination(&routers, &own) {
                    self.arrive(device, interface, mine.at_most(Certainty::Possible));
                }
            }
            let mut taken = IntervalSet::empty();
            for (device, interface, own) in self.plan.receivers(stand) {
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
            self.land(stand, rest);
        }
    }

    /// To whichever of some devices answers for an address that several have.
    fn hand_to_doubled(&mut self, owners: &[(DeviceIndex, usize)], address: u128, flow: &Flow) {
        let certainty = of_owners(owners);
        for &(device, interface) in owners {
            let flow = flow.clone().at_most(certainty);
            let here = self.plan.device(device);
            match here.id {
                DeviceId::Router(_) => self.arrive(device, interface, flow),
                DeviceId::Host(_) => {
                    let own = here.interfaces[interface].segment;
                    self.deliver(here.segment_of(address).unwrap_or(own), flow);
                }
            }
        }
    }

    /// Delivery to the devices that are found on the wire.
    fn land(&mut self, stand: Stand, flow: Flow) {
        let plan = self.plan;
        let Some((segment, addresses)) = plan.wire(stand).lands.first() else {
            self.land_learned(stand, flow);
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
            self.land_learned(stand, off);
        }
    }

    /// Delivery to hosts that are not found, and are known if they have asked.
    fn land_learned(&mut self, stand: Stand, flow: Flow) {
        let learned = self.plan.learned_hosts(stand);
        if let (Some(there), _) = self.split_destination(&flow, &learned)
            && let Some(segment) = self.plan.segment_of(stand)
        {
            self.deliver(segment, there.at_most(Certainty::Possible));
        }
        self.stop(Stop::OffWire, flow);
    }
}

/// How sure it is which interface a packet comes to: of several of one device both are tried, of several devices
/// nobody can say which answers.
pub(super) fn of_owners(owners: &[(DeviceIndex, usize)]) -> Certainty {
    let first = owners.first().map(|(device, _)| *device);
    match owners.iter().all(|(device, _)| Some(*device) == first) {
        true => Certainty::Certain,
        false => Certainty::OneOf,
    }
}

/// The single addresses of a set.
fn points(set: &IntervalSet) -> Vec<u128> {
    let all = set.intervals().iter();
    all.flat_map(|part| part.low()..=part.high()).collect()
}
