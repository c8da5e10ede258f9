//! Which thing of one version is which of the other.

use std::collections::VecDeque;
use std::hash::Hash;

use rustc_hash::FxHashMap;

use super::things::{Thing, ThingSetting};

/// Numbers of the same thing in the old and in the new list; `None`: it is not there.
pub(super) type Pair = (Option<usize>, Option<usize>);

/// Whether things that differ in their names only are the same.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Renames {
    /// They are.
    Allowed,
    /// One is gone and another is new.
    No,
}

/// Every thing once: those of the new list in its order, then those that are gone.
///
/// Paired by key and settings, then by key, then by name, then, where that is allowed, by settings alone. O(things).
pub(super) fn pairs(old: &[Thing], new: &[Thing], renames: Renames) -> Vec<Pair> {
    let mut matched_pairs: Vec<Option<usize>> = vec![None; new.len()];
    let mut taken = vec![false; old.len()];
    let lists = (old, new);
    pair_by(lists, &mut matched_pairs, &mut taken, |thing| {
        (&thing.key, &thing.settings)
    });
    pair_by(lists, &mut matched_pairs, &mut taken, |thing| &thing.key);
    pair_by(lists, &mut matched_pairs, &mut taken, |thing| &thing.name);
    if renames == Renames::Allowed {
        let settings = |thing: &'_ Thing| -> Vec<ThingSetting> { thing.settings.clone() };
        pair_by(lists, &mut matched_pairs, &mut taken, settings);
    }
    let kept = matched_pairs
        .iter()
        .enumerate()
        .map(|(at, matched)| (*matched, Some(at)));
    let gone = taken.iter().enumerate().filter(|(_, taken)| !**taken);
    kept.chain(gone.map(|(at, _)| (Some(at), None))).collect()
}

/// Pairs what is not paired yet and has the same mark, in the order of the lists.
fn pair_by<'t, M: Hash + Eq>(
    (old, new): (&'t [Thing], &'t [Thing]),
    matched_pairs: &mut [Option<usize>],
    taken: &mut [bool],
    mark: impl Fn(&'t Thing) -> M,
) {
    let mut free: FxHashMap<M, VecDeque<usize>> = FxHashMap::default();
    for (at, thing) in old.iter().enumerate().filter(|(at, _)| !taken[*at]) {
        free.entry(mark(thing)).or_default().push_back(at);
    }
    for (thing, matched) in new
        .iter()
        .zip(matched_pairs)
        .filter(|(_, matched)| matched.is_none())
    {
        if let Some(found) = free.get_mut(&mark(thing)).and_then(VecDeque::pop_front) {
            taken[found] = true;
            *matched = Some(found);
        }
    }
}
