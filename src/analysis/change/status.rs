//! What a change does to expectations and needs.

use boundwalk_forwarding::Network;

use super::super::intent::{
    IntentStatus, JudgedExpectation, JudgedNeed, judge_expectations, judge_needs,
};
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
    pub before: Option<IntentStatus>,
    /// Now; `None`: it is gone.
    pub after: Option<IntentStatus>,
}

impl IntentChange {
    fn moved(&self) -> bool {
        let kind = |status: &Option<IntentStatus>| status.as_ref().map(std::mem::discriminant);
        kind(&self.before) != kind(&self.after)
    }
}

/// Expectations and needs that stand otherwise than before, matched by name; needs without a name by what they say.
pub fn intent_changes(old: &Network<'_>, new: &Network<'_>) -> Vec<IntentChange> {
    let judged = |network| {
        let judged: Vec<JudgedExpectation<'_>> = judge_expectations(network);
        judged
            .into_iter()
            .map(|one| (one.expectation.name.value.clone(), one.status))
            .collect()
    };
    let pairs = pairing::pairs(
        &expectations(old.site),
        &expectations(new.site),
        Renames::No,
    );
    let mut changes = matched(false, &pairs, judged(old), judged(new));
    let judged = |network| {
        let judged: Vec<JudgedNeed<'_>> = judge_needs(network);
        judged
            .into_iter()
            .map(|one| (one.need.name.value.clone(), one.status))
            .collect()
    };
    let pairs = pairing::pairs(&needs(old.site), &needs(new.site), Renames::No);
    changes.extend(matched(true, &pairs, judged(old), judged(new)));
    changes.retain(IntentChange::moved);
    changes
}

/// Lines in the order of the site, by name.
type Judged = Vec<(String, IntentStatus)>;

fn matched(need: bool, pairs: &[Pair], old: Judged, new: Judged) -> Vec<IntentChange> {
    let of = |list: &Judged, at: Option<usize>| at.and_then(|at| list.get(at).cloned());
    let changes = pairs.iter().filter_map(|&(was, is)| {
        let (before, after) = (of(&old, was), of(&new, is));
        let (name, _) = after.as_ref().or(before.as_ref())?;
        Some(IntentChange {
            need,
            name: name.clone(),
            before: before.map(|(_, status)| status),
            after: after.map(|(_, status)| status),
        })
    });
    changes.collect()
}
