//! The path of a packet as JSON.

use serde::Serialize;

use boundwalk_analysis::{Leg, PathResult, interface_name, origin_name};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::layer2::Admitted;
use boundwalk_forwarding::{DeviceId, Network, Outcome, Place, Plan, Reply, Sender, Step, Trace};
use boundwalk_model::{Family, Site};

use super::frames::{assumed, node_name, port_name_of};
use super::json::{JsonPacket, JsonRule, json_packet, json_rule};
use super::json_text::to_text;
use super::path::fate_text;
use super::words::{doubt_text, mismatch_text};
use boundwalk_analysis::stop_text;

#[derive(Serialize)]
struct JsonPath {
    document: &'static str,
    version: u32,
    sender: String,
    forged: bool,
    packet: JsonPacket,
    ways: Vec<JsonWay>,
    /// What becomes of it at best.
    outcome: &'static str,
    /// The same packet to further addresses of the target, each a document of its own.
    others: Vec<JsonPath>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct JsonWay {
    /// Why the packet may go another way; empty: it goes this way, or by another router that its sender may choose.
    doubts: Vec<&'static str>,
    delivered: bool,
    place: Option<String>,
    stopped: Option<&'static str>,
    replies: Option<&'static str>,
    packet: JsonPacket,
    steps: Vec<JsonStep>,
    /// The frames under it; none where layer 2 is assumed.
    frames: Vec<JsonFrames>,
}

#[derive(Serialize)]
struct JsonFrames {
    /// Number of the step that they lead to, from 1; one past the last: to the receiver.
    before_step: usize,
    /// Tags that the sender puts on, outermost first.
    sent: Vec<u16>,
    switches: Vec<JsonSwitch>,
    /// The interface that takes the frame; null: whatever may be plugged in.
    taken_by: Option<String>,
    at: String,
}

#[derive(Serialize)]
struct JsonSwitch {
    device: String,
    ingress: String,
    arrived: Vec<u16>,
    vlan: Option<u16>,
    admitted_by: Option<&'static str>,
    egress: String,
    left: Vec<u16>,
}

#[derive(Serialize)]
struct JsonStep {
    device: String,
    arrives_on: Option<String>,
    leaves_by: Option<String>,
    source_check_passed: Option<bool>,
    tried: Vec<JsonTry>,
    decision: Option<&'static str>,
    rule: Option<JsonRule>,
    packet: JsonPacket,
}

#[derive(Serialize)]
struct JsonTry {
    number: usize,
    mismatch: Option<&'static str>,
}

/// A path as a JSON document.
pub fn path_json(
    network: &Network<'_>,
    sources: &Sources,
    results: &[PathResult],
    notes: &[String],
) -> String {
    let mut documents = results
        .iter()
        .map(|result| document(network, sources, result, notes));
    let Some(mut worst) = documents.next() else {
        return String::new();
    };
    worst.others = documents.collect();
    to_text(&worst)
}

fn document(
    network: &Network<'_>,
    sources: &Sources,
    result: &PathResult,
    notes: &[String],
) -> JsonPath {
    let plan = network.plan(Family::of(result.packet.source));
    let site = network.site;
    let sender = match result.sender {
        Sender::Segment(segment) => site.segment(segment).name.value.clone(),
        Sender::Hostile(origin) => origin_name(site, &network.fabric, origin).into_owned(),
        Sender::Host(host) => site.host(host).name.value.clone(),
    };
    let ways = result.traces.iter().zip(&result.legs);
    JsonPath {
        document: "boundwalk-path",
        version: 1,
        sender,
        forged: result.forged,
        packet: json_packet(&result.packet),
        ways: ways
            .map(|(trace, legs)| json_way(network, plan, sources, (trace, legs)))
            .collect(),
        outcome: fate_text(result.best(network)),
        others: Vec::new(),
        notes: notes.to_vec(),
    }
}

fn json_way(
    network: &Network<'_>,
    plan: &Plan,
    sources: &Sources,
    (trace, legs): (&Trace, &[Option<Leg>]),
) -> JsonWay {
    let (place, stopped) = match trace.outcome {
        Outcome::Delivered(place) => (Some(place_name(network.site, place)), None),
        Outcome::Stopped(stop) => (None, Some(stop_text(stop))),
        Outcome::NotForwardable => (None, Some("no router forwards this source or destination")),
    };
    JsonWay {
        doubts: trace.doubts.iter().copied().map(doubt_text).collect(),
        delivered: place.is_some(),
        place,
        stopped,
        replies: trace.reply.as_ref().map(|reply| match reply {
            Reply::NotExpected => "not expected",
            Reply::Back(_) => "come back",
            Reply::HalfOpen(..) => "first answer only",
            Reply::Lost(_) => "do not come back",
        }),
        packet: json_packet(&trace.packet),
        steps: trace
            .steps
            .iter()
            .map(|step| json_step(network, plan, sources, step))
            .collect(),
        frames: legs
            .iter()
            .enumerate()
            .filter_map(|(number, leg)| Some((number, leg.as_ref()?)))
            .filter(|(_, leg)| !assumed(network, &leg.way))
            .map(|(number, leg)| json_frames(network, number, leg))
            .collect(),
    }
}

fn json_frames(network: &Network<'_>, number: usize, leg: &Leg) -> JsonFrames {
    let interface = leg
        .way
        .interface
        .map(|interface| network.fabric.interface(interface).of);
    let switches = leg.way.steps.iter().map(|step| JsonSwitch {
        device: node_name(network, step.node),
        ingress: port_name_of(network, step.ingress),
        arrived: step.arrived.clone(),
        vlan: step.vlan.map(|(vlan, _)| vlan.get()),
        admitted_by: step.vlan.map(|(_, why)| match why {
            Admitted::Pvid => "pvid",
            Admitted::Member => "member",
            Admitted::Unfiltered => "unfiltered",
        }),
        egress: port_name_of(network, step.egress),
        left: step.left.clone(),
    });
    JsonFrames {
        before_step: number + 1,
        sent: leg.way.sent.clone(),
        switches: switches.collect(),
        taken_by: interface.map(|interface| interface_name(network.site, interface)),
        at: port_name_of(network, leg.end.port),
    }
}

fn place_name(site: &Site, place: Place) -> String {
    match place {
        Place::Segment(segment) => site.segment(segment).name.value.clone(),
        Place::Router(router) => site.router(router).name.value.clone(),
    }
}

fn json_step(network: &Network<'_>, plan: &Plan, sources: &Sources, step: &Step) -> JsonStep {
    let site = network.site;
    let device = plan.device(step.device);
    let segment = |interface: usize| {
        site.segment(device.interfaces[interface].segment)
            .name
            .value
            .clone()
    };
    let (name, router) = match device.id {
        DeviceId::Router(router) => (site.router(router).name.value.clone(), Some(router)),
        DeviceId::Host(host) => (site.host(host).name.value.clone(), None),
    };
    let decision = step.decision.as_ref();
    let tried = decision.map_or(&[][..], |decision| &decision.tried);
    JsonStep {
        device: name,
        arrives_on: step.ingress.map(segment),
        leaves_by: step
            .route
            .and_then(|route| route.next_hop.interface())
            .map(segment),
        source_check_passed: step.source_check,
        tried: tried
            .iter()
            .map(|tried| JsonTry {
                number: tried.rule + 1,
                mismatch: tried.mismatch.map(mismatch_text),
            })
            .collect(),
        decision: decision.map(|decision| decision.action.word()),
        rule: decision
            .and_then(|decision| Some(json_rule(site, sources, (router?, decision.rule)))),
        packet: json_packet(&step.left),
    }
}
