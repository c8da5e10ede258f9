//! What somebody edited, by name, whether or not it does anything.

use rustc_hash::FxHashSet;
use similar::{Algorithm, DiffOp, capture_diff_slices};

use boundwalk_diagnostic::Span;
use boundwalk_model::{Filter, RouterId, Site};

use super::counterparts::{Counterparts, Matched};
use super::pairing::{Pair, Renames, pairs};
use super::things::{KINDS, Thing, rules, translations};

/// What became of a thing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum EditKind {
    /// It is new.
    Added,
    /// It is gone.
    Removed,
    /// These of its settings differ, by their keys in the site file.
    Changed(Vec<&'static str>),
    /// It stands elsewhere among the lines that stayed.
    Moved,
    /// It was called this.
    Renamed(String),
}

/// One edit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Edit {
    /// What it is, as `edge rule "guests print"` or `segment office`.
    pub what: String,
    /// What became of it.
    pub kind: EditKind,
    /// Where it stood.
    pub old: Option<Span>,
    /// Where it stands.
    pub new: Option<Span>,
    /// For a rule, its gateway and number in the old and in the new version.
    pub rule: Option<Matched<(RouterId, usize)>>,
}

/// Edits, in the order of the parts of a site: what is added, removed or changed, and lines of ordered lists that moved.
/// Matched by name; a rule or translation that only its name tells from one that is gone is *renamed*, other things are
/// removed and added. Sets that are only written in another order are no edit.
#[must_use]
pub fn edits(old: &Site, new: &Site) -> Vec<Edit> {
    let mut found = Vec::new();
    for kind in KINDS {
        let lists = Lists::new((kind.list)(old), (kind.list)(new), Renames::No);
        for (pair, change) in lists.changed() {
            let name = lists.name(pair);
            let what = if name.is_empty() {
                kind.word.to_owned()
            } else {
                format!("{} {name}", kind.word)
            };
            found.push(lists.edit(pair, change, what));
        }
    }
    for matched in Counterparts::of_sites(old, new).routers {
        ordered_edits((old, new), matched, &mut found);
    }
    found
}

/// Rules and translations of one gateway.
fn ordered_edits((old, new): (&Site, &Site), matched: Matched<RouterId>, found: &mut Vec<Edit>) {
    let (name, was, is) = match (matched.old, matched.new) {
        (old_id, Some(id)) => (
            &new.router(id).name.value,
            old_id.and_then(|id| old.router(id).filter()),
            new.router(id).filter(),
        ),
        (Some(id), None) => (&old.router(id).name.value, old.router(id).filter(), None),
        (None, None) => return,
    };
    let listed = |site, filter: Option<&Filter>| filter.map_or(Vec::new(), |one| rules(site, one));
    let lists = Lists::new(listed(old, was), listed(new, is), Renames::Allowed);
    for (pair, change) in lists.changed_or_moved() {
        let what = format!("{name} rule \"{}\"", lists.name(pair));
        found.push(Edit {
            rule: Some(Matched {
                old: matched.old.zip(pair.0),
                new: matched.new.zip(pair.1),
            }),
            ..lists.edit(pair, change, what)
        });
    }
    let listed = |site, filter: Option<&Filter>| {
        filter.map_or_else(Default::default, |one| translations(site, one))
    };
    for (one, other) in listed(old, was).into_iter().zip(listed(new, is)) {
        let lists = Lists::new(one, other, Renames::Allowed);
        for (pair, change) in lists.changed_or_moved() {
            let what = format!("{name} translation \"{}\"", lists.name(pair));
            found.push(lists.edit(pair, change, what));
        }
    }
}

/// The things of one kind in both versions.
struct Lists {
    old: Vec<Thing>,
    new: Vec<Thing>,
    pairs: Vec<Pair>,
}

impl Lists {
    fn new(old: Vec<Thing>, new: Vec<Thing>, renames: Renames) -> Self {
        let pairs = pairs(&old, &new, renames);
        Self { old, new, pairs }
    }

    fn sides(&self, (was, is): Pair) -> (Option<&Thing>, Option<&Thing>) {
        (was.map(|at| &self.old[at]), is.map(|at| &self.new[at]))
    }

    /// The name now; of what is gone, the name before.
    fn name(&self, pair: Pair) -> &str {
        let (was, is) = self.sides(pair);
        is.or(was).map_or("", |thing| &thing.name)
    }

    fn edit(&self, pair: Pair, kind: EditKind, what: String) -> Edit {
        let (was, is) = self.sides(pair);
        Edit {
            what,
            kind,
            old: was.map(|thing| thing.place),
            new: is.map(|thing| thing.place),
            rule: None,
        }
    }

    /// What differs, wherever it stands.
    fn changed(&self) -> Vec<(Pair, EditKind)> {
        self.pairs
            .iter()
            .flat_map(|&pair| self.differences(pair).map(move |kind| (pair, kind)))
            .collect()
    }

    fn differences(&self, pair: Pair) -> impl Iterator<Item = EditKind> + use<> {
        let (one, other) = match self.sides(pair) {
            (Some(was), Some(is)) => {
                // What is paired by its key and has another name is only numbered otherwise.
                let renamed = was.name != is.name && was.key != is.key;
                let differ: Vec<&'static str> = was
                    .settings
                    .iter()
                    .zip(&is.settings)
                    .filter(|(one, other)| one != other)
                    .map(|(one, _)| one.0)
                    .collect();
                (
                    renamed.then(|| EditKind::Renamed(was.name.clone())),
                    (!differ.is_empty()).then_some(EditKind::Changed(differ)),
                )
            }
            (None, Some(_)) => (Some(EditKind::Added), None),
            (Some(_), None) => (Some(EditKind::Removed), None),
            (None, None) => (None, None),
        };
        one.into_iter().chain(other)
    }

    /// The same of a list whose order means something: what moved stands behind what else became of it.
    fn changed_or_moved(&self) -> Vec<(Pair, EditKind)> {
        let moved = self.moved();
        let mut found = Vec::new();
        for &pair in &self.pairs {
            found.extend(self.differences(pair).map(|kind| (pair, kind)));
            if pair.1.is_some_and(|at| moved.contains(&at)) {
                found.push((pair, EditKind::Moved));
            }
        }
        found
    }

    /// Numbers of things of the new list that do not stand in the order of the old one among those that stayed: as few
    /// as the comparison finds.
    fn moved(&self) -> FxHashSet<usize> {
        let mut stayed: Vec<(usize, usize)> = self
            .pairs
            .iter()
            .filter_map(|&(was, is)| was.zip(is))
            .collect();
        let now: Vec<usize> = stayed.iter().map(|&(_, is)| is).collect();
        stayed.sort_unstable();
        let before: Vec<usize> = stayed.iter().map(|&(_, is)| is).collect();
        let mut moved = FxHashSet::default();
        for operation in capture_diff_slices(Algorithm::Myers, &before, &now) {
            if !matches!(operation, DiffOp::Equal { .. }) {
                moved.extend(now[operation.new_range()].iter().copied());
            }
        }
        moved
    }
}
