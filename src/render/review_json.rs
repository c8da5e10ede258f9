//! A review as JSON, for programs.

use serde::Serialize;

use boundwalk_analysis::ServiceLabels;
use boundwalk_checks::{Fingerprint, KnownFinding};
use boundwalk_diagnostic::{Finding, Sources};
use boundwalk_model::{Accepted, Site};

use super::json::{JsonFinding, JsonPlace, JsonProblem, json_finding, json_place, json_problem};
use super::json_text::to_text;
use super::matrix_json::{JsonMatrix, permitting};
use super::reviewed::ReviewShown;
use super::shape::Sheet;

/// A finding of a review, with what it is known by.
#[derive(Serialize)]
struct ReviewedFinding<'a> {
    #[serde(flatten)]
    finding: JsonFinding<'a>,
    fingerprint: String,
    /// `open`; with a baseline `new` or `known`.
    state: &'static str,
}

#[derive(Serialize)]
struct JsonAccepted<'a> {
    #[serde(flatten)]
    finding: JsonFinding<'a>,
    fingerprint: String,
    reason: &'a str,
    owner: &'a str,
    until: String,
    entry: Option<JsonPlace>,
}

#[derive(Serialize)]
struct JsonGone<'a> {
    check: &'a str,
    subject: &'a str,
    fingerprint: String,
}

#[derive(Serialize)]
struct JsonReview<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    summary: &'a str,
    problems: Vec<JsonProblem<'a>>,
    findings: Vec<ReviewedFinding<'a>>,
    accepted: Vec<JsonAccepted<'a>>,
    gone: Option<Vec<JsonGone<'a>>>,
    matrix: JsonMatrix<'a>,
}

/// A review as a JSON document: problems, findings, the matrix by zone, a summary. Findings that the baseline
/// holds are among the findings, with their state; accepted ones stand apart.
pub fn review_json(
    site: &Site,
    shown: ReviewShown<'_>,
    sheet: &Sheet,
    namings: &[ServiceLabels<'_>],
) -> String {
    let (sources, reviewed) = (shown.sources, shown.reviewed);
    let rules = permitting(sheet);
    let matrix = JsonMatrix::new((site, sources), sheet, &rules, namings, None);
    let new = if reviewed.gone.is_some() {
        "new"
    } else {
        "open"
    };
    let open = reviewed.open.iter().map(|finding| (finding, new));
    let known = reviewed.known.iter().map(|finding| (finding, "known"));
    let listed: Vec<(&Finding, &'static str)> = open.chain(known).collect();
    let mut marks = reviewed.fingerprints().into_iter();
    let findings: Vec<ReviewedFinding<'_>> = listed
        .iter()
        .zip(marks.by_ref())
        .map(|(&(finding, state), mark)| ReviewedFinding {
            finding: json_finding(sources, finding),
            fingerprint: mark.to_string(),
            state,
        })
        .collect();
    let accepted = reviewed.accepted.iter().zip(marks);
    let gone = reviewed.gone.as_ref();
    to_text(&JsonReview {
        document: "boundwalk-review",
        version: 2,
        site: &sheet.site,
        summary: shown.summary,
        problems: shown
            .problems
            .iter()
            .map(|problem| json_problem(sources, problem))
            .collect(),
        findings,
        accepted: accepted
            .map(|((finding, entry), mark)| json_accepted(sources, finding, entry, &mark))
            .collect(),
        gone: gone.map(|gone| gone.iter().map(json_gone).collect()),
        matrix,
    })
}

fn json_accepted<'a>(
    sources: &Sources,
    finding: &'a Finding,
    entry: &'a Accepted,
    mark: &Fingerprint,
) -> JsonAccepted<'a> {
    JsonAccepted {
        finding: json_finding(sources, finding),
        fingerprint: mark.to_string(),
        reason: &entry.reason,
        owner: &entry.owner,
        until: entry.until.value.to_string(),
        entry: json_place(sources, entry.place),
    }
}

fn json_gone(known: &KnownFinding) -> JsonGone<'_> {
    JsonGone {
        check: &known.check,
        subject: &known.subject,
        fingerprint: known.fingerprint.to_string(),
    }
}
