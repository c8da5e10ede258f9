//! Findings, rules, what nobody needs, expectations and needs.

use std::fmt::Write;

use boundwalk_analysis::rules::{GatewayReview, RuleStatus};
use boundwalk_diagnostic::{Check, Finding, Severity};

use super::super::privilege::{excess_text, needs_text};
use super::super::reviewed::decision;
use super::super::rules::{COLUMNS, limit_notes, numbers, state};
use super::ReportShown;
use super::html::Html;
use super::summary::ranked;

/// Findings that each tell why they matter; of more, each check is told of once.
const MOST_EXPLAINED: usize = 100;

/// Rules of a gateway that are shown at once; more are folded up.
const MOST_RULES: usize = 1_000;

/// All findings, and what was accepted.
pub(super) fn findings(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    html.section("findings", "Findings");
    if shown.reviewed.open.is_empty() && shown.problems.is_empty() {
        html.raw("<p>None.</p>\n");
    }
    problems(html, shown);
    let ranked = ranked(&shown.reviewed.open);
    let few = ranked.len() <= MOST_EXPLAINED;
    for finding in ranked.iter().take(MOST_EXPLAINED) {
        one(html, finding, few);
    }
    if !few {
        html.bulk(&format!("{} more findings", ranked.len() - MOST_EXPLAINED));
        html.raw("<ul>");
        for finding in ranked.iter().skip(MOST_EXPLAINED) {
            brief(html, finding);
        }
        html.raw("</ul>\n");
        html.end_bulk();
        html.raw("<h3>What the checks are about</h3>");
        let mut checks: Vec<&Check> = ranked.iter().map(|one| one.check).collect();
        checks.sort_by_key(|check| check.name);
        checks.dedup_by_key(|check| check.name);
        for check in checks {
            let _ = write!(html.out, "<h4 id=\"c-{0}\">{0}</h4>", check.name);
            explained(html, check);
        }
    }
    if !shown.reviewed.accepted.is_empty() {
        html.raw("<h3>Accepted</h3><ul>");
        for (finding, entry) in &shown.reviewed.accepted {
            html.raw("<li>");
            html.text(&format!("{}: {}", finding.message, decision(entry)));
            html.raw("</li>\n");
        }
        html.raw("</ul>");
    }
}

/// Problems of the file.
fn problems(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    if shown.problems.is_empty() {
        return;
    }
    html.raw("<ul>");
    for problem in shown.problems {
        html.raw("<li>");
        word(html, problem.severity());
        html.text(&problem.message);
        html.raw(" ");
        if let Some(span) = problem.span {
            html.place(span);
        }
        html.raw("</li>\n");
    }
    html.raw("</ul>");
}

fn explained(html: &mut Html<'_>, check: &Check) {
    html.tag("p", &format!("Why it matters: {}", check.why));
    html.tag("p", &format!("When it is fine: {}", check.fine_when));
}

fn word(html: &mut Html<'_>, severity: Severity) {
    let class = if severity >= Severity::Warning {
        "state no"
    } else {
        "state"
    };
    let _ = write!(
        html.out,
        "<span class=\"{class}\">{}</span> ",
        severity.word()
    );
}

fn one(html: &mut Html<'_>, finding: &Finding, explain: bool) {
    html.raw("<details><summary>");
    word(html, finding.severity());
    html.text(&finding.message);
    html.raw(" ");
    if let Some(span) = finding.span {
        html.place(span);
    }
    html.raw("</summary><div>");
    for note in &finding.notes {
        html.raw("<p>");
        html.text(&note.text);
        html.raw(" ");
        html.place(note.span);
        html.raw("</p>");
    }
    if let Some(help) = &finding.help {
        html.raw("<p><strong>Do:</strong> ");
        html.text(help);
        html.raw("</p>");
    }
    let name = finding.check.name;
    if explain {
        explained(html, finding.check);
        html.classed("p", "dim", &format!("Check: {name}"));
    } else {
        let _ = write!(html.out, "<p>Check: <a href=\"#c-{name}\">{name}</a></p>");
    }
    html.raw("</div></details>\n");
}

/// A finding in a line, where there are very many.
fn brief(html: &mut Html<'_>, finding: &Finding) {
    html.raw("<li>");
    word(html, finding.severity());
    html.text(&finding.message);
    html.raw(" ");
    if let Some(span) = finding.span {
        html.place(span);
    }
    for note in &finding.notes {
        html.text(&format!(" {} ", note.text));
        html.place(note.span);
    }
    let help = finding.help.as_deref().unwrap_or_default();
    html.text(&format!(" ({}) {help}", finding.check.name));
    html.raw("</li>\n");
}

/// The rules of each gateway, what each still decides, and its findings.
pub(super) fn rules(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    html.section("rules", "Rules");
    if shown.rules.gateway_reviews.is_empty() {
        html.raw("<p>No gateway of this site filters.</p>\n");
    }
    for gateway_review in shown.rules.gateway_reviews {
        html.tag("h3", &gateway_review.router.name.value);
        let heading: Vec<&str> = COLUMNS.iter().map(|(title, _)| *title).collect();
        let row = numbers(shown.rules, gateway_review)
            .map(|number| number.to_string())
            .to_vec();
        html.table(
            &format!("Counts of {}", gateway_review.router.name.value),
            &heading,
            &[row],
        );
        for note in limit_notes(gateway_review) {
            html.tag("p", &note);
        }
        let many = gateway_review.rules.len() > MOST_RULES;
        if many {
            html.bulk(&format!("{} rules", gateway_review.rules.len()));
        }
        html.raw("<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Rules\"><table class=\"list\"><thead><tr>\
            <th scope=\"col\">no.</th><th scope=\"col\">rule</th><th scope=\"col\">action</th><th scope=\"col\">state</th>\
            <th scope=\"col\">a packet that it decides, or why it decides none</th><th scope=\"col\">findings</th><th \
            scope=\"col\">place</th></tr></thead><tbody>\n");
        for (number, status) in gateway_review.review.rules.iter().enumerate() {
            rule(html, shown, gateway_review, number, status);
        }
        html.raw("</tbody></table></div>\n");
        if many {
            html.end_bulk();
        }
    }
    html.raw("<dl class=\"key\">");
    for (column, text) in COLUMNS {
        html.fact(column, text);
    }
    html.raw("</dl>\n");
}

fn rule(
    html: &mut Html<'_>,
    shown: &ReportShown<'_>,
    gateway_review: &GatewayReview<'_>,
    number: usize,
    status: &RuleStatus,
) {
    let rule = &gateway_review.rules[number];
    let decides = match status {
        RuleStatus::Off => "disabled or expired".to_owned(),
        RuleStatus::Irrelevant => "no packet can match it here".to_owned(),
        RuleStatus::Dead(dead) => {
            let names = dead.by.iter().map(|&other| {
                format!(
                    "{} \"{}\"",
                    other + 1,
                    gateway_review.rules[other].name.value
                )
            });
            format!("covered by {}", names.collect::<Vec<_>>().join(", "))
        }
        RuleStatus::Decides { witness, .. } => witness.packet.to_string(),
        RuleStatus::Unknown => "a limit was met".to_owned(),
    };
    let own: Vec<&str> = shown
        .rules
        .of_rule(gateway_review, number)
        .map(|one| one.check.name)
        .collect();
    let _ = write!(html.out, "<tr><td>{}</td>", number + 1);
    html.tag("td", &rule.name.value);
    html.tag("td", rule.action.value.word());
    html.tag("td", state(status));
    html.classed("td", "mono", &decides);
    html.tag("td", &own.join(", "));
    html.raw("<td>");
    html.place(rule.name.span);
    html.raw("</td></tr>\n");
}

/// What is permitted and nobody needs.
pub(super) fn privilege(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    html.section("privilege", "Least privilege");
    let Some(found) = shown.privilege else {
        html.raw(
            "<p>No need is written down, so nothing can be said to be more than needed.</p>\n",
        );
        return;
    };
    html.raw("<p>What is permitted and no need that is written down uses, the widest first.</p>\n");
    let rows: Vec<Vec<String>> = found
        .ranked()
        .into_iter()
        .flatten()
        .map(|rule| {
            vec![
                found.rule(rule),
                excess_text(&rule.measure.packets),
                needs_text(&rule.measure),
                found.place(rule),
            ]
        })
        .collect();
    let heading = ["rule", "how much more", "what it needs", "place"];
    html.table("Rules that permit more than is needed", &heading, &rows);
    html.raw("<h3>Pairs of zones</h3>");
    let zones = found.zones();
    let rows: Vec<Vec<String>> = zones
        .iter()
        .map(|zone| {
            let pair = format!("{} to {}", zone.from, zone.to);
            vec![pair, excess_text(&zone.packets)]
        })
        .collect();
    html.table("Pairs of zones", &["from, to", "how much more"], &rows);
    let (unmet, _) = found.need_lines();
    if !unmet.is_empty() {
        html.raw("<h3>Needs that are not met</h3>");
        html.list(&unmet);
    }
}

/// What must hold, and what is needed.
pub(super) fn expectations(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    html.section("expectations", "Expectations and needs");
    let rows = shown.intent.rows();
    if rows.is_empty() {
        html.raw("<p>None is written down.</p>\n");
        return;
    }
    html.raw("<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Expectations and needs\"><table \
        class=\"list\"><thead><tr><th scope=\"col\">state</th><th scope=\"col\">name</th><th scope=\"col\">demanded</th><th \
        scope=\"col\">answers to</th><th scope=\"col\">shown by</th><th scope=\"col\">place</th></tr></thead><tbody>\n");
    for row in rows {
        let class = if row.fine { "state" } else { "state no" };
        let sign = if row.fine { "\u{2713}" } else { "\u{2717}" };
        let _ = write!(
            html.out,
            "<tr><td class=\"{class}\">{sign} {}</td>",
            row.word
        );
        html.tag("td", &row.name);
        html.tag("td", &row.demands);
        html.tag("td", &row.requirement);
        html.tag("td", &row.told.join("; "));
        html.raw("<td>");
        html.place(row.place);
        html.raw("</td></tr>\n");
    }
    html.raw("</tbody></table></div>\n");
}
