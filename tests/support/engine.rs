//! The product's answers in the simulator's words.

use boundwalk::forwarding::{
    Arrival, Flow, Network, Origin, Outcome as TraceOutcome, Packet, Place, Sender, Step, Target,
    Trace, reach, returns, trace,
};
use boundwalk::model::{Family, Protocol, SegmentId};
use boundwalk::packet::Region;

use crate::simulator::{Decision, Hop, Outcome, Probe, Spot, Stance};

/// Everything that one sender delivers in one family.
pub struct Reach<'n> {
    network: &'n Network<'n>,
    delivered: Vec<(Place, Flow, Vec<Region>)>,
}

impl<'n> Reach<'n> {
    /// Asks the product once for every destination there is.
    pub fn new(network: &'n Network<'n>, family: Family, from: SegmentId, stance: Stance) -> Self {
        let (plan, sender) = (network.plan(family), sender(from, stance));
        let (mut delivered, everywhere) = (Vec::new(), family.full());
        let target = Target {
            addresses: &everywhere,
            segment: None,
            services: None,
        };
        let complete = reach(network, plan, sender, target, &mut |arrival| {
            if let Arrival::Delivered(place, flow) = arrival {
                let (back, _) = returns(network, plan, sender, place, &flow);
                delivered.push((place, flow, back));
            }
        });
        assert!(complete.is_complete(), "no limit is met on a small site");
        // On-link from the start: nothing that a device decides.
        delivered
            .retain(|(place, flow, _)| *place != Place::Segment(from) || !flow.hops.is_empty());
        Self { network, delivered }
    }

    /// The ways in which one packet is said to arrive.
    pub fn outcomes(&self, probe: &Probe) -> Vec<Outcome> {
        let mut outcomes: Vec<Outcome> = self
            .delivered
            .iter()
            .filter(|(_, flow, _)| self.holds(flow.sent(), probe))
            .map(|(place, flow, back)| {
                let arrived = arrived(flow, probe);
                assert!(
                    self.holds(&flow.now, &arrived),
                    "{arrived:?} is not what arrives: {flow:?}"
                );
                let hops = flow.hops.iter().map(|hop| {
                    let written = hop.translated.as_deref();
                    let destination = written.and_then(|written| written.destination.as_ref());
                    let source = written.and_then(|written| written.source.as_ref());
                    Hop {
                        device: hop.device.0,
                        decided: hop.filtered.then(|| decision(hop.rule)),
                        rewritten: [destination, source].map(|line| Some(line?.0)),
                    }
                });
                let came_back = back.iter().any(|region| self.holds(region, probe));
                Outcome {
                    place: spot(*place),
                    arrived,
                    hops: hops.collect(),
                    came_back,
                }
            })
            .collect();
        outcomes.sort();
        outcomes.dedup();
        outcomes
    }

    fn holds(&self, region: &Region, probe: &Probe) -> bool {
        let (protocol, classes) = (probe.protocol, &self.network.classes);
        let class = classes.class_of(protocol, probe.source_port, probe.destination_port);
        let source = region.source.contains(Family::value(probe.source));
        let destination = region
            .destination
            .contains(Family::value(probe.destination));
        source && destination && region.services.iter().any(|held| held == class)
    }
}

/// The packet as the translations of a flow's hops leave it.
fn arrived(flow: &Flow, probe: &Probe) -> Probe {
    let family = Family::of(probe.source);
    let mut arrived = *probe;
    for written in flow.hops.iter().filter_map(|hop| hop.translated.as_deref()) {
        if written.destination.is_some() {
            let now = flow.now.destination.lowest();
            arrived.destination = family.address(now.expect("a delivered flow is not empty"));
        }
        if written.source.is_some() {
            let now = flow.now.source.lowest();
            arrived.source = family.address(now.expect("a delivered flow is not empty"));
        }
        if let Some((_, port)) = &written.services {
            arrived.destination_port = *port;
        }
    }
    arrived
}

/// The ways in which the product's single-packet walk says that a packet arrives.
pub fn traced(
    network: &Network<'_>,
    from: SegmentId,
    probe: &Probe,
    stance: Stance,
) -> Vec<Outcome> {
    let traces = trace(network, sender(from, stance), &packet(probe));
    let mut outcomes: Vec<Outcome> = traces
        .iter()
        .filter(|trace| {
            crossed(trace).next().is_some()
                || trace.outcome != TraceOutcome::Delivered(Place::Segment(from))
        })
        .filter_map(outcome_of)
        .collect();
    outcomes.sort();
    outcomes.dedup();
    outcomes
}

/// The devices that a packet came to; where a described host sends it, that one is its sender.
fn crossed(trace: &Trace) -> impl Iterator<Item = &Step> {
    trace.steps.iter().filter(|step| step.ingress.is_some())
}

fn outcome_of(trace: &Trace) -> Option<Outcome> {
    let TraceOutcome::Delivered(place) = trace.outcome else {
        return None;
    };
    let hops: Vec<Hop> = crossed(trace)
        .map(|step| {
            let decided = step.decision.as_ref().map(|decided| decision(decided.rule));
            let (before, after) = (&step.arrived, &step.left);
            let ports = before.destination_port != after.destination_port;
            let destination = before.destination != after.destination || ports;
            let source = before.source != after.source;
            Hop {
                device: step.device.0,
                decided,
                rewritten: [
                    step.destination_translation.filter(|_| destination),
                    step.source_translation.filter(|_| source),
                ],
            }
        })
        .collect();
    let came_back = trace.reply.as_ref().is_some_and(|reply| reply.two_way());
    Some(Outcome {
        place: spot(place),
        arrived: probe(&trace.packet),
        hops,
        came_back,
    })
}

/// A packet in the product's words.
pub fn packet(probe: &Probe) -> Packet {
    Packet {
        source: probe.source,
        destination: probe.destination,
        protocol: Protocol(probe.protocol),
        source_port: probe.source_port,
        destination_port: probe.destination_port,
    }
}

/// The same the other way.
pub fn probe(packet: &Packet) -> Probe {
    Probe {
        source: packet.source,
        destination: packet.destination,
        protocol: packet.protocol.0,
        source_port: packet.source_port,
        destination_port: packet.destination_port,
    }
}

/// A sender in the product's words.
pub fn sender(from: SegmentId, stance: Stance) -> Sender {
    match stance {
        Stance::Configured => Sender::Segment(from),
        Stance::Hostile => Sender::Hostile(Origin::Segment(from)),
    }
}

fn spot(place: Place) -> Spot {
    match place {
        Place::Segment(segment) => Spot::Segment(segment.0),
        Place::Router(router) => Spot::Router(router.0),
    }
}

fn decision(rule: Option<usize>) -> Decision {
    rule.map_or(Decision::Default, Decision::Rule)
}
