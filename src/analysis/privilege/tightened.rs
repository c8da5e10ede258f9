//! Is a tightened site what it should be: nothing opens, and nothing that is used closes?

use boundwalk_forwarding::{Network, Packet, Sender, WalkCoverage, class_of};
use boundwalk_model::{Family, PerFamily, SegmentId};
use boundwalk_packet::Region;

use super::super::change::{PairChange, reach_change};
use super::super::intent::{Ground, Passed, Scope, need_scope, passing};
use super::super::witness::witness;
use super::found::Observed;

/// What the comparison came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Proof {
    /// Nothing opens, and no packet of a need or an observed flow that passed before is denied now.
    Holds,
    /// This packet passes now and did not before.
    Opens(Packet),
    /// This packet is used and does not pass any more.
    Closes(Packet),
    /// A limit was met.
    Unknown,
}

/// Compares two versions that were prepared together ([`Network::versions`]).
#[must_use]
pub fn prove(old: &Network<'_>, new: &Network<'_>, observed: &[Observed]) -> Proof {
    let change = reach_change(old, new, &mut |_, _| {});
    let mut looks = PerFamily::new(|family| Look::new(old, family));
    for pair in &change.pairs {
        if let Some(packet) = pair.opened.iter().find_map(|opened| opened.packet) {
            return Proof::Opens(packet);
        }
        let look = &mut looks[pair.family];
        if let Some(packet) = look.used_and_closed(pair, observed) {
            return Proof::Closes(packet);
        }
        if !pair.complete() || !look.coverage.is_complete() {
            return Proof::Unknown;
        }
    }
    // What a hostile device loses nobody uses.
    for pair in &change.hostile {
        if let Some(packet) = pair.opened.iter().find_map(|opened| opened.packet) {
            return Proof::Opens(packet);
        }
        if !pair.complete() {
            return Proof::Unknown;
        }
    }
    Proof::Holds
}

/// The old version in one family, with what needs speak of.
struct Look<'n> {
    ground: Ground<'n>,
    scopes: Vec<Scope>,
    /// Whether all that needs use was listed.
    coverage: WalkCoverage,
}

impl<'n> Look<'n> {
    fn new(network: &'n Network<'n>, family: Family) -> Self {
        let ground = Ground::new(network, family);
        let scopes = network
            .site
            .needs
            .iter()
            .map(|need| need_scope(&ground, need))
            .collect();
        Self {
            ground,
            scopes,
            coverage: WalkCoverage::Complete,
        }
    }

    /// A packet of a need, or an observed one, among what a pair loses.
    fn used_and_closed(&mut self, pair: &PairChange, observed: &[Observed]) -> Option<Packet> {
        let (network, plan) = (self.ground.network, self.ground.plan);
        let from = pair.from.segment()?.old?;
        let to = pair.to.column(&self.ground, false)?;
        let meets = |scope: &&Scope| scope.from.contains(&from) && scope.to.contains(&to);
        let scopes: Vec<Scope> = self.scopes.iter().filter(meets).cloned().collect();
        for scope in &scopes {
            let (needed, walked) = self.needed(scope, from, to);
            self.coverage.note(walked);
            let (network, plan) = (self.ground.network, self.ground.plan);
            for region in needed {
                for closed in &pair.closed {
                    let both = region.intersection(&closed.packets);
                    if !both.is_empty() {
                        return witness(network, plan, &both);
                    }
                }
            }
        }
        let mut packets = observed
            .iter()
            .filter(|flow| Family::of(flow.source) == plan.family)
            .map(Observed::packet);
        packets.find(|packet| {
            let class = class_of(network, packet);
            let (source, destination) = (
                Family::value(packet.source),
                Family::value(packet.destination),
            );
            let mut closed = pair.closed.iter();
            closed.any(|closed| closed.packets.contains(source, destination, class))
        })
    }

    fn needed(&self, scope: &Scope, from: SegmentId, to: usize) -> (Vec<Region>, WalkCoverage) {
        let mut regions = Vec::new();
        let services = scope.services.as_ref();
        let mut collect = |passed: Passed| regions.extend(passed.named(&self.ground, services));
        let sender = Sender::Segment(from);
        let walked = passing(&self.ground, scope, sender, to, services, &mut collect);
        (regions, walked)
    }
}
