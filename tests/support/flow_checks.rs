//! Listed flows held against what the simulator does with each packet.

use std::collections::BTreeSet;

use boundwalk::analysis::{Crossed, Endpoint, Extent, PermittedFlow, flows};
use boundwalk::forwarding::Network;
use boundwalk::model::Family;
use boundwalk::packet::{ClassSet, Region};

use crate::engine::probe;
use crate::pairs::{Pairs, Sent};
use crate::simulator::{Decision, Hop, Outcome, Probe};

/// For the packets of a flow, whether the ways that look like it are answered.
///
/// Ways that differ in interfaces only look the same here, as do a described host's own way and
/// that of another device with its address: the flow may be of either.
type Answers = BTreeSet<BTreeSet<bool>>;

/// Whether an extent is right for some choice among the ways that look the same.
fn agrees(extent: Extent, answers: &Answers) -> bool {
    let all = |answer| answers.iter().all(|ways| ways.contains(&answer));
    let any = |answer| answers.iter().any(|ways| ways.contains(&answer));
    match extent {
        Extent::All => any(true) && all(true),
        Extent::None => any(false) && all(false),
        Extent::Some => any(true) && any(false),
        Extent::Nothing | Extent::Unknown => false,
    }
}

/// The flows of one pair under test.
pub struct Listed<'a> {
    pairs: &'a Pairs<'a>,
    network: &'a Network<'a>,
    from: Endpoint,
    to: Endpoint,
    pub flows: Vec<PermittedFlow>,
}

impl<'a> Listed<'a> {
    pub fn new(
        pairs: &'a Pairs<'a>,
        network: &'a Network<'a>,
        family: Family,
        (from, to): (Endpoint, Endpoint),
        services: Option<&ClassSet>,
    ) -> Self {
        let (flows, complete) = flows(network, family, from, to, services);
        assert!(complete.is_complete(), "no limit is met on a small site");
        Self {
            pairs,
            network,
            from,
            to,
            flows,
        }
    }

    /// What differs between the list and everything that the sender sent.
    pub fn problems<'p>(&self, sent: impl Iterator<Item = &'p Sent>) -> Vec<String> {
        let mut problems = Vec::new();
        let mut answered = vec![Answers::new(); self.flows.len()];
        for packet in sent {
            let here: Vec<&Outcome> = packet
                .outcomes
                .iter()
                .filter(|end| self.pairs.takes(self.to, end))
                .collect();
            problems.extend(self.unlisted(packet, &here));
            for (flow, answers) in self.flows.iter().zip(&mut answered) {
                if self.holds(&flow.sent, packet.probe) {
                    problems.extend(self.misplaced(flow, packet, &here, answers));
                }
            }
        }
        for (flow, answers) in self.flows.iter().zip(answered) {
            if !agrees(flow.two_way, &answers) {
                problems.push(format!("its packets are answered {answers:?}: {flow:#?}"));
            }
            problems.extend(self.witness(flow));
        }
        problems
    }

    /// A way in which a packet arrives that no flow tells of.
    fn unlisted(&self, packet: &Sent, here: &[&Outcome]) -> Option<String> {
        let listed = |end: &Outcome| {
            self.flows.iter().any(|flow| {
                self.holds(&flow.sent, packet.probe)
                    && self.holds(&flow.arrives, end.arrived)
                    && self.is_way(flow, end)
            })
        };
        let missing = here.iter().find(|end| !listed(end));
        missing.map(|end| format!("no flow holds {:?}: {end:#?}", packet.probe))
    }

    /// A flow that holds a packet which does not arrive so.
    fn misplaced(
        &self,
        flow: &PermittedFlow,
        packet: &Sent,
        here: &[&Outcome],
        answers: &mut Answers,
    ) -> Option<String> {
        let mut ways = here.iter().filter(|end| self.is_way(flow, end)).peekable();
        if ways.peek().is_none() {
            return Some(format!("{:?} does not arrive: {flow:#?}", packet.probe));
        }
        answers.insert(ways.map(|end| end.came_back).collect());
        None
    }

    /// Whether a packet that ended like this crossed the devices of a flow, decided and rewritten alike.
    fn is_way(&self, flow: &PermittedFlow, end: &Outcome) -> bool {
        let same = |(crossed, hop): (&Crossed, &Hop)| {
            let routers = self.pairs.site.routers.len();
            let decided = hop.decided.map(|decided| match decided {
                Decision::Rule(rule) => Some(rule),
                Decision::Default => None,
            });
            let name = match hop.device.checked_sub(routers) {
                None => &self.pairs.site.routers[hop.device].name.value,
                Some(host) => &self.pairs.site.hosts[host].name.value,
            };
            let lines = [crossed.destination_translation, crossed.source_translation];
            crossed.name == *name
                && crossed.router.map(|router| router.0)
                    == Some(hop.device).filter(|&device| device < routers)
                && crossed.decided == decided
                && lines == hop.rewritten
        };
        flow.crossed.len() == end.hops.len() && flow.crossed.iter().zip(&end.hops).all(same)
    }

    /// The witness is one of the flow, and an answered one where any is.
    fn witness(&self, flow: &PermittedFlow) -> Option<String> {
        let Some(packet) = flow.witness.as_ref().map(probe) else {
            return Some(format!("there is no witness: {flow:#?}"));
        };
        let ends = self.pairs.send(self.from, packet);
        let mut here = ends.iter().filter(|end| {
            let answered = end.came_back || flow.two_way == Extent::None;
            answered && self.pairs.takes(self.to, end) && self.is_way(flow, end)
        });
        let right = self.holds(&flow.sent, packet)
            && self.pairs.may_send(self.from, packet)
            && here.next().is_some();
        (!right).then(|| format!("the witness is none: {flow:#?} {ends:#?}"))
    }

    fn holds(&self, region: &Region, packet: Probe) -> bool {
        let classes = &self.network.classes;
        let class = classes.class_of(packet.protocol, packet.source_port, packet.destination_port);
        let (source, destination) = (
            Family::value(packet.source),
            Family::value(packet.destination),
        );
        region.contains(source, destination, class)
    }
}
