//! A shorter rule list that decides every packet alike.

use boundwalk_diagnostic::Spanned;
use boundwalk_load::RuleField;
use boundwalk_model::{AddressMatch, AddressSet, Rule, RuleParty, ServiceMatch};
use boundwalk_packet::Mask;

use super::compare::{After, Comparison};
use super::judge::Judge;
use super::pairs::{denies_the_rest, is_backstop};
use super::redundant::Use;
use super::review::{RuleReview, RuleStatus, Without};

/// Why a rule that could go stays.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Kept {
    /// An earlier rule does the opposite of what it says: somebody must decide which one is meant.
    Contradicted,
    /// The gateway has counted packets at it, though none should get that far: the file and the network differ.
    Counted,
    /// It writes the default out, so that whoever reads the rules sees it.
    Default,
    /// It logs, and without it that log would be lost or come from elsewhere.
    Logs,
    /// Nothing that it names can get there now; that may change with the network, not with the rules.
    Irrelevant,
    /// With the other rules that stay, it is needed.
    Needed,
}

/// Neighbours that become one rule: the first takes the list of the second in one field.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Merge {
    /// The rule that stays, by number.
    pub into: usize,
    /// The rules that go, by number, ascending.
    pub from: Vec<usize>,
    /// The field in which they differ.
    pub field: RuleField,
    /// What the first rule comes to be.
    pub rule: Rule,
}

/// A shorter list.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Cleaned {
    /// Rules that go, by number, ascending; those that are merged into others are not among them.
    pub removed: Vec<usize>,
    /// Neighbours that become one.
    pub merges: Vec<Merge>,
    /// Rules that could go by themselves and stay, with the reason.
    pub kept: Vec<(usize, Kept)>,
    /// Whether the two lists were compared and decide every packet alike.
    pub comparison: Comparison,
}

impl Cleaned {
    /// Leaves out rules that are dead or redundant and joins neighbours that differ in one list, then compares the
    /// new list with the old one.
    ///
    /// A rule stays where somebody should look at it first, or where its log would be lost. Cost: about that of the
    /// review, and of a comparison of what changed.
    pub fn new(judge: &Judge<'_, '_>, review: &RuleReview) -> Self {
        let rules = &judge.space.filter.rules;
        let mut kept = Vec::new();
        let mut gone = Mask::none(rules.len());
        for (rule, status) in review.rules.iter().enumerate() {
            match candidate(&rules[rule], status) {
                Some(Err(reason)) => kept.push((rule, reason)),
                Some(Ok(true)) => gone.insert(rule),
                _ => {}
            }
        }
        for (rule, status) in review.rules.iter().enumerate() {
            if candidate(&rules[rule], status) != Some(Ok(false)) {
                continue;
            }
            match judge.use_of(rule, None, &gone) {
                Use::Spare(_) => gone.insert(rule),
                _ => kept.push((rule, Kept::Needed)),
            }
        }
        kept.sort_unstable();
        let removed: Vec<usize> = gone.iter().collect();
        let (merges, after) = merged(judge, &gone);
        // What is joined to another rule does not stay by itself.
        kept.retain(|(rule, _)| !merges.iter().any(|merge| merge.from.contains(rule)));
        Self {
            removed,
            merges,
            kept,
            comparison: judge.space.compare(&after, &judge.effort),
        }
    }

    /// Whether nothing changes.
    #[must_use]
    pub fn is_same(&self) -> bool {
        self.removed.is_empty() && self.merges.is_empty()
    }
}

/// Whether a rule may go: `None` for one that is needed or off, true for a dead one, false for a redundant one.
fn candidate(rule: &Rule, status: &RuleStatus) -> Option<Result<bool, Kept>> {
    let counted = rule.hits.is_some_and(|hits| hits > 0);
    match status {
        RuleStatus::Dead(_) if counted => Some(Err(Kept::Counted)),
        RuleStatus::Dead(dead) if dead.against.is_some() || !dead.judged => {
            Some(Err(Kept::Contradicted))
        }
        RuleStatus::Dead(_) if denies_the_rest(rule) => Some(Err(Kept::Default)),
        RuleStatus::Dead(_) => Some(Ok(true)),
        RuleStatus::Irrelevant if counted => Some(Err(Kept::Counted)),
        RuleStatus::Irrelevant => Some(Err(Kept::Irrelevant)),
        RuleStatus::Decides {
            without: Without::Same { by },
            ..
        } => Some(match rule.log {
            true => Err(Kept::Logs),
            false if denies_the_rest(rule) => Err(Kept::Default),
            false if by.is_empty() && is_backstop(rule) => Err(Kept::Default),
            false => Ok(false),
        }),
        _ => None,
    }
}

/// Joins neighbours among the rules that are not gone; the list that comes of it.
fn merged(judge: &Judge<'_, '_>, gone: &Mask) -> (Vec<Merge>, Vec<After>) {
    let rules = &judge.space.filter.rules;
    let mut merges: Vec<Merge> = Vec::new();
    let mut after: Vec<After> = Vec::new();
    // The rule that the next one may join, as it is by then.
    let mut open: Option<(usize, Rule)> = None;
    for number in (0..rules.len()).filter(|&number| !gone.contains(number)) {
        let rule = &rules[number];
        let field = open.as_ref().and_then(|(into, first)| {
            let known = merges.last().filter(|merge| merge.into == *into);
            let field = differing(first, rule)?;
            known
                .is_none_or(|merge| merge.field == field)
                .then_some((*into, field))
        });
        match (field, &mut open) {
            (Some((into, field)), Some((_, first))) => {
                join(first, rule, field);
                after.pop();
                after.push(After::Changed(Box::new(first.clone())));
                match merges.last_mut().filter(|merge| merge.into == into) {
                    Some(merge) => {
                        merge.from.push(number);
                        merge.rule = first.clone();
                    }
                    None => merges.push(Merge {
                        into,
                        from: vec![number],
                        field,
                        rule: first.clone(),
                    }),
                }
            }
            _ => {
                after.push(After::Kept(number));
                open = rule
                    .active(judge.space.network.today)
                    .then(|| (number, rule.clone()));
            }
        }
    }
    (merges, after)
}

/// The one field in which two active rules differ, if all that people wrote about them is the same too.
fn differing(one: &Rule, other: &Rule) -> Option<RuleField> {
    let documented = one.log == other.log
        && one.enabled == other.enabled
        && one.expires == other.expires
        && (&one.reason, &one.owner, &one.ticket) == (&other.reason, &other.owner, &other.ticket)
        && one.reviewed == other.reviewed
        && one.hits.is_none()
        && other.hits.is_none();
    if one.action.value != other.action.value || !documented {
        return None;
    }
    let addresses = |one: &Option<AddressMatch>, other: &Option<AddressMatch>| {
        (one.as_ref().map(|field| &field.set) != other.as_ref().map(|field| &field.set))
            .then_some(one.is_some() && other.is_some())
    };
    let fields = [
        (RuleField::From, parties(&one.from, &other.from)),
        (RuleField::To, parties(&one.to, &other.to)),
        (RuleField::Source, addresses(&one.source, &other.source)),
        (
            RuleField::Destination,
            addresses(&one.destination, &other.destination),
        ),
        (
            RuleField::Services,
            services(&one.services, &other.services),
        ),
    ];
    let mut different = fields
        .into_iter()
        .filter_map(|(field, joinable)| Some((field, joinable?)));
    match (different.next(), different.next()) {
        (Some((field, true)), None) => Some(field),
        _ => None,
    }
}

/// `None` where two fields are the same, else whether both are lists.
fn parties(one: &Option<Vec<RuleParty>>, other: &Option<Vec<RuleParty>>) -> Option<bool> {
    (one != other).then_some(one.is_some() && other.is_some())
}

fn services(one: &Option<ServiceMatch>, other: &Option<ServiceMatch>) -> Option<bool> {
    let of = |field: &Option<ServiceMatch>| field.as_ref().map(|field| field.services.clone());
    (of(one) != of(other)).then_some(one.is_some() && other.is_some())
}

/// Adds the list of a rule to that of another in one field.
fn join(into: &mut Rule, rule: &Rule, field: RuleField) {
    match field {
        RuleField::From => extend(&mut into.from, &rule.from),
        RuleField::To => extend(&mut into.to, &rule.to),
        RuleField::Source => add_addresses(&mut into.source, &rule.source),
        RuleField::Destination => add_addresses(&mut into.destination, &rule.destination),
        RuleField::Services => {
            if let (Some(into), Some(more)) = (&mut into.services, &rule.services) {
                add_written(&mut into.written, &more.written);
                let new: Vec<_> = more
                    .services
                    .iter()
                    .filter(|one| !into.services.contains(one))
                    .cloned()
                    .collect();
                into.services.extend(new);
            }
        }
    }
}

fn extend(into: &mut Option<Vec<RuleParty>>, more: &Option<Vec<RuleParty>>) {
    if let (Some(into), Some(more)) = (into, more) {
        let new: Vec<RuleParty> = more
            .iter()
            .copied()
            .filter(|party| !into.contains(party))
            .collect();
        into.extend(new);
    }
}

fn add_addresses(into: &mut Option<AddressMatch>, more: &Option<AddressMatch>) {
    if let (Some(into), Some(more)) = (into, more) {
        add_written(&mut into.written, &more.written);
        let mut set: AddressSet = into.set.clone();
        set.extend(&more.set);
        into.set = set;
    }
}

fn add_written(into: &mut Vec<Spanned<String>>, more: &[Spanned<String>]) {
    let new: Vec<Spanned<String>> = more
        .iter()
        .filter(|item| !into.iter().any(|known| known.value == item.value))
        .cloned()
        .collect();
    into.extend(new);
}
