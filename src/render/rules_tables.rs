//! The rules of gateways as a page and as CSV (RFC 4180), a line a rule.

use boundwalk_analysis::rules::{GatewayReview, RuleStatus};

use super::csv::harmless;
use super::document::{Document, Holds, Rank, Table};
use super::rules::{COLUMNS, RulesShown, limit_notes, numbers, state};

/// A line for each rule: what it is, who hides it, a packet that shows it, its findings.
pub fn rules_csv(shown: &RulesShown<'_>) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // Writing to memory can't fail.
    let _ = writer.write_record([
        "gateway",
        "number",
        "rule",
        "action",
        "state",
        "covered by",
        "packet",
        "findings",
        "place",
    ]);
    for gateway_review in shown.gateway_reviews {
        for (number, status) in gateway_review.review.rules.iter().enumerate() {
            let record = record(shown, gateway_review, number, status);
            let _ = writer.write_record(record.iter().map(|field| harmless(field)));
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

fn record(
    shown: &RulesShown<'_>,
    gateway_review: &GatewayReview<'_>,
    number: usize,
    status: &RuleStatus,
) -> [String; 9] {
    let rule = &gateway_review.rules[number];
    let names = |rules: &[usize]| {
        rules
            .iter()
            .map(|&other| gateway_review.rules[other].name.value.as_str())
            .collect::<Vec<_>>()
            .join("; ")
    };
    let (covered, packet) = match status {
        RuleStatus::Dead(dead) => (
            names(&dead.by),
            dead.against.map(|against| against.packet.packet),
        ),
        RuleStatus::Decides { witness, .. } => (String::new(), Some(witness.packet)),
        _ => (String::new(), None),
    };
    let findings = shown
        .of_rule(gateway_review, number)
        .map(|one| one.check.name);
    [
        gateway_review.router.name.value.clone(),
        (number + 1).to_string(),
        rule.name.value.clone(),
        rule.action.value.word().to_owned(),
        state(status).to_owned(),
        covered,
        packet.map_or_else(String::new, |packet| packet.to_string()),
        findings.collect::<Vec<_>>().join("; "),
        shown.sources.place(rule.name.span),
    ]
}

/// The overview as a table, and the findings: a page.
pub fn rules_page<'a>(shown: &RulesShown<'a>) -> Document<'a> {
    let mut out = Document::new("Rules", &shown.site.name);
    let mut columns = vec![("gateway", Holds::Texts)];
    columns.extend(COLUMNS.map(|(title, _)| (title, Holds::Numbers)));
    let row = |gateway_review: &GatewayReview<'_>| {
        let name = gateway_review.router.name.value.clone();
        let cells = numbers(shown, gateway_review).map(|number| number.to_string());
        [name].into_iter().chain(cells).collect()
    };
    out.table(Table::new(
        &columns,
        shown.gateway_reviews.iter().map(row).collect(),
    ));
    for (column, meaning) in COLUMNS {
        out.labelled(0, column, meaning);
    }
    for note in shown.gateway_reviews.iter().flat_map(limit_notes) {
        out.plain(0, note);
    }
    if !shown.findings.is_empty() {
        out.heading(Rank::Answer, "Findings");
        out.findings(shown.sources, shown.findings, true);
    }
    out.notes(shown.notes);
    out
}
