//! What holds, what does not, and what to do first.

use std::fmt::Write;

use boundwalk_analysis::{IsolationVerdict, origin_name};
use boundwalk_checks::area;
use boundwalk_diagnostic::{Finding, Severity};

use super::super::bypass::cuts;
use super::super::frames::segment_name;
use super::super::isolation::verdict_text;
use super::super::svg::xml;
use super::ReportShown;
use super::html::Html;

/// Checks whose findings come before others of the same severity: what breaks segmentation as a whole.
const FIRST: [&str; 8] = [
    "bypass-open",
    "isolation-broken",
    "management-exposed",
    "expectation-broken",
    "gateway-unprotected",
    "rule-dead",
    "need-unmet",
    "default-permit",
];

/// The section; newcomers read little else.
pub(super) fn summary(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    html.section("summary", "Summary");
    html.classed("p", "lead", &format!("{}.", capital(shown.summary)));
    html.raw("<div class=\"boxes\">");
    isolated(html, shown);
    around(html, shown);
    rule(html, shown);
    intent(html, shown);
    html.raw("</div>\n");
    first(html, shown);
}

/// With a capital letter in front.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), letters.as_str())
}

/// How something stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Stands {
    Well,
    Badly,
    /// There was nothing to judge.
    Untold,
}

impl Stands {
    /// Good or not, if there was anything to judge.
    fn of(any: bool, good: bool) -> Self {
        if any {
            Self::judged(good)
        } else {
            Self::Untold
        }
    }

    /// Judged, and good or not.
    pub(super) fn judged(good: bool) -> Self {
        if good { Self::Well } else { Self::Badly }
    }
}

/// Begins a box with a state in it, by a sign and in words.
pub(super) fn state(html: &mut Html<'_>, title: &str, send_points: Stands, word: &str) {
    let (class, sign) = match send_points {
        Stands::Well => ("good", "\u{2713}"),
        Stands::Badly => ("bad", "\u{2717}"),
        Stands::Untold => ("untold", "\u{2013}"),
    };
    let _ = write!(
        html.out,
        "<div class=\"box {class}\"><h3>{title}</h3><p class=\"state\"><span aria-hidden=\"true\">{sign} </span>{}</p>",
        xml(word)
    );
}

fn isolated(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let site = shown.network.site;
    let all = shown.isolated.iter();
    let holds = all
        .clone()
        .all(|one| matches!(one.verdict, IsolationVerdict::ByDesign(_)));
    let word = match (shown.isolated.is_empty(), holds) {
        (true, _) => "no segment claims to be isolated",
        (_, true) => "isolated as claimed",
        _ => "not isolated as claimed",
    };
    let send_points = Stands::of(!shown.isolated.is_empty(), holds);
    state(html, "Isolated segments", send_points, word);
    for one in all {
        let name = segment_name(site, one.segment);
        let why = match one.verdict {
            IsolationVerdict::ByDesign(certificate) => {
                let (ports, switches) = certificate.extent();
                let (ports, switches) = match (ports, switches) {
                    (1, _) => ("1 port".to_owned(), "1 switch".to_owned()),
                    (_, 1) => (format!("{ports} ports"), "1 switch".to_owned()),
                    _ => (format!("{ports} ports"), format!("{switches} switches")),
                };
                format!(
                    "its frames stay on {ports} of {switches}; no gateway, router or host that forwards is among \
                     those that take them"
                )
            }
            IsolationVerdict::ByRule { .. } => {
                "there are paths, and only rules close them".to_owned()
            }
            IsolationVerdict::Reachable { .. } => "there is a way in or out".to_owned(),
            IsolationVerdict::Unknown { limit, .. } => format!("unknown: {limit}"),
        };
        let _ = write!(
            html.out,
            "<p><a href=\"#i{}\">{}</a>: {}, {}.</p>",
            one.segment.0,
            xml(name),
            verdict_text(one.verdict),
            xml(&why)
        );
    }
    html.raw("</div>");
}

fn around(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let site = shown.network.site;
    let found = &shown.bypasses.pairs;
    let asked = shown.bypasses.asked;
    let word = match found.len() {
        0 if asked == 0 => "no two segments of different zones".to_owned(),
        0 => "no path goes round".to_owned(),
        count => format!("{count} of {asked} pairs of segments have a way round"),
    };
    let send_points = Stands::of(asked > 0, found.is_empty());
    state(html, "Ways round the gateway", send_points, &word);
    if found.is_empty() && asked > 0 {
        html.tag(
            "p",
            &format!(
                "All {} ordered pairs of segments of different zones were looked at.",
                shown.bypasses.asked
            ),
        );
    }
    for (number, pair) in found.iter().take(3).enumerate() {
        let name = |origin| origin_name(site, &shown.network.fabric, origin);
        let (from, to) = (name(pair.from), name(pair.to));
        let by = pair.opened_by.map(|setting| setting.fact(site));
        let _ = write!(
            html.out,
            "<p><a href=\"#w{number}\">{} to {}</a>{}</p>",
            xml(&from),
            xml(&to),
            by.map_or_else(String::new, |fact| format!(": {}", xml(&fact)))
        );
    }
    if found.len() > 3 {
        html.raw("<p><a href=\"#bypass\">all of them</a></p>");
    }
    html.raw("</div>");
}

/// A rule that breaks an expectation comes first, then the gravest finding about rules.
fn rule(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    if let Some((name, span, broken)) = shown.intent.rule_to_blame() {
        state(html, "Rule to fix first", Stands::Badly, &name);
        html.raw("<p>");
        html.text(&format!("It breaks the expectation \"{broken}\". "));
        span.into_iter().for_each(|span| html.place(span));
        html.raw("</p></div>");
        return;
    }
    let of_rules = ranked(&shown.reviewed.open);
    let mut of_rules = of_rules
        .into_iter()
        .filter(|one| area(one.check).is_some_and(|area| area.is_rules()));
    let first = of_rules.next();
    let grave = first.is_some_and(|one| one.severity() >= Severity::Warning);
    let word = match first {
        None if shown.rules.gateway_reviews.is_empty() => "no gateway filters",
        None => "no finding about a rule",
        Some(_) if grave => "one rule to fix first",
        Some(_) => "nothing urgent about rules",
    };
    let send_points = Stands::of(!shown.rules.gateway_reviews.is_empty(), !grave);
    state(html, "Rule to fix first", send_points, word);
    if let Some(finding) = first {
        html.raw("<p>");
        html.text(&format!("{} ", finding.message));
        finding.span.into_iter().for_each(|span| html.place(span));
        html.raw("</p>");
        if let Some(help) = &finding.help {
            html.tag("p", help);
        }
    }
    html.raw("</div>");
}

fn intent(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let counts = shown.intent.counts();
    let (held, all) = (
        counts.iter().map(|one| one.0).sum::<usize>(),
        counts.iter().map(|one| one.1).sum::<usize>(),
    );
    let word = match all {
        0 => "none is written down".to_owned(),
        _ if held == all => format!("all {all} hold"),
        _ => format!("{held} of {all} hold"),
    };
    let send_points = Stands::of(all > 0, held == all);
    state(html, "Expectations and needs", send_points, &word);
    for (name, word) in shown.intent.failing().into_iter().take(3) {
        html.tag("p", &format!("{name}: {word}"));
    }
    html.raw("<p><a href=\"#expectations\">see all</a></p></div>");
}

/// Findings, the most urgent first.
pub(super) fn ranked(findings: &[Finding]) -> Vec<&Finding> {
    let mut all: Vec<&Finding> = findings.iter().collect();
    all.sort_by_key(|one| {
        let place = FIRST.iter().position(|name| *name == one.check.name);
        (
            std::cmp::Reverse(one.severity()),
            place.unwrap_or(FIRST.len()),
        )
    });
    all
}

/// The three things to do first: settings that close ways round, then the gravest findings, each check once.
fn first(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let mut seen: Vec<&str> = Vec::new();
    let mut count = 0;
    html.raw("<h3>Three things to do first</h3><ol class=\"first\">");
    let closing = shown.bypasses.closing.as_ref();
    let set = closing.and_then(|closing| Some((closing, closing.sets.first()?)));
    if let Some((closing, set)) = set.filter(|(_, set)| !set.is_empty()) {
        let which = if closing.stay.is_empty() {
            "every way round the gateway"
        } else {
            "the ways round the gateway that a setting can close"
        };
        let todo: Vec<String> = cuts(shown.network.site, set)
            .into_iter()
            .map(|(_, text)| text)
            .collect();
        html.raw("<li>");
        html.text(&format!("Close {which}: {}. ", todo.join("; ")));
        html.raw("<a href=\"#bypass\">the ways</a></li>\n");
        seen.push("bypass-open");
        count += 1;
    }
    for finding in ranked(&shown.reviewed.open) {
        if count == 3 {
            break;
        }
        if seen.contains(&finding.check.name) {
            continue;
        }
        seen.push(finding.check.name);
        count += 1;
        html.raw("<li>");
        html.text(&finding.message);
        html.raw(" ");
        if let Some(span) = finding.span {
            html.place(span);
        }
        let todo = finding.help.as_deref().unwrap_or(finding.check.remedy);
        html.raw("<br><strong>Do:</strong> ");
        html.text(todo);
        html.raw("</li>\n");
    }
    html.raw("</ol>\n");
    if count == 0 {
        html.raw("<p>Nothing was found that asks for a change.</p>\n");
    }
}
