//! What of a pair does not arrive.

use boundwalk_forwarding::{Certainty, Device, DeviceId, Flow, NextHop, Plan, Sender, Stopped};
use boundwalk_packet::{ClassSet, IntervalSet, Region};

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
    /// Sources of described hosts that send by ways of their own: what plain devices do does not count for these.
    described: IntervalSet,
}

impl<'p> Missed<'p> {
    /// Nothing yet of what is asked about, but that described hosts with ways of their own have sent nothing so far.
    /// `forks`: whether [`forks`] holds for some device on the way.
    pub(super) fn new(
        asked: ClassSet,
        plan: &'p Plan,
        sender: Sender,
        to: &IntervalSet,
        forks: bool,
    ) -> Self {
        let (described, by_hosts) = match sender {
            Sender::Segment(segment) => {
                let described = plan.own_way_sources(segment).clone();
                let packets = Region {
                    source: described.difference(&plan.nobody),
                    destination: to.clone(),
                    services: asked.clone(),
                };
                (described, plan.sent_by_owners(segment, &packets))
            }
            Sender::Host(_) | Sender::Hostile(_) => Default::default(),
        };
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
            parts: (forks || starts).then(|| {
                by_hosts
                    .iter()
                    .flat_map(|part| plan.sent_to_others(part))
                    .collect()
            }),
            arrived: Vec::new(),
            described,
        }
    }

    /// It does not arrive by a way, or by one of several that nobody can choose between.
    pub(super) fn stop(&mut self, stopped: &Stopped) {
        match stopped.certainty {
            Certainty::Certain => self.add(&stopped.sent),
            Certainty::OneOf => self.lose(&stopped.sent, stopped.host.is_some()),
            // Whatever else becomes of it is listed too.
            Certainty::Possible => {}
        }
    }

    /// It does not arrive in one of the cases that are possible, whatever arrives in others.
    fn lose(&mut self, sent: &Region, by_host: bool) {
        let sent = if by_host {
            sent.clone()
        } else {
            without_sources(sent, &self.described)
        };
        for part in self.plan.sent_to_others(&sent) {
            if !part.is_empty() {
                self.services.union_with(&part.services);
            }
        }
    }

    /// It does not arrive. What a device sends to itself need not.
    fn add(&mut self, sent: &Region) {
        let plain = without_sources(sent, &self.described);
        if plain.source.is_empty() && !sent.source.is_empty() {
            return;
        }
        let missed = self.plan.sent_to_others(&plain);
        match &mut self.parts {
            // An empty part stands for what the sender can't send at all.
            Some(parts) if !sent.is_empty() => parts.extend(missed),
            _ => missed
                .iter()
                .for_each(|part| self.services.union_with(&part.services)),
        }
    }

    /// Something was delivered, and this part of it where it was sent to.
    pub(super) fn deliver(&mut self, flow: &Flow, mine: Option<&Region>) {
        for elsewhere in flow.elsewhere(mine) {
            self.stop(&elsewhere);
        }
        // What only may arrive does not count as arrived.
        let Some(mine) = mine.filter(|_| flow.certainty != Certainty::Possible) else {
            return;
        };
        if self.parts.is_some() {
            let mine = match flow.host {
                Some(_) => mine.clone(),
                None => without_sources(mine, &self.described),
            };
            self.arrived.push(mine);
        }
    }

    /// Whether what does not arrive is known by its services alone: every packet takes one way.
    pub(super) fn by_services(&self) -> bool {
        self.parts.is_none() && self.described.is_empty()
    }

    /// Some packet of each of these services does not arrive, by the only way there is.
    pub(super) fn add_services(&mut self, bits: &[u64]) {
        self.services.add_bits(bits);
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

fn without_sources(region: &Region, sources: &IntervalSet) -> Region {
    Region {
        source: region.source.difference(sources),
        ..region.clone()
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
