//! A review as SARIF 2.1.0 (OASIS Standard, Static Analysis Results Interchange Format). Section numbers are
//! those of the standard.

use std::path::Path;

use serde_json::{Value, json};

use boundwalk_analysis::CAUTION;
use boundwalk_checks::{CHECKS, Fingerprint, JudgedFindings, KnownFinding};
use boundwalk_diagnostic::{Check, Finding, Kind, Note, Problem, Severity, Sources, Span};

use super::json_text::to_text;
use super::reviewed::decision;
use super::sarif_text::{artifact_uri, message_text};

/// What a base is called that artifact addresses are relative to: the folder of the run. Its own address is
/// left out, so that no path of a machine gets into a report (3.14.14).
const BASE: &str = "%SRCROOT%";

/// What a SARIF document is made of.
#[derive(Clone, Copy)]
pub struct SarifShown<'a> {
    /// Texts of the site.
    pub sources: &'a Sources,
    /// Problems of the file.
    pub problems: &'a [Problem],
    /// Findings; `None`: the site did not load.
    pub reviewed: Option<&'a JudgedFindings<'a>>,
    /// Exit code of the program.
    pub exit_code: u8,
    /// The folder of the run: absolute paths are shown relative to it.
    pub here: &'a Path,
}

/// A review as a SARIF document. It holds no time and no path of the machine: the same input gives the same text.
pub fn review_sarif(shown: &SarifShown<'_>) -> String {
    let kinds = kinds(shown.problems);
    let rules: Vec<Value> = CHECKS
        .iter()
        .map(|known| check_rule(known.check))
        .chain(kinds.iter().map(|kind| kind_rule(kind)))
        .collect();
    let meaning = match shown.exit_code {
        0 => "nothing found that counts",
        1 => "findings",
        _ => "the site did not load",
    };
    to_text(&json!({
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [{
            "tool": {"driver": {
                "name": "boundwalk",
                "version": env!("CARGO_PKG_VERSION"),
                "semanticVersion": env!("CARGO_PKG_VERSION"),
                "shortDescription": text("Who can reach what on a segmented network"),
                "rules": rules,
            }},
            "invocations": [{
                "executionSuccessful": shown.reviewed.is_some(),
                "exitCode": shown.exit_code,
                "exitCodeDescription": meaning,
                "toolExecutionNotifications": [{"level": "note", "message": text(CAUTION)}],
            }],
            "columnKind": "unicodeCodePoints",
            "originalUriBaseIds": {
                BASE: {"description": text("The folder that the program was run in.")},
            },
            "results": results(shown, &kinds),
        }],
    }))
}

/// A `message` object, or one of its kin.
fn text(text: &str) -> Value {
    json!({"text": message_text(text)})
}

/// The kinds of some problems, by name.
fn kinds(problems: &[Problem]) -> Vec<&'static Kind> {
    let mut kinds: Vec<&'static Kind> = problems.iter().map(|problem| problem.kind).collect();
    kinds.sort_unstable_by_key(|kind| kind.name);
    kinds.dedup_by_key(|kind| kind.name);
    kinds
}

fn check_rule(check: &Check) -> Value {
    let sources = check.references.join("; ");
    let plain = format!(
        "What to do: {}\nWhen it is fine: {}\nSources: {sources}",
        check.remedy, check.fine_when
    );
    let sources: Vec<String> = check
        .references
        .iter()
        .map(|one| format!("- {one}"))
        .collect();
    let markdown = format!(
        "**What to do:** {}\n\n**When it is fine:** {}\n\n**Sources**\n\n{}",
        check.remedy,
        check.fine_when,
        sources.join("\n")
    );
    json!({
        "id": check.name,
        "shortDescription": text(check.summary),
        "fullDescription": text(check.why),
        "help": {"text": message_text(&plain), "markdown": message_text(&markdown)},
        "defaultConfiguration": {"level": check.severity.word()},
    })
}

fn kind_rule(kind: &Kind) -> Value {
    json!({
        "id": kind.name,
        "shortDescription": text(kind.summary),
        "help": text("Found while the site is loaded: mend the file."),
        "defaultConfiguration": {"level": kind.severity.word()},
    })
}

/// Problems, then findings: new ones, known ones, accepted ones, gone ones.
fn results(shown: &SarifShown<'_>, kinds: &[&'static Kind]) -> Vec<Value> {
    let mut results: Vec<Value> = shown
        .problems
        .iter()
        .map(|problem| problem_result(shown, kinds, problem))
        .collect();
    let Some(reviewed) = shown.reviewed else {
        return results;
    };
    let states = match reviewed.gone {
        Some(_) => [Some("new"), Some("unchanged"), None],
        None => [None, None, None],
    };
    let open = reviewed.open.iter().map(|one| (one, states[0], None));
    let known = reviewed.known.iter().map(|one| (one, states[1], None));
    let accepted = reviewed
        .accepted
        .iter()
        .map(|(one, entry)| (one, states[2], Some(decision(entry))));
    for ((finding, state, accepted), mark) in open
        .chain(known)
        .chain(accepted)
        .zip(reviewed.fingerprints())
    {
        let mut result = finding_result(shown, finding, &mark);
        if let Some(state) = state {
            result["baselineState"] = json!(state);
        }
        // Either every result has the list or none has it (3.27.23).
        result["suppressions"] = match accepted {
            Some(why) => json!([{
                "kind": "external",
                "status": "accepted",
                "justification": message_text(&why),
            }]),
            None => json!([]),
        };
        results.push(result);
    }
    let gone = reviewed.gone.iter().flatten();
    results.extend(gone.map(gone_result));
    results
}

/// What is said of a problem or a finding.
struct Said<'a> {
    rule: &'static str,
    index: usize,
    severity: Severity,
    message: &'a str,
    help: Option<&'a str>,
    span: Option<Span>,
    subjects: &'a [String],
    notes: &'a [Note],
}

fn problem_result(shown: &SarifShown<'_>, kinds: &[&'static Kind], problem: &Problem) -> Value {
    let among = kinds.iter().position(|kind| kind.name == problem.kind.name);
    let mut result = said(
        shown,
        &Said {
            rule: problem.kind.name,
            index: CHECKS.len() + among.unwrap_or_default(),
            severity: problem.severity(),
            message: &problem.message,
            help: problem.help.as_deref(),
            span: problem.span,
            subjects: &[],
            notes: &problem.notes,
        },
    );
    result["suppressions"] = json!([]);
    result
}

fn finding_result(shown: &SarifShown<'_>, finding: &Finding, mark: &Fingerprint) -> Value {
    let mut result = said(
        shown,
        &Said {
            rule: finding.check.name,
            index: index(finding.check.name).unwrap_or_default(),
            severity: finding.severity(),
            message: &finding.message,
            help: finding.help.as_deref(),
            span: finding.span,
            subjects: &finding.subjects,
            notes: &finding.notes,
        },
    );
    result["partialFingerprints"] = json!({"checkAndSubjects/v1": mark.to_string()});
    result
}

/// Number of a check among the rules of the document.
fn index(check: &str) -> Option<usize> {
    CHECKS.iter().position(|known| known.check.name == check)
}

fn said(shown: &SarifShown<'_>, said: &Said<'_>) -> Value {
    let mut message = format!("{}.", said.message);
    if let Some(help) = said.help {
        message.push_str(&format!(" What to do: {help}."));
    }
    let mut place = said.span.map_or(json!({}), |span| location(shown, span));
    if !said.subjects.is_empty() {
        let subjects: Vec<Value> = said
            .subjects
            .iter()
            .map(|subject| json!({"fullyQualifiedName": subject}))
            .collect();
        place["logicalLocations"] = json!(subjects);
    }
    let mut result = json!({
        "ruleId": said.rule,
        "ruleIndex": said.index,
        "level": said.severity.word(),
        "message": text(&message),
        "locations": [place],
    });
    // Members of this list have to differ (3.27.22); their numbers see to that.
    let notes = said.notes.iter().enumerate().map(|(number, note)| {
        let mut place = location(shown, note.span);
        place["id"] = json!(number + 1);
        place["message"] = text(&note.text);
        place
    });
    let notes: Vec<Value> = notes.collect();
    if !notes.is_empty() {
        result["relatedLocations"] = json!(notes);
    }
    result
}

/// A `location` object: file, first and last line and column; columns count characters, the last one is behind the end.
fn location(shown: &SarifShown<'_>, span: Span) -> Value {
    let Some(source) = shown.sources.get(span.file) else {
        return json!({});
    };
    let (start, end) = (source.position(span.start), source.position(span.end));
    json!({"physicalLocation": {
        "artifactLocation": {"uri": artifact_uri(source.name(), shown.here), "uriBaseId": BASE},
        "region": {
            "startLine": start.line,
            "startColumn": start.column,
            "endLine": end.line,
            "endColumn": end.column,
        },
    }})
}

/// What the baseline holds and is found no more. The check may be one that this version does not have.
fn gone_result(known: &KnownFinding) -> Value {
    let message = format!("{}: found no more.", known.subject);
    let mut result = json!({
        "ruleId": known.check,
        "level": "none",
        "kind": "pass",
        "message": text(&message),
        "locations": [{"logicalLocations": [{"fullyQualifiedName": known.subject}]}],
        "partialFingerprints": {"checkAndSubject/v1": known.fingerprint.to_string()},
        "baselineState": "absent",
        "suppressions": [],
    });
    if let Some(index) = index(&known.check) {
        result["ruleIndex"] = json!(index);
    }
    result
}
