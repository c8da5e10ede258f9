//! A test plan as a JSON document.

use serde::Serialize;

use boundwalk_analysis::party_name;
use boundwalk_analysis::probes::{Probe, obligation_text, why_text};
use boundwalk_forwarding::Sender;
use boundwalk_model::{Family, RouterId};

use super::json::{JsonPacket, json_packet};
use super::json_text::to_text;
use super::probes_words::{ProbesShown, command, expectation};

#[derive(Serialize)]
struct JsonPlan<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    obligations: usize,
    touched: usize,
    denying_rules: usize,
    denying_rules_touched: usize,
    complete: bool,
    probes: Vec<JsonProbe<'a>>,
    untouched: Vec<JsonUntouched>,
    listeners: Vec<JsonListener>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonProbe<'a> {
    number: usize,
    family: &'static str,
    from: &'a str,
    /// The described host that sends; `null`: a test device.
    host: Option<&'a str>,
    default_gateways: Vec<String>,
    to: std::borrow::Cow<'a, str>,
    packet: JsonPacket,
    source_port_matters: bool,
    expect: &'static str,
    expect_text: &'static str,
    decided_by: Vec<JsonDecider<'a>>,
    reason: String,
    arrives_as: Option<JsonPacket>,
    command: String,
    covers: Vec<String>,
}

#[derive(Serialize)]
pub(super) struct JsonDecider<'a> {
    gateway: &'a str,
    /// `null`: the default.
    rule: Option<&'a str>,
}

#[derive(Serialize)]
struct JsonUntouched {
    obligation: String,
    why: &'static str,
}

#[derive(Serialize)]
struct JsonListener {
    command: String,
    at: String,
}

/// A plan for programs.
pub fn probes_json(shown: &ProbesShown<'_>) -> String {
    let plan = shown.plan;
    let untouched = plan.untouched.iter().map(|one| JsonUntouched {
        obligation: obligation_text(shown.network, one.obligation),
        why: why_text(one.why),
    });
    let listeners = shown.listeners().into_iter();
    to_text(&JsonPlan {
        document: "boundwalk-probes",
        version: 1,
        site: &shown.network.site.name,
        obligations: plan.required,
        touched: plan.required - plan.untouched.len(),
        denying_rules: plan.denying,
        denying_rules_touched: plan.denying_touched,
        complete: plan.complete,
        probes: plan.probes.iter().map(|one| probe(shown, one)).collect(),
        untouched: untouched.collect(),
        listeners: listeners
            .map(|(command, at)| JsonListener { command, at })
            .collect(),
        notes: shown.notes,
    })
}

fn probe<'a>(shown: &'a ProbesShown<'_>, probe: &'a Probe) -> JsonProbe<'a> {
    let site = shown.network.site;
    let predicted = &probe.predicted;
    JsonProbe {
        number: probe.number,
        family: Family::of(probe.packet.source).word(),
        from: shown.name(predicted.send_point),
        host: match predicted.sender {
            Sender::Host(host) => Some(&site.host(host).name.value),
            Sender::Segment(_) | Sender::Hostile(_) => None,
        },
        default_gateways: predicted
            .first_hops
            .iter()
            .map(ToString::to_string)
            .collect(),
        to: party_name(site, probe.to),
        packet: json_packet(&probe.packet),
        source_port_matters: probe.pinned,
        expect: predicted.expect.word(),
        expect_text: expectation(predicted.expect),
        decided_by: deciders(shown, &predicted.deciders),
        reason: shown.reason(predicted),
        arrives_as: predicted.arrives_as.as_ref().map(json_packet),
        command: command(&probe.packet, probe.pinned),
        covers: shown.covers(probe),
    }
}

fn deciders<'a>(
    shown: &ProbesShown<'a>,
    deciders: &[(RouterId, Option<usize>)],
) -> Vec<JsonDecider<'a>> {
    let named = deciders.iter().map(|&(router, rule)| {
        let router = shown.network.site.router(router);
        let filter = router.filter();
        JsonDecider {
            gateway: &router.name.value,
            rule: filter
                .and_then(|filter| filter.rules.get(rule?))
                .map(|rule| rule.name.value.as_str()),
        }
    });
    named.collect()
}
