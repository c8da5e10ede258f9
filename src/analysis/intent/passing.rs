//! What of a scope passes between a segment and a column.

use boundwalk_forwarding::{
    Arrival, Certainty, Flow, Sender, Stopped, Target, WalkCoverage, reach,
};
use boundwalk_packet::{ClassSet, IntervalSet, Region};

use super::ground::{Ground, Scope};

/// A part of what passes that a line speaks of.
#[derive(Clone, Debug)]
pub(crate) struct Passed {
    /// As it is sent.
    pub sent: Region,
    /// Its sources as sent, its destinations and services as they arrive.
    pub arrived: Region,
    /// The flow that it is a part of.
    pub flow: Flow,
}

/// Lists what passes from a sender to a column and has addresses that the scope speaks of, as sent or as it
/// arrives; `services` limits what is sent.
pub(crate) fn passing(
    ground: &Ground<'_>,
    scope: &Scope,
    sender: Sender,
    to: usize,
    services: Option<&ClassSet>,
    sink: &mut dyn FnMut(Passed),
) -> WalkCoverage {
    passing_and_lost(ground, scope, (sender, to), services, (sink, &mut |_| ()))
}

/// The same; `lost` gets, as it is sent, what does not arrive in one of the cases that nobody can choose between.
pub(crate) fn passing_and_lost(
    ground: &Ground<'_>,
    scope: &Scope,
    (sender, to): (Sender, usize),
    services: Option<&ClassSet>,
    (sink, lost): (&mut dyn FnMut(Passed), &mut dyn FnMut(Stopped)),
) -> WalkCoverage {
    let (network, plan) = (ground.network, ground.plan);
    let column = &ground.columns[to];
    let extra = ground.extra(to);
    let near = match &scope.destination {
        // Where nothing is rewritten, what is sent to other addresses of the column does not matter.
        Some(destination) if extra.is_empty() => column.addresses.intersection(destination),
        _ => column.addresses.clone(),
    };
    let mut coverage = WalkCoverage::Complete;
    for (addresses, segment) in [(&near, column.segment), (extra, None)] {
        let target = Target {
            addresses,
            segment,
            services: services.filter(|_| !ground.rewrites_ports),
        };
        if addresses.is_empty() {
            continue;
        }
        let walked = reach(
            network,
            plan,
            sender,
            target,
            &mut |arrival| match arrival {
                Arrival::Delivered(place, flow) => {
                    let part = column.takes(network, plan, place, &flow);
                    if flow.certainty == Certainty::OneOf {
                        let mine = part.as_deref().map(Flow::sent);
                        flow.elsewhere(mine).into_iter().for_each(&mut *lost);
                    }
                    if let Some(part) = part {
                        parts(ground, scope, &part, sink);
                    }
                }
                Arrival::Stopped(_, stopped) if stopped.certainty == Certainty::OneOf => {
                    lost(stopped);
                }
                Arrival::Stopped(..) => {}
            },
        );
        coverage.note(walked);
    }
    coverage
}

/// The parts of a flow that the scope speaks of.
fn parts(ground: &Ground<'_>, scope: &Scope, flow: &Flow, sink: &mut dyn FnMut(Passed)) {
    let named = |sent: &Region, destination: &Option<IntervalSet>| {
        let narrowed = |set: &IntervalSet, to: &Option<IntervalSet>| match to {
            Some(to) => set.intersection(to),
            None => set.clone(),
        };
        Region {
            source: narrowed(&sent.source, &scope.source),
            destination: narrowed(&sent.destination, destination),
            services: sent.services.clone(),
        }
    };
    let sent = named(flow.sent(), &scope.destination);
    if !sent.is_empty() {
        sink(passed(flow, sent));
    }
    let Some(destination) = &scope.destination else {
        return;
    };
    if flow.now.destination == flow.sent().destination {
        return;
    }
    let now = Region {
        destination: flow.now.destination.intersection(destination),
        ..flow.now.clone()
    };
    if now.is_empty() {
        return;
    }
    let part = flow.restricted(now, &ground.network.classes);
    let sent = named(part.sent(), &None);
    if !sent.is_empty() {
        sink(passed(&part, sent));
    }
}

fn passed(flow: &Flow, sent: Region) -> Passed {
    let rewritten = flow.now.destination != flow.sent().destination;
    let destination = if rewritten {
        flow.now.destination.clone()
    } else {
        sent.destination.clone()
    };
    Passed {
        arrived: Region {
            source: sent.source.clone(),
            destination,
            services: flow.now.services.clone(),
        },
        sent,
        flow: flow.clone(),
    }
}

impl Passed {
    /// What of it a line names, as it is sent; `services`: those of the line, `None`: every one.
    pub fn named(&self, ground: &Ground<'_>, services: Option<&ClassSet>) -> Vec<Region> {
        match services {
            Some(services) => self.with(ground, services),
            None => vec![self.sent.clone()],
        }
    }

    /// The parts with these services, as sent or as they arrive.
    fn with(&self, ground: &Ground<'_>, services: &ClassSet) -> Vec<Region> {
        let mut parts = vec![Region {
            services: self.sent.services.intersection(services),
            ..self.sent.clone()
        }];
        parts.extend(self.arriving_with(ground, services));
        parts.retain(|part| !part.is_empty());
        parts
    }

    /// The part without these services, neither as sent nor as they arrive.
    pub fn without(&self, ground: &Ground<'_>, services: &ClassSet) -> Vec<Region> {
        let left = Region {
            services: self.sent.services.difference(services),
            ..self.sent.clone()
        };
        match self.arriving_with(ground, services) {
            _ if left.is_empty() => Vec::new(),
            Some(fine) => left.difference(&fine),
            None => vec![left],
        }
    }

    /// What arrives with these services, as it is sent, where they are rewritten.
    fn arriving_with(&self, ground: &Ground<'_>, services: &ClassSet) -> Option<Region> {
        if self.flow.now.services == self.flow.sent().services {
            return None;
        }
        let now = Region {
            services: self.flow.now.services.intersection(services),
            ..self.flow.now.clone()
        };
        if now.is_empty() {
            return None;
        }
        let part = self.flow.restricted(now, &ground.network.classes);
        Some(part.sent().intersection(&self.sent)).filter(|part| !part.is_empty())
    }
}
