//! Which flows of one pair are answered.

use boundwalk_forwarding::{
    DeviceIndex, Flow, Hop, Network, Place, Plan, Sender, Target, WalkCoverage, returns,
};
use boundwalk_packet::Region;

use super::cell::Extent;

/// A device with the interfaces of arrival and departure.
type ReplyCrossing = (DeviceIndex, usize, Option<usize>);

fn crossing(hop: &Hop) -> ReplyCrossing {
    (hop.device, hop.ingress, hop.egress)
}

/// A way that some flow took, and whether everything that takes it is answered.
struct Way {
    place: Place,
    crossed: Vec<ReplyCrossing>,
    answered: bool,
}

impl Way {
    fn is_of(&self, flow: &Flow) -> bool {
        self.crossed
            .iter()
            .copied()
            .eq(flow.hops.iter().map(crossing))
    }
}

/// Which flows of one pair are answered. Flows that take the same way untranslated share the way back, so
/// where everything that could take it would be answered, nothing needs to be sent back again.
pub(super) struct Replies<'a> {
    network: &'a Network<'a>,
    plan: &'a Plan,
    sender: Sender,
    /// Everything that the sender could send to the target, if that makes sense.
    whole: Option<Region>,
    /// Ways tried.
    known: Vec<Way>,
}

impl<'a> Replies<'a> {
    /// For flows from a sender to a target.
    pub(super) fn new(
        network: &'a Network<'a>,
        plan: &'a Plan,
        sender: Sender,
        target: Target<'_>,
    ) -> Self {
        let whole = match sender {
            // State decides alone: then a way back is one for every service or for none.
            Sender::Segment(segment) if plan.stateful => Some(Region {
                source: plan.segment(segment).addresses.clone(),
                destination: target.addresses.clone(),
                services: network.classes.all(),
            }),
            _ => None,
        };
        Self {
            network,
            plan,
            sender,
            whole,
            known: Vec::new(),
        }
    }

    /// How much of a flow is answered, and an answered part of it where that is not the whole.
    pub(super) fn of(&mut self, place: Place, flow: &Flow) -> (Extent, Option<Region>) {
        if self.wholly(place, flow) {
            return (Extent::All, None);
        }
        let (back, coverage) = returns(self.network, self.plan, self.sender, place, flow);
        let extent = answered(flow.sent(), &back, coverage);
        (extent, back.into_iter().next())
    }

    /// Whether everything that takes the way of a flow is answered; of what is translated that is not known.
    pub(super) fn wholly(&mut self, place: Place, flow: &Flow) -> bool {
        let Some(whole) = &self.whole else {
            return false;
        };
        if flow.host.is_some() || flow.hops.iter().any(Hop::translates) {
            return false;
        }
        let known = self
            .known
            .iter()
            .find(|known| known.place == place && known.is_of(flow));
        if let Some(known) = known {
            return known.answered;
        }
        let mut everything = Flow::new(whole.clone());
        everything.hops = flow.hops.clone();
        let (back, _) = returns(self.network, self.plan, self.sender, place, &everything);
        let answered = covered(whole, &back);
        let crossed = flow.hops.iter().map(crossing).collect();
        self.known.push(Way {
            place,
            crossed,
            answered,
        });
        answered
    }
}

/// How much of what was sent is answered, by the parts known to be.
pub(super) fn answered(sent: &Region, back: &[Region], coverage: WalkCoverage) -> Extent {
    match coverage {
        _ if covered(sent, back) => Extent::All,
        WalkCoverage::Cut(_) => Extent::Unknown,
        WalkCoverage::Complete if back.is_empty() => Extent::None,
        WalkCoverage::Complete => Extent::Some,
    }
}

/// What is left of a region without the given parts.
pub(super) fn left_over(region: Region, parts: &[Region]) -> Vec<Region> {
    let mut left = vec![region];
    left.retain(|region| !region.is_empty());
    for part in parts {
        // Most parts share nothing with most pieces: those are not touched.
        if left.iter().any(|piece| piece.overlaps(part)) {
            left = left
                .into_iter()
                .flat_map(|piece| outside(piece, part))
                .collect();
        }
        if left.is_empty() {
            break;
        }
    }
    left
}

fn outside(piece: Region, part: &Region) -> Vec<Region> {
    if piece.overlaps(part) {
        piece.difference(part)
    } else {
        vec![piece]
    }
}

fn covered(region: &Region, parts: &[Region]) -> bool {
    !parts.is_empty() && left_over(region.clone(), parts).is_empty()
}
