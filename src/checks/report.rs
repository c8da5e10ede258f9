//! Collects what checks find: one finding for each setting, however many ports it speaks of.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Check, Finding, Magnitude, Note, Problem, Span};
use boundwalk_model::Accepted;

/// One thing found about one subject.
pub(super) struct Draft {
    check: &'static Check,
    subject: String,
    what: String,
    span: Span,
    notes: Vec<Note>,
    help: Option<String>,
    measure: Magnitude,
}

impl Draft {
    /// How much it is about.
    pub(super) fn measured(mut self, measure: Magnitude) -> Self {
        self.measure = measure;
        self
    }

    /// Another place that matters.
    pub(super) fn note(mut self, span: Span, text: impl Into<String>) -> Self {
        self.notes.push(Note {
            span,
            text: text.into(),
        });
        self
    }

    /// What to do about it.
    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

/// Something found: `subject` is a port, an interface, a host or a pair, `what` is the message.
/// The same of several subjects that are described at one place becomes one finding.
pub(super) fn found(
    check: &'static Check,
    span: Span,
    subject: impl Into<String>,
    what: impl Into<String>,
) -> Draft {
    Draft {
        check,
        subject: subject.into(),
        what: what.into(),
        span,
        notes: Vec::new(),
        help: None,
        measure: Magnitude::default(),
    }
}

/// Everything found so far.
#[derive(Default)]
pub(super) struct FindingReport {
    /// With what is said of the subjects; `None`: the message stands as it is.
    findings: Vec<(Finding, Option<String>)>,
    /// Finding by check, place and what is said.
    known: FxHashMap<(&'static str, Span, String), usize>,
    /// Names of the checks that have run or are running.
    begun: Vec<&'static str>,
}

impl FindingReport {
    /// A check begins.
    pub(super) fn begin(&mut self, check: &'static Check) {
        self.begun.push(check.name);
    }

    /// Whether a check of that name has run.
    pub(super) fn looked_for(&self, check: &str) -> bool {
        self.begun.contains(&check)
    }

    /// Whom the findings of a check speak of, so far.
    pub(super) fn subjects(&self, check: &str) -> impl Iterator<Item = &str> {
        self.findings
            .iter()
            .map(|(finding, _)| finding)
            .filter(move |finding| finding.check.name == check)
            .flat_map(|finding| finding.subjects.iter().map(String::as_str))
    }

    /// How many findings an entry speaks of, so far.
    pub(super) fn count(&self, entry: &Accepted) -> usize {
        let spoken_of = self
            .findings
            .iter()
            .map(|(finding, _)| finding)
            .filter(|finding| {
                let mut subjects = finding.subjects.iter();
                subjects.any(|subject| entry.covers(finding.check.name, subject))
            });
        spoken_of.count()
    }

    /// A problem that loading noticed, in its own words.
    pub(super) fn add_remark(&mut self, check: &'static Check, remark: &Problem) {
        let finding = Finding {
            check,
            subjects: vec![remark.subject.clone()],
            message: remark.message.clone(),
            span: remark.span,
            notes: remark.notes.clone(),
            help: remark.help.clone(),
            measured: BTreeMap::new(),
        };
        self.findings.push((finding, None));
    }

    pub(super) fn add(&mut self, draft: Draft) {
        let key = (draft.check.name, draft.span, draft.what.clone());
        if let Some(&known) = self.known.get(&key) {
            let (finding, _) = &mut self.findings[known];
            measure(finding, &draft.subject, draft.measure);
            if !finding.subjects.contains(&draft.subject) {
                finding.subjects.push(draft.subject);
            }
            for note in draft.notes {
                if !finding.notes.contains(&note) {
                    finding.notes.push(note);
                }
            }
            return;
        }
        self.known.insert(key, self.findings.len());
        let mut finding = Finding {
            check: draft.check,
            subjects: vec![draft.subject.clone()],
            message: String::new(),
            span: Some(draft.span),
            notes: draft.notes,
            help: draft.help,
            measured: BTreeMap::new(),
        };
        measure(&mut finding, &draft.subject, draft.measure);
        self.findings.push((finding, Some(draft.what)));
    }

    /// All findings: the gravest first, then by place, then by name.
    pub(super) fn finish(self) -> Vec<Finding> {
        let composed = self.findings.into_iter().map(|(mut finding, what)| {
            if let Some(what) = what {
                finding.message = format!("{} {what}", joined(&finding.subjects));
            }
            finding
        });
        let mut findings: Vec<Finding> = composed.collect();
        findings.sort_by(|one, other| {
            let key = |finding: &Finding| {
                let place = finding.span.map(|span| (span.file, span.start));
                (place, finding.check.name)
            };
            let graver = other.severity().cmp(&one.severity());
            graver.then_with(|| key(one).cmp(&key(other)))
        });
        findings
    }
}

/// Adds what was measured of a subject.
fn measure(finding: &mut Finding, subject: &str, measure: Magnitude) {
    if !measure.is_empty() {
        let known = finding.measured.entry(subject.to_owned()).or_default();
        known.join(measure);
    }
}

/// Names with commas between; of many the first and how many more.
pub(super) fn joined(names: &[String]) -> String {
    const MOST: usize = 6;
    let shown = names.iter().take(MOST).cloned().collect::<Vec<_>>();
    let text = shown.join(", ");
    match names.len().saturating_sub(MOST) {
        0 => format!("{text}:"),
        more => format!("{text} and {more} more:"),
    }
}

#[cfg(test)]
mod tests {
    use boundwalk_diagnostic::{FileId, Severity};

    use super::*;

    static GRAVE: Check = Check {
        name: "grave",
        severity: Severity::Error,
        summary: "",
        why: "",
        fine_when: "",
        remedy: "",
        references: &[],
        fires: "",
        quiet: "",
    };
    static SLIGHT: Check = Check {
        name: "slight",
        severity: Severity::Note,
        ..GRAVE_COPY
    };
    const GRAVE_COPY: Check = Check {
        name: "",
        severity: Severity::Note,
        summary: "",
        why: "",
        fine_when: "",
        remedy: "",
        references: &[],
        fires: "",
        quiet: "",
    };

    fn place(start: u32) -> Span {
        Span::new(FileId(0), start, start + 1)
    }

    #[test]
    fn ports_of_one_key_share_a_finding_and_grave_ones_come_first() {
        let mut report = FindingReport::default();
        report.add(found(&SLIGHT, place(1), "core:1", "is open"));
        report.add(found(&GRAVE, place(9), "core:5", "is wrong"));
        report.add(found(&SLIGHT, place(1), "core:2", "is open"));
        report.add(found(&SLIGHT, place(1), "core:2", "is open"));
        report.add(found(&SLIGHT, place(1), "core:3", "is odd"));
        report.add(found(&GRAVE, place(3), "core:4", "is wrong"));
        let findings = report.finish();
        let messages: Vec<&str> = findings.iter().map(|one| one.message.as_str()).collect();
        assert_eq!(
            messages,
            [
                "core:4: is wrong",
                "core:5: is wrong",
                "core:1, core:2: is open",
                "core:3: is odd",
            ]
        );
        assert_eq!(findings[2].subjects, ["core:1", "core:2"]);
    }

    #[test]
    fn of_many_subjects_the_message_names_some() {
        let names: Vec<String> = (1..=10).map(|port| format!("p{port}")).collect();
        assert_eq!(joined(&names), "p1, p2, p3, p4, p5, p6 and 4 more:");
    }
}
