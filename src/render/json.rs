//! Answers as JSON, for programs. Each document names its kind and version; a version only ever gains keys.

use serde::Serialize;

use boundwalk_diagnostic::{Finding, Note, Problem, Sources, Span};
use boundwalk_forwarding::Packet;
use boundwalk_model::{RouterId, Site};

use super::json_text::to_text;

/// A place in an input.
#[derive(Serialize)]
pub(super) struct JsonPlace {
    file: String,
    line: u32,
    column: u32,
}

#[derive(Serialize)]
pub(super) struct JsonPacket {
    source: String,
    destination: String,
    protocol: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    source_port: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    destination_port: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    message_type: Option<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    message_code: Option<u16>,
}

#[derive(Serialize)]
pub(super) struct JsonRule {
    gateway: String,
    /// Number in the gateway's list, from 1; null: the default.
    number: Option<usize>,
    name: Option<String>,
    place: Option<JsonPlace>,
}

/// A gateway and the number of a rule in its list; `None`: the default.
pub(super) type RuleOrDefault = (RouterId, Option<usize>);

pub(super) fn json_rule(
    site: &Site,
    sources: &Sources,
    (router, number): RuleOrDefault,
) -> JsonRule {
    let router = site.router(router);
    let rule = router
        .filter()
        .and_then(|filter| Some(&filter.rules[number?]));
    let default = router.filter().map(|filter| filter.default.span);
    JsonRule {
        gateway: router.name.value.clone(),
        number: number.map(|number| number + 1),
        name: rule.map(|rule| rule.name.value.clone()),
        place: rule
            .map(|rule| rule.place)
            .or(default)
            .and_then(|span| json_place(sources, span)),
    }
}

pub(super) fn json_place(sources: &Sources, span: Span) -> Option<JsonPlace> {
    let source = sources.get(span.file)?;
    let position = source.position(span.start);
    Some(JsonPlace {
        file: source.name().to_owned(),
        line: position.line,
        column: position.column,
    })
}

pub(super) fn json_packet(packet: &Packet) -> JsonPacket {
    let (ports, messages) = (packet.protocol.has_ports(), packet.protocol.has_messages());
    JsonPacket {
        source: packet.source.to_string(),
        destination: packet.destination.to_string(),
        protocol: packet.protocol.0,
        source_port: ports.then_some(packet.source_port),
        destination_port: ports.then_some(packet.destination_port),
        message_type: messages.then_some(packet.destination_port >> 8),
        message_code: messages.then_some(packet.destination_port & 0xff),
    }
}

/// A problem.
#[derive(Serialize)]
pub(super) struct JsonProblem<'a> {
    kind: &'static str,
    severity: &'static str,
    message: &'a str,
    place: Option<JsonPlace>,
    help: Option<&'a str>,
    notes: Vec<JsonNote<'a>>,
}

#[derive(Serialize)]
struct JsonNote<'a> {
    text: &'a str,
    place: Option<JsonPlace>,
}

fn json_notes<'a>(sources: &Sources, notes: &'a [Note]) -> Vec<JsonNote<'a>> {
    let one = |note: &'a Note| JsonNote {
        text: &note.text,
        place: json_place(sources, note.span),
    };
    notes.iter().map(one).collect()
}

pub(super) fn json_problem<'a>(sources: &Sources, problem: &'a Problem) -> JsonProblem<'a> {
    JsonProblem {
        kind: problem.kind.name,
        severity: problem.severity().word(),
        message: &problem.message,
        place: problem.span.and_then(|span| json_place(sources, span)),
        help: problem.help.as_deref(),
        notes: json_notes(sources, &problem.notes),
    }
}

/// A finding.
#[derive(Serialize)]
pub(super) struct JsonFinding<'a> {
    check: &'static str,
    severity: &'static str,
    message: &'a str,
    subjects: &'a [String],
    place: Option<JsonPlace>,
    help: Option<&'a str>,
    notes: Vec<JsonNote<'a>>,
}

pub(super) fn json_finding<'a>(sources: &Sources, finding: &'a Finding) -> JsonFinding<'a> {
    JsonFinding {
        check: finding.check.name,
        severity: finding.severity().word(),
        message: &finding.message,
        subjects: &finding.subjects,
        place: finding.span.and_then(|span| json_place(sources, span)),
        help: finding.help.as_deref(),
        notes: json_notes(sources, &finding.notes),
    }
}

#[derive(Serialize)]
struct JsonProblems<'a> {
    document: &'static str,
    version: u32,
    problems: Vec<JsonProblem<'a>>,
}

/// Problems as a JSON document.
pub fn problems_json(sources: &Sources, problems: &[Problem]) -> String {
    to_text(&JsonProblems {
        document: "boundwalk-problems",
        version: 1,
        problems: problems
            .iter()
            .map(|problem| json_problem(sources, problem))
            .collect(),
    })
}
