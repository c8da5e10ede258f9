//! Findings that were there before: what is new since, what is known, what is gone.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_diagnostic::{Finding, Magnitude};
use boundwalk_model::Accepted;

use super::accept::{Judged, parted};
use super::acceptance::OWN;
use super::fingerprint::{Fingerprint, fingerprints};

/// One thing that a check found about one subject at an earlier time.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct KnownFinding {
    /// Name of the check then.
    pub check: String,
    /// Whom it spoke of; for people.
    pub subject: String,
    /// What it is known by.
    pub fingerprint: Fingerprint,
    /// How much it was about; `None`: not measured, or by a program that did not measure yet.
    pub measured: Option<Magnitude>,
}

/// What was found at an earlier time. Each subject of a finding stands by itself, so that it does not matter
/// which ports one line of the file happens to describe.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Baseline {
    /// By check, subject and fingerprint.
    pub known: Vec<KnownFinding>,
}

/// Findings, by what is to be done about them now.
#[derive(Debug)]
#[non_exhaustive]
pub struct JudgedFindings<'s> {
    /// Nobody accepted these, and the baseline, if there is one, does not hold them.
    pub open: Vec<Finding>,
    /// The baseline holds these.
    pub known: Vec<Finding>,
    /// Somebody accepted these, by an entry of the site.
    pub accepted: Vec<(Finding, &'s Accepted)>,
    /// What the baseline holds and nobody finds any more; `None`: there is no baseline.
    pub gone: Option<Vec<KnownFinding>>,
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

/// What a baseline knows of a finding about one subject.
#[derive(Clone, PartialEq, Eq, Debug)]
enum State {
    New,
    KnownFinding,
    /// It is about this as well now.
    Worse(Vec<String>),
}

impl State {
    /// Of a known one.
    fn since(before: Option<&Magnitude>, now: Option<&Magnitude>) -> Self {
        match more(before, now) {
            more if more.is_empty() => Self::KnownFinding,
            more => Self::Worse(more),
        }
    }
}

/// What came to a known finding. What was not measured then, or is not now, is not compared.
pub(super) fn more(before: Option<&Magnitude>, now: Option<&Magnitude>) -> Vec<String> {
    before
        .zip(now)
        .map_or_else(Vec::new, |(before, now)| now.beyond(before))
}

/// A known finding about which something came to what it was about.
pub(super) fn worse(mut finding: Finding, more: &[String]) -> Finding {
    let what = format!("; more than before: {}", first_few(more));
    finding.message.push_str(&what);
    finding
}

/// Some things, the first few by name.
fn first_few(more: &[String]) -> String {
    const MOST: usize = 4;
    let shown = more
        .iter()
        .take(MOST)
        .map(String::as_str)
        .collect::<Vec<_>>()
        .join(", ");
    match more.len().saturating_sub(MOST) {
        0 => shown,
        left => format!("{shown} and {left} more"),
    }
}

impl Baseline {
    /// Everything that some findings say.
    pub fn of(findings: &[Finding]) -> Self {
        let mut marks = Marks::default();
        let mut known = Vec::new();
        for finding in findings {
            for subject in &finding.subjects {
                known.push(KnownFinding {
                    check: finding.check.name.to_owned(),
                    subject: subject.clone(),
                    fingerprint: marks.next(finding, subject),
                    measured: finding.measured.get(subject).cloned(),
                });
            }
        }
        known.sort();
        Self { known }
    }

    /// Without what is said of acceptances: that one has ended is never taken for granted from one day to the next.
    #[must_use]
    pub fn without_acceptances(mut self) -> Self {
        self.known
            .retain(|known| !OWN.contains(&known.check.as_str()));
        self
    }
}

impl<'s> JudgedFindings<'s> {
    /// Holds findings against a baseline. A finding of which only some subjects are known is parted: it is new for
    /// the others, and for those of which it says more than it did, with what came to it. What is accepted is neither
    /// new nor known, and not gone. Cost: one look-up for each subject.
    #[must_use]
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
        let before: FxHashMap<&Fingerprint, Option<&Magnitude>> = baseline
            .known
            .iter()
            .map(|known| (&known.fingerprint, known.measured.as_ref()))
            .collect();
        let mut marks = Marks::default();
        let mut now: FxHashSet<Fingerprint> = FxHashSet::default();
        let (mut new, mut old) = (Vec::new(), Vec::new());
        for finding in open {
            let mut states: FxHashMap<String, State> = FxHashMap::default();
            for subject in &finding.subjects {
                let mark = marks.next(&finding, subject);
                let known = before.get(&mark);
                let state = known.map_or(State::New, |measured| {
                    State::since(*measured, finding.measured.get(subject))
                });
                states.insert(subject.clone(), state);
                now.insert(mark);
            }
            for (state, part) in parted(finding, |subject| states.get(subject).cloned()) {
                match state {
                    Some(State::KnownFinding) => old.push(part),
                    Some(State::Worse(more)) => new.push(worse(part, &more)),
                    Some(State::New) | None => new.push(part),
                }
            }
        }
        for (finding, _) in &accepted {
            for subject in &finding.subjects {
                now.insert(marks.next(finding, subject));
            }
        }
        let gone = baseline
            .known
            .iter()
            .filter(|known| !now.contains(&known.fingerprint));
        Self {
            open: new,
            known: old,
            accepted,
            gone: Some(gone.cloned().collect()),
        }
    }

    /// What each finding is known by: of the open ones, then the known ones, then the accepted ones.
    #[must_use]
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
