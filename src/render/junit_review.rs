//! A review as suites of cases: one for each check that counts, one for the file, one for the expectations.

use boundwalk_analysis::intent::{IntentStatus as Holds, JudgedExpectation};
use boundwalk_checks::{CHECKS, JudgedFindings};
use boundwalk_diagnostic::{Check, Finding, Problem, Severity, Sources, Span};

use super::junit::{JunitCase, JunitOutcome, JunitSuite};
use super::reviewed::decision;

/// What loading found, as a suite: it failed where something at or over `least` was found (`None`: nothing counts).
pub fn file_suite(sources: &Sources, problems: &[Problem], least: Option<Severity>) -> JunitSuite {
    let counts = |problem: &&Problem| least.is_some_and(|least| problem.severity() >= least);
    let lines = problems.iter().filter(counts).map(|problem| {
        let (kind, message) = (problem.kind.name, &problem.message);
        let message = format!("{kind}: {message}");
        line(sources, problem.span, &message, problem.help.as_deref())
    });
    let lines: Vec<String> = lines.collect();
    let outcome = match lines.len() {
        0 => JunitOutcome::Held,
        count => failed(count, "problem", &lines),
    };
    suite("site file", vec![case("boundwalk.file", "loads", outcome)])
}

/// A case for each check whose findings count. It failed where something open was found; where all of it was accepted or
/// known before, it is skipped and says so. `least`: least severity that counts; `None`: none does, there is no case.
pub fn check_suite(
    sources: &Sources,
    reviewed: &JudgedFindings<'_>,
    least: Option<Severity>,
) -> JunitSuite {
    let counts = |check: &&Check| least.is_some_and(|least| check.severity >= least);
    let checks = CHECKS.iter().map(|known| known.check).filter(counts);
    let cases = checks.map(|check| {
        let outcome = outcome(sources, reviewed, check);
        case("boundwalk.checks", check.name, outcome)
    });
    suite("checks", cases.collect())
}

fn outcome(sources: &Sources, reviewed: &JudgedFindings<'_>, check: &Check) -> JunitOutcome {
    let own = |finding: &Finding| finding.check.name == check.name;
    let lines: Vec<String> = reviewed
        .open
        .iter()
        .filter(|finding| own(finding))
        .map(|one| line(sources, one.span, &one.message, one.help.as_deref()))
        .collect();
    if !lines.is_empty() {
        return failed(lines.len(), "finding", &lines);
    }
    let known = reviewed.known.iter().filter(|finding| own(finding)).count();
    let mut reasons: Vec<String> = reviewed
        .accepted
        .iter()
        .filter(|(finding, _)| own(finding))
        .map(|(finding, entry)| {
            let subjects = finding.subjects.join(", ");
            format!("{subjects}: accepted: {}", decision(entry))
        })
        .collect();
    if known > 0 {
        reasons.push(format!("{known} known from the baseline"));
    }
    if reasons.is_empty() {
        JunitOutcome::Held
    } else {
        JunitOutcome::Skipped {
            message: reasons.join("; "),
        }
    }
}

/// How each expectation ended: its name, and what is found about it. One that does not hold failed, unless that was
/// accepted, known before or counts for nothing (`least`).
pub fn expectation_outcomes(
    sources: &Sources,
    reviewed: &JudgedFindings<'_>,
    judged: &[JudgedExpectation<'_>],
    least: Option<Severity>,
) -> Vec<(String, JunitOutcome)> {
    let outcome = |judged: &JudgedExpectation<'_>| match judged.status {
        Holds::Held => JunitOutcome::Held,
        Holds::Unknown(limit) => JunitOutcome::Skipped {
            message: format!("unknown: {limit}"),
        },
        Holds::Broken(_) | Holds::Vacuous => {
            unheld(sources, reviewed, &judged.expectation.name.value, least)
        }
    };
    judged
        .iter()
        .map(|one| (one.expectation.name.value.clone(), outcome(one)))
        .collect()
}

fn unheld(
    sources: &Sources,
    reviewed: &JudgedFindings<'_>,
    name: &str,
    least: Option<Severity>,
) -> JunitOutcome {
    let own = |finding: &&Finding| {
        let check = finding.check.name;
        let about = ["expectation-broken", "expectation-vacuous"].contains(&check);
        about && finding.subjects.iter().any(|subject| subject == name)
    };
    let counts = |finding: &&Finding| least.is_some_and(|least| finding.severity() >= least);
    let mut accepted = reviewed.accepted.iter();
    if let Some((_, entry)) = accepted.find(|(finding, _)| own(&finding)) {
        let message = format!("accepted: {}", decision(entry));
        return JunitOutcome::Skipped { message };
    }
    if reviewed.known.iter().any(|finding| own(&finding)) {
        let message = "known from the baseline".to_owned();
        return JunitOutcome::Skipped { message };
    }
    let open: Vec<&Finding> = reviewed.open.iter().filter(own).collect();
    let lines: Vec<String> = open
        .iter()
        .copied()
        .filter(counts)
        .map(|one| line(sources, one.span, &one.message, one.help.as_deref()))
        .collect();
    let first = open
        .first()
        .map_or("does not hold", |one| one.message.as_str());
    if lines.is_empty() {
        JunitOutcome::Skipped {
            message: first.to_owned(),
        }
    } else {
        JunitOutcome::Failed {
            message: first.to_owned(),
            text: lines.join("\n"),
        }
    }
}

fn line(sources: &Sources, span: Option<Span>, message: &str, help: Option<&str>) -> String {
    let place = span.map(|span| format!("{}: ", sources.place(span)));
    let help = help.map(|help| format!("; what to do: {help}"));
    let (place, help) = (place.unwrap_or_default(), help.unwrap_or_default());
    // One line each: what breaks a line would begin another finding.
    format!("{place}{message}{help}").replace(['\n', '\r'], " ")
}

fn failed(count: usize, what: &str, lines: &[String]) -> JunitOutcome {
    let ending = if count == 1 { "" } else { "s" };
    JunitOutcome::Failed {
        message: format!("{count} {what}{ending}"),
        text: lines.join("\n"),
    }
}

fn case(class: &str, name: &str, outcome: JunitOutcome) -> JunitCase {
    JunitCase {
        class: class.to_owned(),
        name: name.to_owned(),
        outcome,
    }
}

fn suite(name: &str, cases: Vec<JunitCase>) -> JunitSuite {
    JunitSuite {
        name: name.to_owned(),
        cases,
    }
}
