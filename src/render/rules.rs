//! The rules of gateways for people: an overview, then findings.

use rustc_hash::FxHashSet;

use boundwalk_analysis::ServiceLabels;
use boundwalk_analysis::rules::{GatewayReview, RuleStatus, Tally, Without};
use boundwalk_checks::{Area, area};
use boundwalk_diagnostic::{Finding, Sources, Span};
use boundwalk_model::Site;

use super::document::{Document, Mark, Rank, Tone};
use super::text::fit;

/// What is shown of the rules of a site.
pub struct RulesShown<'a> {
    /// The site.
    pub site: &'a Site,
    /// Its text.
    pub sources: &'a Sources,
    /// The gateways asked about.
    pub gateway_reviews: &'a [GatewayReview<'a>],
    /// Findings about their rules.
    pub findings: &'a [Finding],
    /// Names, one for each family.
    pub namings: &'a [ServiceLabels<'a>],
    /// What the answers rest on.
    pub notes: &'a [String],
}

impl RulesShown<'_> {
    /// Findings of one rule.
    pub fn findings_of(&self, gateway_review: &GatewayReview<'_>, rule: usize) -> Vec<Finding> {
        self.of_rule(gateway_review, rule).cloned().collect()
    }

    /// Findings whose place is the name of a rule.
    pub(super) fn of_rule<'f>(
        &'f self,
        gateway_review: &GatewayReview<'_>,
        rule: usize,
    ) -> impl Iterator<Item = &'f Finding> {
        let place = gateway_review.rules[rule].name.span;
        self.findings
            .iter()
            .filter(move |finding| finding.span == Some(place))
    }

    /// Rules of a gateway that permit more than there is or is safe.
    pub(super) fn broad(&self, gateway_review: &GatewayReview<'_>) -> usize {
        let wide = |finding: &&Finding| area(finding.check) == Some(Area::RuleWidth);
        let places: FxHashSet<Span> = self
            .findings
            .iter()
            .filter(wide)
            .filter_map(|finding| finding.span)
            .collect();
        let rules = gateway_review.rules.iter();
        rules
            .filter(|rule| places.contains(&rule.name.span))
            .count()
    }
}

/// What the columns of the overview mean.
pub(super) const COLUMNS: [(&str, &str); 9] = [
    ("rules", "in the list, whatever their state"),
    ("off", "disabled or expired"),
    (
        "no match",
        "no packet can match them, by interfaces, routes or translations",
    ),
    (
        "dead",
        "they never decide, and earlier rules do the opposite for some of their packets",
    ),
    (
        "repeated",
        "they never decide, and earlier rules of the same action name all that they name",
    ),
    (
        "redundant",
        "they decide, but without them later rules or the default would decide the same",
    ),
    (
        "can go",
        "all of those at once (but the dead), as far as found, without changing what is done with any packet",
    ),
    (
        "too wide",
        "they permit more than there is or is safe: see the findings",
    ),
    (
        "complexity",
        "rules + objects named + pairs of interfaces; mistakes grow with it",
    ),
];

/// The numbers of a gateway in the order of [`COLUMNS`].
pub(super) fn numbers(shown: &RulesShown<'_>, gateway_review: &GatewayReview<'_>) -> [usize; 9] {
    let tally: Tally = gateway_review.tally();
    let harmless = gateway_review.review.together.iter().filter(|&&rule| {
        !matches!(&gateway_review.review.rules[rule], RuleStatus::Dead(dead) if dead.against.is_some())
    });
    [
        tally.rules,
        tally.off,
        tally.irrelevant,
        tally.dead,
        tally.repeated,
        tally.redundant,
        harmless.count(),
        shown.broad(gateway_review),
        gateway_review.complexity.total(),
    ]
}

/// An overview of each gateway, then findings by severity.
pub fn rules_document<'a>(shown: &RulesShown<'a>, all: bool) -> Document<'a> {
    let mut out = Document::new("Rules", &shown.site.name);
    if !shown.site.name.is_empty() {
        out.heading(Rank::Answer, &shown.site.name);
        out.gap();
    }
    for (number, gateway_review) in shown.gateway_reviews.iter().enumerate() {
        overview(&mut out, shown, gateway_review, number == 0);
    }
    for text in shown.gateway_reviews.iter().flat_map(limit_notes) {
        out.plain(2, text);
        out.gap();
    }
    out.heading(Rank::Answer, "Findings");
    out.gap();
    if shown.findings.is_empty() {
        out.plain(2, "None.");
    } else {
        out.findings(shown.sources, shown.findings, all);
    }
    out.notes(shown.notes);
    out
}

/// The numbers of a gateway, a line each; for the first gateway with what they mean.
fn overview(
    out: &mut Document<'_>,
    shown: &RulesShown<'_>,
    gateway_review: &GatewayReview<'_>,
    explained: bool,
) {
    out.heading(Rank::Answer, &gateway_review.router.name.value);
    for ((title, meaning), number) in COLUMNS.iter().zip(numbers(shown, gateway_review)) {
        let start = Mark::Label(format!("{number:>6}  {}", fit(title, 12)));
        let meaning = if explained { meaning } else { "" };
        out.toned(Tone::Faint, 2, start, meaning);
    }
    out.gap();
}

/// Sentences for what bounds left open; none where all is settled.
pub(super) fn limit_notes(gateway_review: &GatewayReview<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    let name = &gateway_review.router.name.value;
    let unknown = gateway_review.tally().unknown;
    if unknown > 0 {
        notes.push(format!(
            "{name}: {unknown} rules are not settled, because a bound on the work was met: they may be dead or \
             redundant."
        ));
    }
    let alone = |rule: &usize| {
        let status = &gateway_review.review.rules[*rule];
        matches!(
            status,
            RuleStatus::Decides {
                without: Without::Same { .. },
                ..
            }
        )
    };
    // In ascending order, and up to every rule of a long list.
    let gone = |rule: &usize| gateway_review.review.together.binary_search(rule).is_ok();
    if (0..gateway_review.review.rules.len()).any(|rule| alone(&rule) && !gone(&rule)) {
        notes.push(format!(
            "{name}: not every rule that can go alone can go together with the others; another choice may be larger."
        ));
    }
    if !gateway_review.pairs.complete {
        notes.push(format!(
            "{name}: not all pairs of rules were looked at, because a bound on the work was met."
        ));
    }
    if !gateway_review.space.holes_exact {
        notes.push(format!(
            "{name}: its translations are too many to say which packets the rules never see; a packet named here \
             may be one of those."
        ));
    }
    notes
}

/// What a rule is, in a word.
pub(super) fn state(status: &RuleStatus) -> &'static str {
    match status {
        RuleStatus::Off => "off",
        RuleStatus::Irrelevant => "no match",
        RuleStatus::Dead(dead) if dead.against.is_some() => "dead",
        RuleStatus::Dead(_) => "repeated",
        RuleStatus::Decides {
            without: Without::Same { .. },
            ..
        } => "redundant",
        RuleStatus::Decides { .. } => "decides",
        RuleStatus::Unknown => "not settled",
    }
}
