//! Findings that were there before: what is new since, what is known, what is gone.

use rustc_hash::{FxHashMap, FxHashSet};

use crate::diagnostic::Finding;
use crate::model::Accepted;

use super::accept::{Judged, parted};
use super::fingerprint::{Fingerprint, fingerprints};

/// One thing that a check found about one subject at an earlier time.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Known {
    /// Name of the check then.
    pub check: String,
    /// Whom it spoke of; for people.
    pub subject: String,
    /// What it is known by.
    pub fingerprint: Fingerprint,
}

/// What was found at an earlier time. Each subject of a finding stands by itself, so that it does not matter
/// which ports one line of the file happens to describe.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Baseline {
    /// By check, subject and fingerprint.
    pub known: Vec<Known>,
}

/// Findings, by what is to be done about them now.
#[derive(Debug)]
pub struct Standing<'s> {
    /// Nobody accepted these, and the baseline, if there is one, does not hold them.
    pub open: Vec<Finding>,
    /// The baseline holds these.
    pub known: Vec<Finding>,
    /// Somebody accepted these, by an entry of the site.
    pub accepted: Vec<(Finding, &'s Accepted)>,
    /// What the baseline holds and nobody finds any more; `None`: there is no baseline.
    pub gone: Option<Vec<Known>>,
}

/// Counts how often a check spoke of a subject, and gives each time its mark.
#[derive(Default)]
struct Marks(FxHashMap<(&'static str, String), usize>);

impl Marks {
    fn next(&mut self, finding: &Finding, subject: &str) -> Fingerprint {
        let key = (finding.check.name, subject.to_owned());
        let count = self.0.entry(key).or_default();
        let mark = Fingerprint::new(finding.check.name, &[subject], *count);
        *count += 1;
        mark
    }
}

impl Baseline {
    /// Everything that some findings say.
    pub fn of(findings: &[Finding]) -> Self {
        let mut marks = Marks::default();
        let mut known = Vec::new();
        for finding in findings {
            for subject in &finding.subjects {
                known.push(Known {
                    check: finding.check.name.to_owned(),
                    subject: subject.clone(),
                    fingerprint: marks.next(finding, subject),
                });
            }
        }
        known.sort();
        Self { known }
    }
}

impl<'s> Standing<'s> {
    /// Holds findings against a baseline. A finding of which only some subjects are known is parted: it is new for
    /// the others. What is accepted is neither new nor known, and not gone. Cost: one look-up for each subject.
    pub fn new(judged: Judged<'s>, baseline: Option<&Baseline>) -> Self {
        let Judged { open, accepted } = judged;
        let Some(baseline) = baseline else {
            return Self {
                open,
                known: Vec::new(),
                accepted,
                gone: None,
            };
        };
        let before = baseline.known.iter().map(|known| &known.fingerprint);
        let before: FxHashSet<&Fingerprint> = before.collect();
        let mut marks = Marks::default();
        let mut now: FxHashSet<Fingerprint> = FxHashSet::default();
        let (mut new, mut old) = (Vec::new(), Vec::new());
        for finding in open {
            let mut known: FxHashSet<String> = FxHashSet::default();
            for subject in &finding.subjects {
                let mark = marks.next(&finding, subject);
                if before.contains(&mark) {
                    known.insert(subject.clone());
                }
                now.insert(mark);
            }
            for (is_known, part) in parted(finding, |subject| known.contains(subject)) {
                let list = if is_known { &mut old } else { &mut new };
                list.push(part);
            }
        }
        for (finding, _) in &accepted {
            for subject in &finding.subjects {
                now.insert(marks.next(finding, subject));
            }
        }
        let gone = baseline.known.iter();
        let gone = gone.filter(|known| !now.contains(&known.fingerprint));
        Self {
            open: new,
            known: old,
            accepted,
            gone: Some(gone.cloned().collect()),
        }
    }

    /// What each finding is known by: of the open ones, then the known ones, then the accepted ones.
    pub fn fingerprints(&self) -> Vec<Fingerprint> {
        let (open, known) = (&self.open, &self.known);
        let accepted = self.accepted.iter().map(|(finding, _)| finding);
        // Of findings that agree in all but their number the known ones have the lower numbers.
        let mut marks = fingerprints(known.iter().chain(open).chain(accepted));
        marks[..known.len() + open.len()].rotate_left(known.len());
        marks
    }
}

#[cfg(test)]
#[path = "baseline_tests.rs"]
mod tests;
