//! What somebody edited, by name, whether or not it does anything.

use rustc_hash::{FxHashMap, FxHashSet};
use similar::{Algorithm, DiffOp, capture_diff_slices};

use crate::diagnostic::Span;
use crate::model::{Rule, Site};

use super::things::{KINDS, Thing, rule_settings};

/// What became of a thing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum EditKind {
    /// It is new.
    Added,
    /// It is gone.
    Removed,
    /// These of its settings differ.
    Changed(Vec<&'static str>),
    /// It stands elsewhere among the rules that stayed.
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
    /// For a rule its gateway and number in the old and in the new version.
    pub rule: Option<(usize, Option<usize>, Option<usize>)>,
}

/// Edits, in the order of the parts of a site: what is added, removed or changed, and rules that moved. Matched by
/// name; a rule that only its name tells from one that is gone is told as renamed, other things as removed and added.
pub fn edits(old: &Site, new: &Site) -> Vec<Edit> {
    let mut found = Vec::new();
    for (kind, list) in KINDS {
        compare(kind, list(old), list(new), &mut found);
    }
    for (number, router) in new.routers.iter().enumerate() {
        let before = old.routers.iter().find(|other| other.name == router.name);
        rule_edits(
            (old, new),
            number,
            rules_of(before),
            rules_of(Some(router)),
            &mut found,
        );
    }
    found
}

fn rules_of(router: Option<&crate::model::Router>) -> Vec<&Rule> {
    let filter = router.and_then(|router| router.filter());
    filter.map_or(Vec::new(), |filter| filter.rules.iter().collect())
}

fn compare(kind: &str, old: Vec<Thing>, new: Vec<Thing>, found: &mut Vec<Edit>) {
    let what = |thing: &Thing| format!("{kind} {}", thing.name);
    let mut before: FxHashMap<&str, &Thing> = FxHashMap::default();
    before.extend(old.iter().map(|thing| (thing.name.as_str(), thing)));
    let mut kept: FxHashSet<&str> = FxHashSet::default();
    for thing in &new {
        let known = before.get(thing.name.as_str());
        let kind = match known {
            None => EditKind::Added,
            Some(known) => {
                kept.insert(&thing.name);
                let pairs = known.settings.iter().zip(&thing.settings);
                let differ = pairs.filter(|(one, other)| one != other);
                let differ: Vec<&'static str> = differ.map(|(one, _)| one.0).collect();
                if differ.is_empty() {
                    continue;
                }
                EditKind::Changed(differ)
            }
        };
        found.push(Edit {
            what: what(thing),
            kind,
            old: known.map(|known| known.place),
            new: Some(thing.place),
            rule: None,
        });
    }
    for thing in old
        .iter()
        .filter(|thing| !kept.contains(thing.name.as_str()))
    {
        found.push(Edit {
            what: what(thing),
            kind: EditKind::Removed,
            old: Some(thing.place),
            new: None,
            rule: None,
        });
    }
}

fn rule_edits(
    (old_site, new_site): (&Site, &Site),
    router: usize,
    old: Vec<&Rule>,
    new: Vec<&Rule>,
    found: &mut Vec<Edit>,
) {
    let gateway = &new_site.routers[router].name.value;
    let numbers = |rules: &[&Rule]| {
        let numbered = rules.iter().enumerate();
        numbered
            .map(|(at, rule)| (rule.name.value.clone(), at))
            .collect()
    };
    let before: FxHashMap<String, usize> = numbers(&old);
    let after: FxHashMap<String, usize> = numbers(&new);
    let moved = moved(&old, &new, &before, &after);
    let mut add = |rule: &Rule, kind, (was, is): (Option<usize>, Option<usize>)| {
        found.push(Edit {
            what: format!("{gateway} rule \"{}\"", rule.name.value),
            kind,
            old: was.map(|at| old[at].name.span),
            new: is.map(|at| new[at].name.span),
            rule: Some((router, was, is)),
        });
    };
    let mut gone: Vec<usize> = (0..old.len()).collect();
    gone.retain(|&at| !after.contains_key(&old[at].name.value));
    for (at, rule) in new.iter().enumerate() {
        let Some(&was) = before.get(&rule.name.value) else {
            let own = rule_settings(new_site, rule);
            let twin = gone
                .iter()
                .position(|&was| rule_settings(old_site, old[was]) == own);
            match twin.map(|twin| gone.remove(twin)) {
                Some(was) => {
                    let name = old[was].name.value.clone();
                    add(rule, EditKind::Renamed(name), (Some(was), Some(at)));
                }
                None => add(rule, EditKind::Added, (None, Some(at))),
            }
            continue;
        };
        let settings = |site: &Site, rule: &Rule| rule_settings(site, rule);
        let pairs = settings(old_site, old[was])
            .into_iter()
            .zip(settings(new_site, rule));
        let differ = pairs.filter(|(one, other)| one != other);
        let differ: Vec<&'static str> = differ.map(|(one, _)| one.0).collect();
        if !differ.is_empty() {
            add(rule, EditKind::Changed(differ), (Some(was), Some(at)));
        }
        if moved.contains(&at) {
            add(rule, EditKind::Moved, (Some(was), Some(at)));
        }
    }
    for at in gone {
        add(old[at], EditKind::Removed, (Some(at), None));
    }
}

/// Numbers of rules of the new list that do not stand in the order of the old one among those that stayed: as few as
/// the comparison finds.
fn moved(
    old: &[&Rule],
    new: &[&Rule],
    before: &FxHashMap<String, usize>,
    after: &FxHashMap<String, usize>,
) -> FxHashSet<usize> {
    let stayed = old
        .iter()
        .filter_map(|rule| after.get(&rule.name.value).copied());
    let stayed: Vec<usize> = stayed.collect();
    let order: Vec<usize> = (0..new.len())
        .filter(|&at| before.contains_key(&new[at].name.value))
        .collect();
    let mut moved = FxHashSet::default();
    for operation in capture_diff_slices(Algorithm::Myers, &stayed, &order) {
        if !matches!(operation, DiffOp::Equal { .. }) {
            moved.extend(order[operation.new_range()].iter().copied());
        }
    }
    moved
}
