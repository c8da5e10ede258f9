//! What a walk drops on arrival, whatever rules say: loops, and packets from the receiver's own addresses.

use boundwalk_packet::{IntervalSet, Region};

use super::device::DeviceIndex;
use super::flow::{Flow, Hop, Side};
use super::plan::Plan;
use super::reach::Walk;
use super::stop::{MOST_HOPS, Stop};

/// Receivers of packets to addresses of their own are told apart from packets to themselves one by one up to so many.
const FEW_POINTS: u16 = 16;

impl Walk<'_> {
    /// The parts that do not come to an interface for a second time with the same headers.
    pub(super) fn unlooped(
        &mut self,
        device: DeviceIndex,
        ingress: usize,
        flow: Flow,
    ) -> Vec<Flow> {
        if MOST_HOPS <= flow.hops.len() {
            self.stop(Stop::Loop, flow);
            return Vec::new();
        }
        let mut parts = vec![flow];
        let crossed = |hop: &Hop| hop.device == device && hop.ingress == ingress;
        let count = parts[0].hops.len();
        for at in 0..count {
            if !parts.first().is_some_and(|flow| crossed(&flow.hops[at])) {
                continue;
            }
            let classes = &self.network.classes;
            let mut next = Vec::new();
            for flow in std::mem::take(&mut parts) {
                let Some(same) = flow.repeated(at) else {
                    next.push(flow);
                    continue;
                };
                let rest = flow.now.difference(&same).into_iter();
                next.extend(rest.map(|rest| flow.restricted(rest, classes)));
                self.stop(Stop::Loop, flow.restricted(same, classes));
            }
            parts = next;
        }
        parts
    }

    /// The part of a flow that is not sent from some addresses; the other part stops, since its receiver has them.
    pub(super) fn not_from(&mut self, flow: Flow, own: &IntervalSet) -> Option<Flow> {
        let (forged, others) = flow.split(Side::Source, own, &self.network.classes);
        if let Some(forged) = forged {
            self.stop(Stop::OwnSource, forged);
        }
        others
    }

    /// The parts of a flow that no receiver drops because it has the source address itself. Plain devices have one
    /// address each: where many may be meant, a packet from each to itself is left in.
    pub(super) fn not_to_itself(&mut self, flow: Flow) -> Vec<Flow> {
        let plan = self.plan;
        let mut parts = Vec::new();
        let mut rest = Some(flow);
        let both = |flow: &Flow, own: &IntervalSet| {
            flow.now.source.overlaps(own) && flow.now.destination.overlaps(own)
        };
        for own in &plan.several_own {
            let Some(flow) = rest.take() else { break };
            if !both(&flow, own) {
                rest = Some(flow);
                continue;
            }
            let (mine, others) = self.split_destination(&flow, own);
            parts.extend(mine.and_then(|mine| self.not_from(mine, own)));
            rest = others;
        }
        let Some(flow) = rest else { return parts };
        let shared = flow.now.source.intersection(&flow.now.destination);
        let few = shared.intervals().iter().fold(0u128, |sum, part| {
            sum.saturating_add(part.high() - part.low())
                .saturating_add(1)
        });
        if few == 0 || u128::from(FEW_POINTS) < few {
            parts.push(flow);
            return parts;
        }
        let (_, others) = self.split_destination(&flow, &shared);
        parts.extend(others);
        let points = shared.intervals().iter();
        for point in points.flat_map(|part| part.low()..=part.high()) {
            let own = IntervalSet::point(point);
            let (mine, _) = self.split_destination(&flow, &own);
            parts.extend(mine.and_then(|mine| self.not_from(mine, &own)));
        }
        parts
    }
}

impl Plan {
    /// What is sent to somebody else: nobody misses what a device sends to an address of its own, for whichever
    /// reason it stops. Where plain devices of more than 16 addresses may be meant, those beyond stay in.
    #[must_use]
    pub fn sent_to_others(&self, sent: &Region) -> Vec<Region> {
        let mut rest = vec![sent.clone()];
        let mut take = |addresses: &IntervalSet| {
            for part in std::mem::take(&mut rest) {
                let mine = Region {
                    source: part.source.intersection(addresses),
                    destination: part.destination.intersection(addresses),
                    services: part.services.clone(),
                };
                if mine.is_empty() {
                    rest.push(part);
                    continue;
                }
                rest.extend(part.difference(&mine));
            }
        };
        let both = |own: &&IntervalSet| sent.source.overlaps(own) && sent.destination.overlaps(own);
        self.several_own.iter().filter(both).for_each(&mut take);
        let shared = sent.source.intersection(&sent.destination);
        let points = shared
            .intervals()
            .iter()
            .flat_map(|part| part.low()..=part.high());
        for point in points.take(usize::from(FEW_POINTS)) {
            take(&IntervalSet::point(point));
        }
        rest
    }
}
