//! An expectation that does not hold.

use boundwalk_analysis::intent::{Breach, IntentStatus, breach_text};
use boundwalk_analysis::rule_span;
use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_model::Site;

use super::measured::of_breaches;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "expectation-broken",
    severity: Severity::Error,
    summary: "an expectation of the site that does not hold",
    why: "Somebody wrote down what must be true whatever the rules look like. It is not true.",
    fine_when: "The expectation no longer says what is wanted: then change it, and say in its reason why.",
    remedy: "Change the rule or setting that is named; `boundwalk path` follows the packet that is shown.",
    references: &[
        "NIST SP 800-53 Rev. 5, AC-4: enforce approved authorizations for information flow",
        "NIST SP 800-53 Rev. 5, CA-9: authorize and review internal connections",
    ],
    fires: include_str!("examples/expectation-broken.fires.toml"),
    quiet: include_str!("examples/expectation-broken.quiet.toml"),
};

/// Breaches that the message of a finding tells; the others are counted.
const TOLD: usize = 3;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for judged in view.expectations() {
        let IntentStatus::Broken(breaches) = &judged.status else {
            continue;
        };
        let line = judged.expectation;
        let mut draft = found(
            &CHECK,
            line.name.span,
            &line.name.value,
            told(view, breaches),
        )
        .measured(of_breaches(view, breaches));
        for place in places(view.site, breaches) {
            draft = draft.note(place, "decides");
        }
        if let Some(requirement) = &line.requirement {
            draft = draft.help(format!("it answers to {requirement}"));
        }
        report.add(draft);
    }
}

/// The first breaches in words, and how many more.
pub(super) fn told(view: &CheckContext<'_>, breaches: &[Breach]) -> String {
    let mut text = breaches
        .iter()
        .take(TOLD)
        .map(|breach| breach_text(view.network, view.namings(), breach))
        .collect::<Vec<_>>()
        .join("; ");
    if breaches.len() > TOLD {
        text.push_str(&format!("; and {} more", breaches.len() - TOLD));
    }
    text
}

/// Places of the rules that decide, each once.
pub(super) fn places(site: &Site, breaches: &[Breach]) -> Vec<Span> {
    let mut places: Vec<Span> = breaches
        .iter()
        .take(TOLD)
        .flat_map(|breach| &breach.deciders)
        .filter_map(|&(router, rule)| rule_span(site, router, rule))
        .collect();
    places.sort_by_key(|span| (span.file, span.start));
    places.dedup();
    places
}
