//! What of a pair does not arrive.

use crate::forwarding::{Device, DeviceId, NextHop, Plan, Sender};
use crate::packet::{ClassSet, Region};

use super::replies::left_over;

/// What was sent and did not arrive, on one way at least.
pub(super) struct Missed<'p> {
    plan: &'p Plan,
    asked: ClassSet,
    /// Services of which some packet surely does not arrive.
    services: ClassSet,
    /// Where a packet may take several ways: parts that did not arrive by one of them.
    parts: Option<Vec<Region>>,
    /// There too: parts that arrived.
    arrived: Vec<Region>,
}

impl<'p> Missed<'p> {
    /// Nothing yet of the services asked about. `forks`: whether [`forks`] holds for some device on the way.
    pub(super) fn new(asked: ClassSet, plan: &'p Plan, sender: Sender, forks: bool) -> Self {
        let starts = match sender {
            Sender::Segment(segment) => {
                1 < plan.segment(segment).first_hops.len()
                    || !plan.hosts_with_own_ways(segment).is_empty()
            }
            Sender::Hostile(_) => true,
            Sender::Host(host) => hands_to_several(plan, plan.device(plan.host_index(host))),
        };
        Self {
            plan,
            services: asked.difference(&asked),
            asked,
            parts: (forks || starts).then(Vec::new),
            arrived: Vec::new(),
        }
    }

    /// It does not arrive. What a device sends to itself need not.
    pub(super) fn add(&mut self, sent: &Region) {
        let missed = self.plan.sent_to_others(sent);
        match &mut self.parts {
            // An empty part stands for what the sender can't send at all.
            Some(parts) if !sent.is_empty() => parts.extend(missed),
            _ => missed
                .iter()
                .for_each(|part| self.services.union_with(&part.services)),
        }
    }

    /// Something was delivered, and this part of it where it was sent to.
    pub(super) fn deliver(&mut self, sent: &Region, mine: Option<&Region>) {
        let Some(mine) = mine else {
            self.add(sent);
            return;
        };
        if sent != mine {
            for elsewhere in sent.difference(mine) {
                self.add(&elsewhere);
            }
        }
        if self.parts.is_some() {
            self.arrived.push(mine.clone());
        }
    }

    /// Services of which every packet arrives.
    pub(super) fn others(self) -> ClassSet {
        let mut others = self.asked.difference(&self.services);
        for mut part in self.parts.into_iter().flatten() {
            part.services.intersection_with(&others);
            for left in left_over(part, &self.arrived) {
                others.difference_with(&left.services);
            }
        }
        others
    }
}

/// Whether some device that forwards may hand one packet to several routers, or to several interfaces of one.
pub(super) fn forks(plan: &Plan) -> bool {
    if plan.takes_in_by_several() {
        return true;
    }
    let mut hosts = plan.devices.iter().filter(|device| {
        let host = matches!(device.id, DeviceId::Host(_));
        host && device.forwards
    });
    hosts.any(|device| hands_to_several(plan, device))
}

fn hands_to_several(plan: &Plan, device: &Device) -> bool {
    device
        .routes
        .cells()
        .any(|(_, route)| match route.next_hop {
            NextHop::AnyRouter { interface } => {
                let segment = device.interfaces[interface].segment;
                1 < plan.segment(segment).first_hops.len()
            }
            _ => false,
        })
}
