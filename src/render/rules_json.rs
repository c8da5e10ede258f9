//! The rules of gateways as JSON.

use serde::Serialize;

use boundwalk_analysis::rules::{GatewayReview, RulePacket, RuleSheet, RuleStatus, Share, Without};
use boundwalk_analysis::{ServiceLabels, party_name};
use boundwalk_model::show_interval;

use super::json::{JsonFinding, JsonPacket, JsonPlace, json_finding, json_packet, json_place};
use super::json_text::to_text;
use super::rules::{COLUMNS, RulesShown, limit_notes, numbers, state};

#[derive(Serialize)]
struct JsonRules<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    gateways: Vec<JsonGateway<'a>>,
    findings: Vec<JsonFinding<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonGateway<'a> {
    name: &'a str,
    counts: serde_json::Map<String, serde_json::Value>,
    rules: Vec<JsonState<'a>>,
    /// Numbers of rules that can go at once, from 1.
    removable_together: Vec<usize>,
    removable_is_largest: bool,
    pairs: Vec<JsonRulePair>,
    pairs_complete: bool,
    limits: Vec<String>,
}

#[derive(Serialize)]
struct JsonState<'a> {
    /// Number in the gateway's list, from 1.
    number: usize,
    name: &'a str,
    action: &'static str,
    state: &'static str,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    covered_by: Vec<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    covered_by_is_smallest: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    decided_otherwise_by: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why_no_match: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    witness: Option<JsonRulePacket>,
    #[serde(skip_serializing_if = "Option::is_none")]
    needed_for: Option<JsonRulePacket>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    redundant_by: Vec<usize>,
    place: Option<JsonPlace>,
}

#[derive(Serialize)]
struct JsonRulePacket {
    arrives_by: String,
    /// Null: it is for the gateway itself.
    leaves_by: Option<String>,
    packet: JsonPacket,
}

#[derive(Serialize)]
struct JsonRulePair {
    first: usize,
    second: usize,
    relation: &'static str,
    rank: &'static str,
    packet: JsonRulePacket,
}

/// All that is known of the rules, as a JSON document.
pub fn rules_json(shown: &RulesShown<'_>) -> String {
    to_text(&JsonRules {
        document: "boundwalk-rules",
        version: 1,
        site: &shown.site.name,
        gateways: shown
            .gateway_reviews
            .iter()
            .map(|gateway_review| json_gateway(shown, gateway_review))
            .collect(),
        findings: shown
            .findings
            .iter()
            .map(|finding| json_finding(shown.sources, finding))
            .collect(),
        notes: shown.notes,
    })
}

fn json_gateway<'a>(
    shown: &RulesShown<'a>,
    gateway_review: &'a GatewayReview<'a>,
) -> JsonGateway<'a> {
    let counts = COLUMNS
        .iter()
        .zip(numbers(shown, gateway_review))
        .map(|((title, _), count)| (title.replace(' ', "_"), count.into()));
    let rules = 0..gateway_review.rules.len();
    let pairs = gateway_review.pairs.pairs.iter();
    JsonGateway {
        name: &gateway_review.router.name.value,
        counts: counts.collect(),
        rules: rules
            .map(|rule| json_state(shown, gateway_review, rule))
            .collect(),
        removable_together: gateway_review
            .review
            .together
            .iter()
            .map(|rule| rule + 1)
            .collect(),
        removable_is_largest: gateway_review.review.largest,
        pairs: pairs.map(|pair| json_pair(gateway_review, pair)).collect(),
        pairs_complete: gateway_review.pairs.complete,
        limits: limit_notes(gateway_review),
    }
}

fn json_pair(
    gateway_review: &GatewayReview<'_>,
    pair: &boundwalk_analysis::rules::RulePair,
) -> JsonRulePair {
    use boundwalk_analysis::rules::{Rank, Relation};
    JsonRulePair {
        first: pair.first + 1,
        second: pair.second + 1,
        relation: match pair.relation {
            Relation::Correlated => "correlated",
            Relation::Generalises => "generalises",
        },
        rank: match pair.rank {
            Rank::Pierced => "permit-before-denial",
            Rank::Narrowed => "denial-before-permit",
            Rank::Exception => "exception",
            Rank::Backstop => "before-final-denial",
            Rank::Idle => "order-does-not-matter",
        },
        packet: json_rule_packet(gateway_review, &pair.packet),
    }
}

fn json_state<'a>(
    shown: &RulesShown<'_>,
    gateway_review: &'a GatewayReview<'_>,
    number: usize,
) -> JsonState<'a> {
    let rule = &gateway_review.rules[number];
    let status = &gateway_review.review.rules[number];
    let packet = |packet: &RulePacket| json_rule_packet(gateway_review, packet);
    let from_one = |rules: &[usize]| rules.iter().map(|rule| rule + 1).collect();
    let mut json = JsonState {
        number: number + 1,
        name: &rule.name.value,
        action: rule.action.value.word(),
        state: state(status),
        covered_by: Vec::new(),
        covered_by_is_smallest: None,
        decided_otherwise_by: None,
        why_no_match: None,
        witness: None,
        needed_for: None,
        redundant_by: Vec::new(),
        place: json_place(shown.sources, rule.name.span),
    };
    match status {
        RuleStatus::Off | RuleStatus::Unknown => {}
        RuleStatus::Irrelevant => json.why_no_match = Some(gateway_review.obstacle_text(number)),
        RuleStatus::Dead(dead) => {
            json.covered_by = from_one(&dead.by);
            json.covered_by_is_smallest = Some(dead.smallest);
            json.decided_otherwise_by = dead.against.map(|against| against.rule + 1);
            json.witness = dead.against.map(|against| packet(&against.packet));
        }
        RuleStatus::Decides { witness, without } => {
            json.witness = Some(packet(witness));
            match without {
                Without::Changed(changed) => json.needed_for = Some(packet(changed)),
                Without::Same { by } => json.redundant_by = from_one(by),
                Without::Unknown => {}
            }
        }
    }
    json
}

fn json_rule_packet(gateway_review: &GatewayReview<'_>, packet: &RulePacket) -> JsonRulePacket {
    let interface = |at: usize| gateway_review.router.interfaces[at].name.value.clone();
    JsonRulePacket {
        arrives_by: interface(packet.ingress),
        leaves_by: packet.egress.map(interface),
        packet: json_packet(&packet.packet),
    }
}

#[derive(Serialize)]
struct SheetDocument<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    gateway: &'a str,
    rule: JsonState<'a>,
    shares: Vec<JsonShare>,
    decides: Vec<JsonPart>,
    takes_from: Vec<JsonTaken>,
    takes_from_complete: bool,
    pairs: Vec<JsonRulePair>,
    /// Null: not asked, since the site has too many segments.
    opens: Option<Vec<JsonOpened<'a>>>,
    findings: Vec<JsonFinding<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonShare {
    family: &'static str,
    /// Sources times destinations times services, in digits: too large for a number.
    names: String,
    decides: String,
    taken: Vec<JsonTake>,
    exact: bool,
}

#[derive(Serialize)]
struct JsonTake {
    rule: usize,
    size: String,
}

#[derive(Serialize)]
struct JsonPart {
    family: &'static str,
    arrives_by: Vec<String>,
    /// `null` stands for the gateway itself.
    leaves_by: Vec<Option<String>>,
    source: Vec<String>,
    destination: Vec<String>,
    services: Vec<String>,
}

#[derive(Serialize)]
struct JsonTaken {
    rule: usize,
    permille: u32,
    nothing_left: bool,
}

#[derive(Serialize)]
struct JsonOpened<'a> {
    family: &'static str,
    from: std::borrow::Cow<'a, str>,
    to: std::borrow::Cow<'a, str>,
    services: Vec<String>,
}

/// One rule as a JSON document.
pub fn rule_json(
    shown: &RulesShown<'_>,
    gateway_review: &GatewayReview<'_>,
    sheet: &RuleSheet,
) -> String {
    let findings = shown.of_rule(gateway_review, sheet.rule);
    let opens = sheet.opens.as_ref().map(|opens| {
        let opens = opens.iter().map(|opened| JsonOpened {
            family: opened.family.word(),
            from: party_name(shown.site, opened.from),
            to: party_name(shown.site, opened.to),
            services: naming(shown, opened.family)
                .map_or_else(Vec::new, |naming| naming.list(&opened.services)),
        });
        opens.collect()
    });
    let takes = sheet.hides.iter().map(|hidden| JsonTaken {
        rule: hidden.rule + 1,
        permille: hidden.permille,
        nothing_left: hidden.dead,
    });
    to_text(&SheetDocument {
        document: "boundwalk-rule",
        version: 1,
        site: &shown.site.name,
        gateway: &gateway_review.router.name.value,
        rule: json_state(shown, gateway_review, sheet.rule),
        shares: sheet.shares.families.iter().map(json_share).collect(),
        decides: parts(shown, gateway_review, sheet),
        takes_from: takes.collect(),
        takes_from_complete: sheet.all_hidden,
        pairs: sheet
            .pairs
            .iter()
            .map(|pair| json_pair(gateway_review, pair))
            .collect(),
        opens,
        findings: findings
            .map(|finding| json_finding(shown.sources, finding))
            .collect(),
        notes: shown.notes,
    })
}

fn naming<'a>(
    shown: &'a RulesShown<'_>,
    family: boundwalk_model::Family,
) -> Option<&'a ServiceLabels<'a>> {
    let mut namings = shown.namings.iter();
    namings.find(|naming| naming.plan().family == family)
}

fn json_share(share: &Share) -> JsonShare {
    JsonShare {
        family: share.family.word(),
        names: share.all.to_string(),
        decides: share.decided.to_string(),
        taken: share
            .taken
            .iter()
            .map(|(rule, size)| JsonTake {
                rule: rule + 1,
                size: size.to_string(),
            })
            .collect(),
        exact: share.exact,
    }
}

fn parts(
    shown: &RulesShown<'_>,
    gateway_review: &GatewayReview<'_>,
    sheet: &RuleSheet,
) -> Vec<JsonPart> {
    let interfaces = &gateway_review.router.interfaces;
    let name = |&at: &usize| interfaces.get(at).map(|one| one.name.value.clone());
    let part = |part: &boundwalk_analysis::rules::Part| {
        let ranges = |set: &boundwalk_packet::IntervalSet| {
            set.intervals()
                .iter()
                .map(|&one| show_interval(part.family, one))
                .collect()
        };
        JsonPart {
            family: part.family.word(),
            arrives_by: part.ingress.iter().filter_map(name).collect(),
            leaves_by: part.egress.iter().map(name).collect(),
            source: ranges(&part.region.source),
            destination: ranges(&part.region.destination),
            services: naming(shown, part.family)
                .map_or_else(Vec::new, |naming| naming.list(&part.region.services)),
        }
    };
    sheet.shares.parts.iter().map(part).collect()
}
