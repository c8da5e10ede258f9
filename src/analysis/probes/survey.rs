//! Sends everything that honest devices can send, and takes packets of what arrives and of what is stopped.

use std::collections::{BTreeMap, BTreeSet};

use boundwalk_forwarding::{
    Arrival, DeviceId, Flow, Hop, Place, Sender, Stop, Target, reach, returns,
};
use boundwalk_model::{SegmentId, Site};
use boundwalk_packet::{IntervalSet, Region};

use super::super::matrix::elsewhere;
use super::super::party::{Column, Endpoint, chosen, columns};
use super::candidate::{Candidate, Refused};
use super::obligation::Obligation;
use super::pick::Picker;

/// How many parts of a flow that pass for the same reasons are looked at for a packet between described devices.
const TRIES: usize = 6;

/// What was found.
#[derive(Default)]
pub(super) struct Survey {
    pub candidates: Vec<Candidate>,
    /// Pairs of segments between which something is stopped.
    pub stops: BTreeSet<Obligation>,
    /// Obligations of which a packet is known that nobody can send by hand, and why not.
    pub refused: BTreeMap<Obligation, Refused>,
    /// False where a limit was met: then there may be more.
    pub complete: bool,
}

/// Who is asked for.
#[derive(Clone, Copy)]
pub(super) struct Ends<'a> {
    pub from: &'a [Endpoint],
    pub to: &'a [Endpoint],
}

impl Ends<'_> {
    pub fn sends(self, site: &Site, segment: SegmentId) -> bool {
        chosen(site, self.from, Endpoint::Segment(segment))
    }

    pub fn receives(self, site: &Site, party: Endpoint) -> bool {
        chosen(site, self.to, party)
    }
}

/// Looks at everything that some senders send.
///
/// Cost: a walk of all services through the rules for each sender and target.
pub(super) fn survey(picker: &Picker<'_>, senders: &[Sender], ends: Ends<'_>) -> Survey {
    let (network, plan) = (picker.network, picker.plan);
    let mut targets = columns(network, plan, false);
    let rest = elsewhere(plan, &targets, &targets);
    if !picker.spare_devices {
        let known = picker.hosts.union(&plan.routers_own);
        for column in &mut targets {
            column.addresses = column.addresses.intersection(&known);
        }
    }
    let mut survey = Survey {
        complete: true,
        ..Survey::default()
    };
    for &sender in senders {
        let mut look = Look {
            picker,
            ends,
            sender,
            arriving: BTreeMap::new(),
            stopped: BTreeMap::new(),
            survey: &mut survey,
        };
        for column in &targets {
            look.send(&column.addresses, Some(column));
        }
        look.send(&rest, None);
        look.keep();
    }
    survey
}

/// What a device on the way does: its rule, and its destination translation.
type Doing = (usize, Option<usize>, Option<usize>);

/// For which reasons a flow passes: where it arrives and what is done on the way.
type Reasons = (Place, Vec<Doing>);

/// The best packet of several parts that are alike.
#[derive(Default)]
struct Best {
    tried: usize,
    candidate: Option<Candidate>,
}

/// What one sender sends.
struct Look<'a, 'n> {
    picker: &'a Picker<'n>,
    ends: Ends<'a>,
    sender: Sender,
    arriving: BTreeMap<Reasons, Best>,
    stopped: BTreeMap<(Endpoint, Stop), Best>,
    survey: &'a mut Survey,
}

impl Look<'_, '_> {
    fn send(&mut self, addresses: &IntervalSet, column: Option<&Column>) {
        if addresses.is_empty() {
            return;
        }
        let (network, plan, sender) = (self.picker.network, self.picker.plan, self.sender);
        let target = Target {
            addresses,
            segment: column.and_then(|column| column.segment),
            services: None,
        };
        let complete = reach(
            network,
            plan,
            sender,
            target,
            &mut |arrival| match arrival {
                Arrival::Delivered(place, flow) => self.delivered(place, &flow),
                Arrival::Stopped(stop, stopped) => {
                    if let Some(column) = column {
                        self.stopped(column.party, stop, &stopped.sent);
                    }
                }
            },
        );
        self.survey.complete &= complete.is_complete();
    }

    /// The segment of the sender, where it is one.
    fn segment(&self) -> Option<SegmentId> {
        match self.sender {
            Sender::Segment(segment) => Some(segment),
            Sender::Host(_) | Sender::Hostile(_) => None,
        }
    }

    fn delivered(&mut self, place: Place, flow: &Flow) {
        let (picker, plan) = (self.picker, self.picker.plan);
        let to = match place {
            Place::Segment(segment) => Endpoint::Segment(segment),
            Place::Router(router) => Endpoint::Device(router),
        };
        let rules: Vec<Doing> = flow.hops.iter().map(doing).collect();
        let decided = rules.iter().any(|(_, rule, _)| rule.is_some());
        if !decided || !self.ends.receives(picker.network.site, to) {
            return;
        }
        let wanted = wanted(picker, flow);
        let from = self.segment();
        let best = self.arriving.entry((place, rules)).or_default();
        let good = |candidate: &Candidate| candidate.described == 2;
        if TRIES <= best.tried || best.candidate.as_ref().is_some_and(good) {
            return;
        }
        let (back, _) = returns(picker.network, plan, self.sender, place, flow);
        let mut parts: Vec<&Region> = back.iter().take(2).collect();
        parts.push(flow.sent());
        let mut refused = Refused::NoDevice;
        for packet in parts.iter().flat_map(|part| picker.packets(part)) {
            match Candidate::new(picker, from, to, packet) {
                Ok(found) if wanted.iter().all(|one| found.covers.contains(one)) => {
                    best.tried += 1;
                    best.offer(found);
                    return;
                }
                Ok(_) => {}
                Err(why) => refused = why,
            }
        }
        for one in wanted {
            self.survey.refused.entry(one).or_insert(refused);
        }
    }

    fn stopped(&mut self, to: Endpoint, stop: Stop, region: &Region) {
        let Endpoint::Segment(target) = to else {
            return;
        };
        let site = self.picker.network.site;
        let from = self.segment();
        if from == Some(target) || !self.ends.receives(site, to) {
            return;
        }
        let best = self.stopped.entry((to, stop)).or_default();
        let good = |candidate: &Candidate| candidate.described == 2;
        let pair = from.map(|from| Obligation::Stops {
            from,
            to: target,
            family: self.picker.plan.family,
        });
        self.survey.stops.extend(pair);
        if TRIES <= best.tried || best.candidate.as_ref().is_some_and(good) {
            return;
        }
        best.tried += 1;
        let mut refused = Refused::NoDevice;
        for packet in self.picker.packets(region) {
            match Candidate::new(self.picker, from, to, packet) {
                Ok(found) if found.predicted.expect.arrives() => {}
                Ok(found) => {
                    best.offer(found);
                    return;
                }
                Err(why) => refused = why,
            }
        }
        if let Some(pair) = pair {
            self.survey.refused.entry(pair).or_insert(refused);
        }
    }

    /// Takes over what was found for this sender.
    fn keep(self) {
        let site = self.picker.network.site;
        let found = self
            .arriving
            .into_values()
            .chain(self.stopped.into_values())
            .filter_map(|best| best.candidate);
        let asked = |candidate: &Candidate| self.ends.sends(site, candidate.predicted.send_point);
        self.survey.candidates.extend(found.filter(asked));
    }
}

impl Best {
    /// Takes a packet if it is between more described devices than the one so far.
    fn offer(&mut self, found: Candidate) {
        let better = |known: &Candidate| known.described < found.described;
        if self.candidate.as_ref().is_none_or(better) {
            self.candidate = Some(found);
        }
    }
}

fn doing(hop: &Hop) -> Doing {
    let written = hop.translated.as_deref();
    let line = written.and_then(|written| Some(written.destination.as_ref()?.0));
    (hop.device.0, hop.rule, line)
}

/// The permitting rules that a flow passes by.
fn wanted(picker: &Picker<'_>, flow: &Flow) -> Vec<Obligation> {
    let hops = flow
        .hops
        .iter()
        .filter_map(|hop| match picker.plan.device(hop.device).id {
            DeviceId::Router(router) => Some(Obligation::Permits {
                router,
                rule: hop.rule?,
                family: picker.plan.family,
            }),
            DeviceId::Host(_) => None,
        });
    hops.collect()
}
