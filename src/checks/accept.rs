//! Parts findings that somebody accepted from those that are open.

use boundwalk_diagnostic::Finding;
use boundwalk_model::{Accepted, Date, Site};

use super::acceptance::OWN;
use super::report::joined;

/// Findings, parted.
#[derive(Debug)]
pub struct Judged<'s> {
    /// Nobody accepted these, or not any more.
    pub open: Vec<Finding>,
    /// These somebody accepted, and by which entry.
    pub accepted: Vec<(Finding, &'s Accepted)>,
}

/// Parts findings by the accepted ones of the site: an entry holds up to and on its last day.
///
/// A finding that speaks of several subjects may be accepted for some of them: it then stays open for the rest,
/// and each entry gets a finding of its own subjects. The message is put together anew. Where several entries
/// speak of a subject, the first counts. Findings about the entries themselves are never accepted. Order is kept.
/// Cost: findings times entries.
#[must_use]
pub fn accept<'s>(site: &'s Site, today: Date, findings: Vec<Finding>) -> Judged<'s> {
    let mut judged = Judged {
        open: Vec::new(),
        accepted: Vec::new(),
    };
    for finding in findings {
        let check = finding.check.name;
        let holding: Vec<(usize, &Accepted)> = site
            .accepted
            .iter()
            .enumerate()
            .filter(|(_, entry)| entry.holds(today) && !OWN.contains(&check))
            .collect();
        let entry_of = |subject: &str| {
            let mut holding = holding.iter();
            holding
                .find(|(_, entry)| entry.covers(check, subject))
                .map(|(number, _)| *number)
        };
        for (entry, part) in parted(finding, entry_of) {
            match entry {
                Some(entry) => judged.accepted.push((part, &site.accepted[entry])),
                None => judged.open.push(part),
            }
        }
    }
    judged
}

/// A finding by where its subjects belong, in the order in which those first come up.
pub(super) fn parted<K: PartialEq>(
    finding: Finding,
    belongs: impl Fn(&str) -> K,
) -> Vec<(K, Finding)> {
    let mut groups: Vec<(K, Vec<String>)> = Vec::new();
    for subject in &finding.subjects {
        let key = belongs(subject);
        match groups.iter_mut().find(|(known, _)| *known == key) {
            Some((_, subjects)) => subjects.push(subject.clone()),
            None => groups.push((key, vec![subject.clone()])),
        }
    }
    if groups.len() == 1 {
        let only = groups.into_iter().next();
        return only.map(|(key, _)| (key, finding)).into_iter().collect();
    }
    groups
        .into_iter()
        .map(|(key, subjects)| (key, of_some(&finding, subjects)))
        .collect()
}

/// The same finding, of some of its subjects.
pub(super) fn of_some(finding: &Finding, subjects: Vec<String>) -> Finding {
    let what = finding
        .message
        .strip_prefix(&joined(&finding.subjects))
        .map(|what| format!("{}{what}", joined(&subjects)));
    let mut measured = finding.measured.clone();
    measured.retain(|subject, _| subjects.contains(subject));
    Finding {
        measured,
        message: what.unwrap_or_else(|| finding.message.clone()),
        subjects,
        ..finding.clone()
    }
}

#[cfg(test)]
#[path = "accept_tests.rs"]
pub(super) mod tests;
