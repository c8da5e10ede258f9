//! What a change does to the isolation of segments.

use boundwalk_forwarding::{Arrival, Network, Origin, Place, Sender, Target, reach};
use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::IntervalSet;

use super::super::distance::{Distance, EFFORT, distance};
use super::super::isolation::{IsolationVerdict, isolations};
use super::super::witness::representative;
use super::counterparts::Matched;
use super::reach::{ReachChange, Spot};

/// How a segment stands in one version.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stood {
    /// What is so.
    pub verdict: IsolationVerdict,
    /// The faults that would end it; `None`: nobody claims that the segment is isolated.
    pub distance: Option<Distance>,
}

/// Which way a verdict went.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Trend {
    /// Less keeps the segment apart than before.
    Worse,
    /// More does.
    Better,
    /// The verdict is the same, and other faults end it.
    Same,
}

/// How the isolation of a segment changed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct IsolationChange {
    /// The segment, in the new version.
    pub segment: SegmentId,
    /// Whether it claims to be isolated, in either version.
    pub claimed: bool,
    /// Before; `None`: the segment was not there.
    pub before: Option<Stood>,
    /// Now.
    pub after: Stood,
}

impl IsolationChange {
    /// Which way it went; *worse* where a limit leaves the new verdict open.
    #[must_use]
    pub fn trend(&self) -> Trend {
        let Some(before) = &self.before else {
            return match rank(&self.after.verdict) {
                0 => Trend::Same,
                _ => Trend::Worse,
            };
        };
        match rank(&before.verdict).cmp(&rank(&self.after.verdict)) {
            std::cmp::Ordering::Less => Trend::Worse,
            std::cmp::Ordering::Equal => Trend::Same,
            std::cmp::Ordering::Greater => Trend::Better,
        }
    }

    /// Whether a limit leaves one of the verdicts open.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        let unknown = |stood: &Stood| matches!(stood.verdict, IsolationVerdict::Unknown { .. });
        unknown(&self.after) || self.before.as_ref().is_some_and(unknown)
    }
}

/// How little keeps a segment apart.
fn rank(verdict: &IsolationVerdict) -> u8 {
    match verdict {
        IsolationVerdict::ByDesign(_) => 0,
        IsolationVerdict::ByRule { .. } => 1,
        IsolationVerdict::Unknown { .. } => 2,
        IsolationVerdict::Reachable { .. } => 3,
    }
}

/// Segments whose verdict changed, those that claim to be isolated first, in either version; of these also where other
/// faults end the isolation. The distance counts the faults of the smallest set that does.
///
/// Where only rules differ, only segments are looked at that `reach` names. What a plain probe finds to be reachable in
/// both versions is not judged further.
#[must_use]
pub fn isolation_changes(
    old: &Network<'_>,
    new: &Network<'_>,
    reach: &ReachChange,
) -> Vec<IsolationChange> {
    let claims = |network: &Network<'_>, id: SegmentId| {
        network.site.segment(id).claims_isolation().is_some()
    };
    let asked = reach.counterparts.segments.iter().filter_map(|&matched| {
        let segment = matched.new?;
        let claimed = claims(new, segment) || matched.old.is_some_and(|id| claims(old, id));
        let there = matched.old.is_some() || claimed;
        let touched = !reach.only_rules || names(reach, matched);
        (there && touched).then_some((matched, segment, claimed))
    });
    let open = |network: &Network<'_>, id: Option<SegmentId>| {
        id.is_some_and(|id| surely_reachable(network, id))
    };
    let asked = asked.filter(|&(matched, ..)| !(open(old, matched.old) && open(new, matched.new)));
    let mut asked: Vec<(Matched<SegmentId>, SegmentId, bool)> = asked.collect();
    asked.sort_by_key(|&(_, _, claimed)| !claimed);
    let of = |new| {
        asked
            .iter()
            .filter_map(move |(matched, ..)| matched.side(new))
    };
    let mut before = stood(old, &of(false).collect::<Vec<_>>()).into_iter();
    let mut after = stood(new, &of(true).collect::<Vec<_>>()).into_iter();
    let mut changes = Vec::new();
    for (matched, segment, claimed) in asked {
        let before = matched.old.and_then(|id| Some((id, before.next()?)));
        let Some(verdict) = after.next() else {
            continue;
        };
        let same = before
            .as_ref()
            .is_some_and(|(_, before)| rank(before) == rank(&verdict));
        if same && (!claimed || reach.only_rules) {
            continue;
        }
        let far = |network: &Network<'_>, id: SegmentId, verdict: &IsolationVerdict| {
            claimed.then(|| distance(network, id, verdict, network.scaled(EFFORT)))
        };
        let change = IsolationChange {
            segment,
            claimed,
            before: before.map(|(id, verdict)| Stood {
                distance: far(old, id, &verdict),
                verdict,
            }),
            after: Stood {
                distance: far(new, segment, &verdict),
                verdict,
            },
        };
        let faults = |stood: &Stood| {
            let distance = stood.distance.as_ref();
            distance.map(|far| (far.one.len(), far.two.len()))
        };
        if !same || change.before.as_ref().map(faults) != Some(faults(&change.after)) {
            changes.push(change);
        }
    }
    changes
}

fn stood(network: &Network<'_>, segments: &[SegmentId]) -> Vec<IsolationVerdict> {
    if segments.is_empty() {
        Vec::new()
    } else {
        isolations(network, segments)
    }
}

/// Whether something opens or closes for a segment, or may.
fn names(reach: &ReachChange, matched: Matched<SegmentId>) -> bool {
    let mut pairs = reach.pairs.iter().chain(&reach.hostile);
    pairs.any(|pair| pair.from == Spot::Segment(matched) || pair.to == Spot::Segment(matched))
}

/// Whether a packet of a hostile device to one address of another segment arrives there: right where it says yes.
fn surely_reachable(network: &Network<'_>, segment: SegmentId) -> bool {
    let sender = Sender::Hostile(Origin::Segment(segment));
    Family::ALL.iter().any(|&family| {
        let plan = network.plan(family);
        let mut points = network
            .site
            .segment_ids()
            .filter(|&other| other != segment)
            .filter_map(|other| {
                let point = representative(plan, &plan.segment(other).addresses)?;
                Some((other, IntervalSet::point(point)))
            });
        points.any(|(other, point)| {
            let target = Target {
                addresses: &point,
                segment: Some(other),
                services: None,
            };
            let mut arrived = false;
            // What is listed surely arrives, also where a limit was met.
            let _lower_bound = reach(network, plan, sender, target, &mut |arrival| {
                if let Arrival::Delivered(Place::Segment(place), _) = arrival {
                    arrived |= place != segment;
                }
            });
            arrived
        })
    })
}
