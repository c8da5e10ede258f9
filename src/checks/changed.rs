//! Findings of two versions, compared.

use std::collections::VecDeque;

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Finding, Magnitude};

use super::accept::{of_some, parted};
use super::baseline::{more, worse};

/// Findings of the new version that the old one does not have, or of which it measured less; and findings of the old one
/// that are gone.
///
/// Two findings are the same where check and subject are; the message may differ in a count or in the packet shown,
/// the place in its line. Of a finding with several subjects those that differ are named. One that got worse says what
/// came to it, as it does against a baseline. `renamed`: subjects that are called otherwise now, with the old name
/// first.
#[must_use]
pub fn changed(
    old: &[Finding],
    new: &[Finding],
    renamed: &[(String, String)],
) -> (Vec<Finding>, Vec<Finding>) {
    let now = |subject: &str| {
        let known = renamed.iter().find(|(old, _)| old == subject);
        known.map_or_else(|| subject.to_owned(), |(_, new)| new.clone())
    };
    let same = |subject: &str| subject.to_owned();
    let (old, new): (ChangedSide<'_>, ChangedSide<'_>) = ((old, &now), (new, &same));
    let fresh = compared(new, old)
        .into_iter()
        .map(|(added, finding)| match added {
            None => finding,
            Some(added) => worse(finding, &added),
        });
    let gone = compared(old, new)
        .into_iter()
        .filter(|(added, _)| added.is_none());
    (fresh.collect(), gone.map(|(_, finding)| finding).collect())
}

/// Findings with how their subjects are called.
type ChangedSide<'a> = (&'a [Finding], &'a dyn Fn(&str) -> String);

/// What stands on one side only (`None`), and what says more there (what it says besides).
fn compared(
    (these, called): ChangedSide<'_>,
    (known, known_called): ChangedSide<'_>,
) -> Vec<(Option<Vec<String>>, Finding)> {
    let mut left: FxHashMap<(&str, String), VecDeque<Option<&Magnitude>>> = FxHashMap::default();
    for finding in known {
        for subject in &finding.subjects {
            let key = (finding.check.name, known_called(subject));
            let measured = finding.measured.get(subject);
            left.entry(key).or_default().push_back(measured);
        }
    }
    let mut differing = Vec::new();
    for finding in these {
        // Subjects that differ, with what came to those that both sides have.
        let mut states: FxHashMap<&str, Option<Vec<String>>> = FxHashMap::default();
        for subject in &finding.subjects {
            let there = left.get_mut(&(finding.check.name, called(subject)));
            match there.and_then(VecDeque::pop_front) {
                None => _ = states.insert(subject, None),
                Some(before) => {
                    let more = more(before, finding.measured.get(subject));
                    if !more.is_empty() {
                        states.insert(subject, Some(more));
                    }
                }
            }
        }
        let mut subjects = finding.subjects.clone();
        subjects.retain(|subject| states.contains_key(subject.as_str()));
        if !subjects.is_empty() {
            let part = of_some(finding, subjects);
            let of = |subject: &str| states.get(subject).cloned().flatten();
            differing.extend(parted(part, of));
        }
    }
    differing
}
