//! Expectations and needs, each with what became of it.

use serde::Serialize;

use boundwalk_analysis::intent::{
    Breach, IntentStatus, JudgedExpectation, JudgedNeed, breach_text,
};
use boundwalk_analysis::{ServiceLabels, rule_name, rule_span};
use boundwalk_diagnostic::{Sources, Span};
use boundwalk_forwarding::Network;
use boundwalk_model::{Demands, PerFamily, Permit, Site, Through};

use super::document::{Document, Mark, Rank, Table, Tone};
use super::json::{JsonPacket, JsonPlace, json_packet, json_place};
use super::json_text::to_text;

/// What is shown of the intent of a site.
pub struct IntentShown<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// Its text.
    pub sources: &'a Sources,
    /// Expectations, judged.
    pub expectations: &'a [JudgedExpectation<'a>],
    /// Needs, judged.
    pub needs: &'a [JudgedNeed<'a>],
    /// Names: IPv4, then IPv6.
    pub namings: &'a PerFamily<ServiceLabels<'a>>,
    /// What the answers rest on.
    pub notes: &'a [String],
}

/// One line of the list, whichever kind it is.
struct ShownLine<'a> {
    kind: &'static str,
    name: &'a str,
    place: Span,
    status: &'a IntentStatus,
    demands: String,
    requirement: Option<&'a str>,
    baseline: Option<&'static str>,
    reason: Option<&'a str>,
}

impl IntentShown<'_> {
    fn lines(&self) -> Vec<ShownLine<'_>> {
        let expectations = self.expectations.iter().map(|judged| {
            let line = judged.expectation;
            ShownLine {
                kind: "expectation",
                name: &line.name.value,
                place: line.name.span,
                status: &judged.status,
                demands: demands_text(self.network.site, &line.demands, line.hostile),
                requirement: line.requirement.as_deref(),
                baseline: line.baseline,
                reason: line.reason.as_deref(),
            }
        });
        let needs = self.needs.iter().map(|judged| ShownLine {
            kind: "need",
            name: &judged.need.name.value,
            place: judged.need.name.span,
            status: &judged.status,
            demands: "all of it passes".to_owned(),
            requirement: None,
            baseline: None,
            reason: judged.need.reason.as_deref(),
        });
        expectations.chain(needs).collect()
    }

    fn told(&self, breach: &Breach) -> String {
        breach_text(self.network, self.namings, breach)
    }
}

/// A line of the list, ready to be shown.
pub(super) struct IntentRow {
    pub(super) word: &'static str,
    /// Whether it is held or met.
    pub(super) fine: bool,
    pub(super) name: String,
    pub(super) demands: String,
    pub(super) requirement: String,
    /// What shows that it does not hold.
    pub(super) told: Vec<String>,
    pub(super) place: Span,
}

impl IntentShown<'_> {
    /// All lines, those that do not hold first.
    pub(super) fn rows(&self) -> Vec<IntentRow> {
        let lines = self.lines();
        let row = |line: &ShownLine<'_>| IntentRow {
            word: word(line.status, line.kind),
            fine: *line.status == IntentStatus::Held,
            name: line.name.to_owned(),
            demands: line.demands.clone(),
            requirement: line.requirement.unwrap_or_default().to_owned(),
            told: match line.status {
                IntentStatus::Broken(breaches) => {
                    breaches.iter().map(|one| self.told(one)).collect()
                }
                _ => Vec::new(),
            },
            place: line.place,
        };
        let mut rows: Vec<IntentRow> = lines.iter().map(row).collect();
        rows.sort_by_key(|row| row.fine);
        rows
    }

    /// Of expectations and of needs: how many hold, and how many there are.
    pub(super) fn counts(&self) -> [(usize, usize); 2] {
        let held = |status: &IntentStatus| *status == IntentStatus::Held;
        let expectations = self.expectations.iter().filter(|one| held(&one.status));
        let needs = self.needs.iter().filter(|one| held(&one.status));
        [
            (expectations.count(), self.expectations.len()),
            (needs.count(), self.needs.len()),
        ]
    }

    /// The first rule that breaks an expectation, as it is called and where it stands, with the expectation's name.
    pub(super) fn rule_to_blame(&self) -> Option<(String, Option<Span>, &str)> {
        self.expectations.iter().find_map(|judged| {
            let IntentStatus::Broken(breaches) = &judged.status else {
                return None;
            };
            let mut deciders = breaches.iter().flat_map(|breach| &breach.deciders);
            let &(router, rule) = deciders.find(|(_, rule)| rule.is_some())?;
            let span = rule_span(self.network.site, router, rule);
            let name = rule_name(self.network, router, rule);
            Some((name, span, judged.expectation.name.value.as_str()))
        })
    }

    /// Names of those that do not hold, with what became of each.
    pub(super) fn failing(&self) -> Vec<(String, &'static str)> {
        self.rows()
            .into_iter()
            .filter(|row| !row.fine)
            .map(|row| (row.name, row.word))
            .collect()
    }
}

/// What a line demands, in words.
fn demands_text(site: &Site, demands: &Demands, hostile: bool) -> String {
    let mut parts: Vec<String> = Vec::new();
    parts.extend(demands.permit.map(|permit| match permit {
        Permit::Nothing => "nothing passes".to_owned(),
        Permit::AtMost => "no other service passes".to_owned(),
        Permit::AtLeast => "all of it passes".to_owned(),
        Permit::Exactly => "this passes, and no other service".to_owned(),
    }));
    parts.extend(demands.through.map(|through| match through {
        Through::Any => "a gateway decides".to_owned(),
        Through::Gateway(router) => format!("{} decides", site.router(router).name.value),
    }));
    for (wanted, what) in [
        (demands.logged, "it is logged"),
        (demands.inspected, "it is inspected"),
        (demands.isolated, "there is no way between the two"),
        (demands.one_way, "nothing is started the other way"),
    ] {
        if wanted {
            parts.push(what.to_owned());
        }
    }
    if hostile {
        parts.push("even for a hostile device".to_owned());
    }
    parts.join(", ")
}

fn word(status: &IntentStatus, kind: &str) -> &'static str {
    match (status, kind) {
        (IntentStatus::Held, "need") => "met",
        (IntentStatus::Broken(_), "need") => "unmet",
        (IntentStatus::Held, _) => "held",
        (IntentStatus::Broken(_), _) => "broken",
        (IntentStatus::Vacuous, _) => "vacuous",
        (IntentStatus::Unknown(_), _) => "unknown",
    }
}

/// Every line with how it stands; of a broken one what shows it.
pub fn expectations_document<'a>(shown: &IntentShown<'a>) -> Document<'a> {
    let mut out = Document::new("What must hold", &shown.network.site.name);
    let lines = shown.lines();
    let mut kind = "";
    for line in &lines {
        if line.kind != kind {
            kind = line.kind;
            let title = match kind {
                "need" => "Needs",
                _ => "Expectations",
            };
            out.heading(Rank::Answer, title);
        }
        one_line(&mut out, shown, line);
    }
    if lines.is_empty() {
        out.plain(0, "no expectation and no need is described");
    }
    out.summary(counts(&lines));
    out.notes(shown.notes);
    out
}

/// A page for whoever has to answer for it: every line with what it demands, then what shows that one is broken.
pub fn expectations_page<'a>(shown: &IntentShown<'a>) -> Document<'a> {
    let mut out = Document::new("What must hold", &shown.network.site.name);
    let lines = shown.lines();
    let row = |line: &ShownLine<'_>| {
        vec![
            line.kind.to_owned(),
            line.name.to_owned(),
            line.demands.clone(),
            line.requirement.unwrap_or_default().to_owned(),
            word(line.status, line.kind).to_owned(),
        ]
    };
    let titles = ["kind", "name", "demanded", "answers to", "state"];
    out.table(Table::of_texts(&titles, lines.iter().map(row).collect()));
    for line in &lines {
        if let IntentStatus::Broken(breaches) = line.status {
            out.heading(Rank::Answer, line.name);
            out.bullets(breaches.iter().map(|breach| shown.told(breach)));
        }
    }
    out.summary(counts(&lines));
    out.notes(shown.notes);
    out
}

/// Columns before what is said of a line.
const DETAIL: usize = 11;

fn one_line(out: &mut Document<'_>, shown: &IntentShown<'_>, line: &ShownLine<'_>) {
    let baseline = line.baseline.map(|name| format!(" [{name}]"));
    let state = Mark::State {
        word: word(line.status, line.kind),
        width: DETAIL - 3,
        tone: match line.status {
            IntentStatus::Held => Tone::Faint,
            _ => Tone::Strong,
        },
    };
    out.line(
        2,
        state,
        format!("{}{}", line.name, baseline.unwrap_or_default()),
    );
    match line.status {
        IntentStatus::Held => {}
        IntentStatus::Broken(breaches) => {
            out.plain(DETAIL, format!("demanded: {}", line.demands));
            for breach in breaches {
                out.line(DETAIL, Mark::Bullet, shown.told(breach));
            }
            if let Some(requirement) = line.requirement {
                out.plain(DETAIL, format!("answers to {requirement}"));
            }
            out.plain(DETAIL, format!("at {}", shown.sources.place(line.place)));
        }
        IntentStatus::Vacuous => {
            out.plain(
                DETAIL,
                "nobody with these addresses is there: it watches nothing",
            );
        }
        IntentStatus::Unknown(limit) => out.plain(DETAIL, format!("unknown: {limit}")),
    }
}

/// `14 expectations: 12 held, 2 broken; 25 needs: 25 met`.
fn counts(lines: &[ShownLine<'_>]) -> String {
    let mut parts = Vec::new();
    for kind in ["expectation", "need"] {
        let own: Vec<&'static str> = lines
            .iter()
            .filter(|line| line.kind == kind)
            .map(|line| word(line.status, kind))
            .collect();
        let states = ["held", "met", "broken", "unmet", "vacuous", "unknown"];
        let states = states.iter().filter_map(|state| {
            let count = own.iter().filter(|one| *one == state).count();
            (count > 0).then(|| format!("{count} {state}"))
        });
        let ending = if own.len() == 1 { "" } else { "s" };
        if own.is_empty() {
            parts.push(format!("no {kind}s"));
        } else {
            parts.push(format!(
                "{} {kind}{ending}: {}",
                own.len(),
                states.collect::<Vec<_>>().join(", ")
            ));
        }
    }
    parts.join("; ")
}

#[derive(Serialize)]
struct JsonIntent<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    lines: Vec<JsonLine<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonLine<'a> {
    kind: &'static str,
    name: &'a str,
    state: &'static str,
    demanded: String,
    requirement: Option<&'a str>,
    baseline: Option<&'static str>,
    reason: Option<&'a str>,
    place: Option<JsonPlace>,
    breaches: Vec<JsonBreach<'a>>,
}

#[derive(Serialize)]
struct JsonBreach<'a> {
    text: String,
    from: &'a str,
    to: std::borrow::Cow<'a, str>,
    family: Option<&'static str>,
    hostile: bool,
    services: Vec<String>,
    packet: Option<JsonPacket>,
    decided_by: Vec<String>,
}

/// The list for programs.
pub fn expectations_json(shown: &IntentShown<'_>) -> String {
    let lines = shown.lines().into_iter().map(|line| JsonLine {
        kind: line.kind,
        state: word(line.status, line.kind),
        demanded: line.demands,
        requirement: line.requirement,
        baseline: line.baseline,
        reason: line.reason,
        place: json_place(shown.sources, line.place),
        breaches: match line.status {
            IntentStatus::Broken(breaches) => {
                breaches.iter().map(|one| breach(shown, one)).collect()
            }
            _ => Vec::new(),
        },
        name: line.name,
    });
    to_text(&JsonIntent {
        document: "boundwalk-expectations",
        version: 1,
        site: &shown.network.site.name,
        lines: lines.collect(),
        notes: shown.notes,
    })
}

fn breach<'a>(shown: &'a IntentShown<'_>, breach: &Breach) -> JsonBreach<'a> {
    let site = shown.network.site;
    let naming = breach.family.map(|family| &shown.namings[family]);
    let services = breach.services.as_ref().zip(naming);
    let deciders = breach.deciders.iter();
    JsonBreach {
        text: shown.told(breach),
        from: &site.segment(breach.from).name.value,
        to: boundwalk_analysis::party_name(site, breach.to),
        family: breach.family.map(|family| family.word()),
        hostile: breach.hostile,
        services: services.map_or_else(Vec::new, |(services, naming)| naming.list(services)),
        packet: breach.packet.as_ref().map(json_packet),
        decided_by: deciders
            .map(|&(router, rule)| rule_name(shown.network, router, rule))
            .collect(),
    }
}
