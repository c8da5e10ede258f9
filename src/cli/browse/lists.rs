//! The lists that one starts from: findings, ports, isolation, ways round the gateway.

use boundwalk_analysis::{Cabling, IsolationVerdict, Worksheet, origin_name};
use boundwalk_diagnostic::Severity;
use boundwalk_forwarding::layer2::Fabric;
use boundwalk_model::SwitchId;
use boundwalk_render::{escape_control, fit, port_facts, verdict_text};

use super::data::Data;
use super::view::{Look, Target, View, ViewLine};

/// Findings, in the order of a review.
pub(super) fn findings(data: &Data) -> View {
    let mut lines = Vec::new();
    for finding in &data.findings {
        let severity = finding.severity();
        let text = format!(
            "{:<8}{}: {}",
            severity.word(),
            finding.check.name,
            escape_control(&finding.message)
        );
        let mut line = ViewLine::opening(text, Target::Finding(finding.message.clone()));
        line.look = look(severity);
        lines.push(line.at(finding.span.and_then(|span| data.place(span))));
    }
    if lines.is_empty() {
        lines.push(ViewLine::new("No findings."));
    }
    View::new("Findings", lines)
}

pub(super) fn look(severity: Severity) -> Look {
    match severity {
        Severity::Error => Look::Alarm,
        Severity::Warning => Look::Plain,
        Severity::Note => Look::Faint,
    }
}

/// Every port of every switch.
pub(super) fn ports(data: &Data) -> View {
    let site = &data.opened.site;
    let fabric = Fabric::new(site);
    let cabling = Cabling::new(site, &fabric);
    let mut lines = Vec::new();
    for (number, switch) in site.switches.iter().enumerate() {
        let name = &switch.name.value;
        lines.push(ViewLine::looking(escape_control(name), Look::Strong));
        let sheet = Worksheet::new(site, &cabling, SwitchId(number));
        for line in &sheet.lines {
            let facts = port_facts(site, &sheet, line);
            let of = |title: &str| {
                let mut facts = facts.iter();
                let fact = facts.find(|(known, _)| *known == title);
                fact.map_or_else(String::new, |(_, text)| escape_control(text))
            };
            let text = format!(
                "  {} {} {} {}",
                fit(&escape_control(line.name), 8),
                fit(&of("mode"), 10),
                fit(&vlans(&of("PVID"), &of("untagged"), &of("tagged")), 24),
                of("attached"),
            );
            let target = Target::Port(name.clone(), line.name.to_owned());
            lines.push(ViewLine::opening(text, target));
        }
    }
    if lines.is_empty() {
        lines.push(ViewLine::new("This site describes no switch."));
    }
    View::new("Ports", lines)
}

/// VLANs of a port in few words: `10`, `tagged 10, 20`.
fn vlans(pvid: &str, untagged: &str, tagged: &str) -> String {
    match (untagged.is_empty(), tagged.is_empty()) {
        (true, true) => pvid.to_owned(),
        (false, true) => untagged.to_owned(),
        (true, false) => format!("tagged {tagged}"),
        (false, false) => format!("{untagged}, tagged {tagged}"),
    }
}

/// Segments that claim to be isolated.
pub(super) fn claims(data: &Data) -> View {
    let mut lines: Vec<ViewLine> = Vec::new();
    for (segment, verdict) in &data.claims {
        let segment = data.opened.site.segment(*segment);
        let text = format!(
            "{} {}",
            fit(&escape_control(&segment.name.value), 24),
            verdict_text(verdict)
        );
        let mut line = ViewLine::opening(text, Target::Claim(segment.name.value.clone()));
        if !matches!(verdict, IsolationVerdict::ByDesign(_)) {
            line.look = Look::Alarm;
        }
        lines.push(line.at(data.place(segment.name.span)));
    }
    if lines.is_empty() {
        lines.push(ViewLine::new("No segment claims to be isolated."));
    }
    View::new("Isolation", lines)
}

/// Ways round the gateway.
pub(super) fn ways(data: &Data) -> View {
    let site = &data.opened.site;
    let fabric = Fabric::new(site);
    let name = |origin| origin_name(site, &fabric, origin).into_owned();
    let mut lines = Vec::new();
    for way in &data.ways {
        let (from, to) = (name(way.from), name(way.to));
        let pair = format!("{} to {}", escape_control(&from), escape_control(&to));
        let opened = way.opened_by.map(|setting| setting.fact(site));
        let text = match &opened {
            Some(fact) => format!("{}  {}", fit(&pair, 30), escape_control(fact)),
            None => pair,
        };
        let mut line = ViewLine::opening(text, Target::Way(from, to));
        line.look = Look::Alarm;
        let span = way.opened_by.map(|setting| setting.place(site));
        lines.push(line.at(span.and_then(|span| data.place(span))));
    }
    if lines.is_empty() {
        lines.push(ViewLine::new("No path goes round the gateway."));
    }
    View::new("Ways round the gateway", lines)
}
