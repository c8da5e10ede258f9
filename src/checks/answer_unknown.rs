//! Questions that a limit left open.

use boundwalk_analysis::intent::IntentStatus;
use boundwalk_analysis::rules::{RuleStatus, Without};
use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_forwarding::Limit;
use boundwalk_model::Family;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "answer-unknown",
    severity: Severity::Warning,
    summary: "questions about the site that were given up at a limit",
    why: "What was not looked at is not known to be well: a pair may pass more than is shown, and a check that says nothing \
        may have found nothing for want of looking.",
    fine_when: "The effort was lowered on purpose, for a quick look.",
    remedy: "Raise `--effort`. Where that does not help, the site has an odd shape: very many devices that forward for each \
        other, or rules whose ranges cross in every field.",
    references: &[
        "common practice, no source: what a test did not cover is reported with its result",
    ],
    fires: include_str!("examples/answer-unknown.fires.toml"),
    quiet: include_str!("examples/answer-unknown.quiet.toml"),
};

const HELP: &str = "ask again with more `--effort`";

/// Runs behind the checks that ask.
pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    pairs(view, report);
    lines(view, report);
    rules(view, report);
    for (check, limit) in view.limits() {
        let what = format!("did not look at everything: {limit}");
        report.add(found(&CHECK, place(view), check, what).help(HELP));
    }
}

/// Pairs of the matrix that are known in part.
fn pairs(view: &CheckContext<'_>, report: &mut FindingReport) {
    for family in Family::ALL {
        let cells = view.matrix(family).cells.iter().flatten();
        let limits: Vec<Limit> = cells.filter_map(|cell| cell.coverage.limit()).collect();
        if let Some(limit) = limits.first() {
            let pairs = some(limits.len(), "pair");
            let what = format!("a limit was met for {pairs}, between which more may pass: {limit}");
            let subject = format!("matrix over {}", family.word());
            report.add(found(&CHECK, place(view), subject, what).help(HELP));
        }
    }
}

/// Expectations and needs.
fn lines(view: &CheckContext<'_>, report: &mut FindingReport) {
    let expectations = view.expectations().iter();
    let expectations = expectations.map(|judged| (&judged.expectation.name, &judged.status));
    let needs = view.needs().iter();
    let needs = needs.map(|judged| (&judged.need.name, &judged.status));
    for (name, status) in expectations.chain(needs) {
        if let IntentStatus::Unknown(limit) = status {
            let what = format!("whether it holds is unknown: {limit}");
            report.add(found(&CHECK, name.span, &name.value, what).help(HELP));
        }
    }
}

/// Rules of which it is not known what they do.
fn rules(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let open = gateway.review.rules.iter().filter(|status| match status {
            RuleStatus::Unknown => true,
            RuleStatus::Decides { without, .. } => *without == Without::Unknown,
            RuleStatus::Off | RuleStatus::Irrelevant | RuleStatus::Dead(_) => false,
        });
        let open = open.count();
        if open > 0 {
            let rules = some(open, "rule");
            let what = format!("a limit was met before it was known whether {rules} can go");
            let name = &gateway.router.name.value;
            let span = gateway
                .router
                .filter()
                .map_or(place(view), |filter| filter.default.span);
            report.add(found(&CHECK, span, name, what).help(HELP));
        }
    }
}

/// Where the rules end of the first gateway, for it is rules that meet limits; else the first segment.
fn place(view: &CheckContext<'_>) -> Span {
    let mut filters = view
        .site
        .routers
        .iter()
        .filter_map(|router| router.filter());
    match (filters.next(), view.site.segments.first()) {
        (Some(filter), _) => filter.default.span,
        (None, Some(segment)) => segment.place(),
        (None, None) => Span::default(),
    }
}

/// As `1 rule`, `2 rules`.
fn some(count: usize, what: &str) -> String {
    let ending = if count == 1 { "" } else { "s" };
    format!("{count} {what}{ending}")
}
