//! Least privilege for programs.

use serde::Serialize;

use boundwalk_analysis::party_name;
use boundwalk_analysis::privilege::Axis;
use boundwalk_model::Family;

use super::json::{JsonPacket, json_packet};
use super::json_text::to_text;
use super::privilege::PrivilegeShown;

#[derive(Serialize)]
struct JsonPrivilege<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    logs: &'a [String],
    rules: Vec<JsonRuleUse>,
    pairs: Vec<JsonPairUse<'a>>,
    zones: Vec<JsonPairUse<'a>>,
    needs_unmet: Vec<String>,
    needs_unseen: Vec<String>,
    observed: usize,
    observed_inside_a_segment: usize,
    impossible_count: usize,
    impossible: Vec<JsonImpossible>,
    complete: bool,
    notes: &'a [String],
}

/// Counts as texts: they go far past what a number in JSON holds everywhere.
#[derive(Serialize)]
struct JsonAxis {
    permitted: String,
    used: String,
}

#[derive(Serialize)]
struct JsonRuleUse {
    rule: String,
    place: String,
    excess_bits: u64,
    packets: JsonAxis,
    services: JsonAxis,
    sources_ipv4: JsonAxis,
    sources_ipv6: JsonAxis,
    destinations_ipv4: JsonAxis,
    destinations_ipv6: JsonAxis,
    observed: usize,
}

#[derive(Serialize)]
struct JsonPairUse<'a> {
    from: &'a str,
    to: std::borrow::Cow<'a, str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    family: Option<&'static str>,
    excess_bits: u64,
    packets: JsonAxis,
}

#[derive(Serialize)]
struct JsonImpossible {
    packet: JsonPacket,
    records: u64,
    text: String,
}

fn json_axis(axis: &Axis) -> JsonAxis {
    JsonAxis {
        permitted: axis.permitted.to_string(),
        used: axis.used.to_string(),
    }
}

/// What nobody needs, as a JSON document.
pub fn privilege_json(shown: &PrivilegeShown<'_>) -> String {
    let site = shown.network.site;
    let found = shown.privilege;
    let rules = found.rules.iter().map(|rule| {
        let measure = &rule.measure;
        JsonRuleUse {
            rule: shown.rule(rule),
            place: shown.place(rule),
            excess_bits: measure.packets.excess_bits(),
            packets: json_axis(&measure.packets),
            services: json_axis(&measure.services),
            sources_ipv4: json_axis(&measure.sources[Family::V4]),
            sources_ipv6: json_axis(&measure.sources[Family::V6]),
            destinations_ipv4: json_axis(&measure.destinations[Family::V4]),
            destinations_ipv6: json_axis(&measure.destinations[Family::V6]),
            observed: rule.observed,
        }
    });
    let pairs = found.pairs.iter().map(|pair| JsonPairUse {
        from: &site.segment(pair.from).name.value,
        to: party_name(site, pair.to),
        family: Some(pair.family.word()),
        excess_bits: pair.packets.excess_bits(),
        packets: json_axis(&pair.packets),
    });
    let zones = shown.zones();
    let zones = zones.iter().map(|zone| JsonPairUse {
        from: zone.from,
        to: zone.to.clone(),
        family: None,
        excess_bits: zone.packets.excess_bits(),
        packets: json_axis(&zone.packets),
    });
    let impossible = found.impossible.iter().map(|one| JsonImpossible {
        packet: json_packet(&one.packet),
        records: one.observed.records,
        text: shown.impossible(one),
    });
    let (needs_unmet, needs_unseen) = shown.need_lines();
    to_text(&JsonPrivilege {
        document: "boundwalk-privilege",
        version: 1,
        site: &site.name,
        logs: shown.logs,
        rules: rules.collect(),
        pairs: pairs.collect(),
        zones: zones.collect(),
        needs_unmet,
        needs_unseen,
        observed: found.observed,
        observed_inside_a_segment: found.inside,
        impossible_count: found.impossible_count,
        impossible: impossible.collect(),
        complete: found.complete,
        notes: shown.notes,
    })
}
