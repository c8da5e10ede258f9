//! What a change does to expectations, needs and isolation.

use crate::forwarding::Network;
use crate::model::SegmentId;

use super::super::distance::{Distance, EFFORT, distance};
use super::super::intent::{
    JudgedExpectation, JudgedNeed, Standing, judge_expectations, judge_needs,
};
use super::super::isolation::{Verdict, isolation};
use super::counterparts::Counterparts;
use super::pairing::{self, Pair, Renames};
use super::things::{expectations, needs};

/// How a line stood and stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct IntentChange {
    /// Whether it is a need.
    pub need: bool,
    /// Its name.
    pub name: String,
    /// Before; `None`: it was not there.
    pub before: Option<Standing>,
    /// Now; `None`: it is gone.
    pub after: Option<Standing>,
}

impl IntentChange {
    fn moved(&self) -> bool {
        let kind = |standing: &Option<Standing>| standing.as_ref().map(std::mem::discriminant);
        kind(&self.before) != kind(&self.after)
    }
}

/// Expectations and needs that stand otherwise than before, matched by name; needs without a name by what they say.
pub fn intent_changes(old: &Network<'_>, new: &Network<'_>) -> Vec<IntentChange> {
    let judged = |network| {
        let judged: Vec<JudgedExpectation<'_>> = judge_expectations(network);
        let named = judged
            .into_iter()
            .map(|one| (one.expectation.name.value.clone(), one.standing));
        named.collect()
    };
    let pairs = pairing::pairs(
        &expectations(old.site),
        &expectations(new.site),
        Renames::No,
    );
    let mut changes = matched(false, &pairs, judged(old), judged(new));
    let judged = |network| {
        let judged: Vec<JudgedNeed<'_>> = judge_needs(network);
        let named = judged
            .into_iter()
            .map(|one| (one.need.name.value.clone(), one.standing));
        named.collect()
    };
    let pairs = pairing::pairs(&needs(old.site), &needs(new.site), Renames::No);
    changes.extend(matched(true, &pairs, judged(old), judged(new)));
    changes.retain(IntentChange::moved);
    changes
}

/// Lines in the order of the site, by name.
type Judged = Vec<(String, Standing)>;

fn matched(need: bool, pairs: &[Pair], old: Judged, new: Judged) -> Vec<IntentChange> {
    let of = |list: &Judged, at: Option<usize>| at.and_then(|at| list.get(at).cloned());
    let changes = pairs.iter().filter_map(|&(was, is)| {
        let (before, after) = (of(&old, was), of(&new, is));
        let (name, _) = after.as_ref().or(before.as_ref())?;
        Some(IntentChange {
            need,
            name: name.clone(),
            before: before.map(|(_, standing)| standing),
            after: after.map(|(_, standing)| standing),
        })
    });
    changes.collect()
}

/// How the isolation of a segment changed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct IsolationChange {
    /// The segment, in the new version.
    pub segment: SegmentId,
    /// Before, with what would have ended it; `None`: the segment was not there.
    pub before: Option<(Verdict, Distance)>,
    /// Now, with what would end it.
    pub after: (Verdict, Distance),
}

/// Segments that claim to be isolated, in either version, whose verdict or distance changed. The distance counts the
/// faults of the smallest set that ends the isolation.
pub fn isolation_changes(
    old: &Network<'_>,
    new: &Network<'_>,
    counterparts: &Counterparts,
) -> Vec<IsolationChange> {
    let claims = |network: &Network<'_>, id: SegmentId| {
        network.site.segment(id).claims_isolation().is_some()
    };
    let judged = |network: &Network<'_>, id: SegmentId| {
        let verdict = isolation(network, id);
        let far = distance(network, id, &verdict, EFFORT);
        (verdict, far)
    };
    let mut changes = Vec::new();
    for twin in &counterparts.segments {
        let Some(segment) = twin.new else { continue };
        let claimed = claims(new, segment) || twin.old.is_some_and(|id| claims(old, id));
        if !claimed {
            continue;
        }
        let change = IsolationChange {
            segment,
            before: twin.old.map(|id| judged(old, id)),
            after: judged(new, segment),
        };
        let kind = |(verdict, far): &(Verdict, Distance)| {
            (
                std::mem::discriminant(verdict),
                far.one.len(),
                far.two.len(),
            )
        };
        if change.before.as_ref().map(kind) != Some(kind(&change.after)) {
            changes.push(change);
        }
    }
    changes
}
