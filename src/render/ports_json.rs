//! Worksheets of switches as a JSON document.

use serde::Serialize;

use boundwalk_analysis::{
    Attached, Difference, Equipment, LinkMismatch, PortLine, Worksheet, accept_word, lacp_word,
};
use boundwalk_model::{Site, VlanId};

use super::json_text::to_text;
use super::ports_cells::{Worksheets, difference_kind, difference_text};

#[derive(Serialize)]
struct JsonPorts<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    switches: Vec<JsonSwitch<'a>>,
    differences: Vec<JsonDifference>,
}

#[derive(Serialize)]
struct JsonSwitch<'a> {
    name: &'a str,
    description: &'a str,
    vlan_aware: bool,
    vlans: Vec<JsonVlan<'a>>,
    ports: Vec<JsonPort<'a>>,
}

#[derive(Serialize)]
struct JsonVlan<'a> {
    vlan: u16,
    segment: Option<&'a str>,
}

#[derive(Serialize)]
struct JsonPort<'a> {
    name: &'a str,
    attached: Vec<JsonAttached<'a>>,
    mode: Option<&'static str>,
    /// Null: untagged frames are dropped, or the port has no VLANs of its own.
    pvid: Option<u16>,
    untagged: Option<Vec<u16>>,
    tagged: Option<Vec<u16>>,
    ingress_filter: Option<bool>,
    accepts: Option<&'static str>,
    isolated: bool,
    lag: Option<JsonLag<'a>>,
    member_of: Option<&'a str>,
    speed_mbits: Option<u32>,
    description: &'a str,
}

#[derive(Serialize)]
struct JsonAttached<'a> {
    device: &'a str,
    kind: &'static str,
    port: &'a str,
    interfaces: &'a [&'a str],
    label: Option<&'a str>,
}

#[derive(Serialize)]
struct JsonLag<'a> {
    members: &'a [&'a str],
    lacp: &'static str,
}

#[derive(Serialize)]
struct JsonDifference {
    kind: &'static str,
    ends: [String; 2],
    vlans: Vec<u16>,
    text: String,
}

/// Worksheets as a JSON document.
pub fn ports_json(sheets: &Worksheets<'_>) -> String {
    let site = sheets.site;
    let all = sheets.sheets.iter();
    let differences = sheets.differences.iter();
    to_text(&JsonPorts {
        document: "boundwalk-ports",
        version: 1,
        site: &site.name,
        switches: all.map(|sheet| json_switch(site, sheet)).collect(),
        differences: differences
            .map(|difference| json_difference(sheets, difference))
            .collect(),
    })
}

fn json_switch<'a>(site: &'a Site, sheet: &'a Worksheet<'a>) -> JsonSwitch<'a> {
    let switch = &site.switches[sheet.switch.0];
    let vlan = |(vlan, segment): &'a (VlanId, Option<String>)| JsonVlan {
        vlan: vlan.get(),
        segment: segment.as_deref(),
    };
    JsonSwitch {
        name: &switch.name.value,
        description: &switch.description,
        vlan_aware: switch.vlan_aware,
        vlans: sheet.vlans.iter().map(vlan).collect(),
        ports: sheet
            .lines
            .iter()
            .map(|line| json_port(site, line))
            .collect(),
    }
}

fn json_port<'a>(site: &'a Site, line: &'a PortLine<'a>) -> JsonPort<'a> {
    let vlans = line.vlans;
    let attached = line.attached.iter();
    JsonPort {
        name: line.name,
        attached: attached.map(|end| json_attached(site, end)).collect(),
        mode: Some(line.mode.word()).filter(|&word| word != "-"),
        pvid: vlans.and_then(|vlans| vlans.pvid).map(VlanId::get),
        untagged: vlans.map(|vlans| numbers(vlans.untagged.iter())),
        tagged: vlans.map(|vlans| numbers(vlans.tagged.iter())),
        ingress_filter: vlans.map(|vlans| vlans.ingress_filter),
        accepts: vlans.map(|vlans| accept_word(vlans.accept)),
        isolated: line.isolated,
        lag: line.lag.as_ref().map(|lag| JsonLag {
            members: &lag.members,
            lacp: lacp_word(lag.lacp),
        }),
        member_of: line.member_of,
        speed_mbits: line.speed.map(|speed| speed.0),
        description: line.description,
    }
}

fn json_attached<'a>(site: &'a Site, attached: &'a Attached<'a>) -> JsonAttached<'a> {
    let device = attached.end.device;
    JsonAttached {
        device: device.name(site),
        kind: match device {
            Equipment::Switch(_) => "switch",
            Equipment::Host(_) => "host",
            Equipment::Router(id) => match site.router(id).filter() {
                Some(_) => "gateway",
                None => "router",
            },
        },
        port: attached.end.port,
        interfaces: &attached.interfaces,
        label: attached.label,
    }
}

fn json_difference(sheets: &Worksheets<'_>, difference: &Difference<'_>) -> JsonDifference {
    let vlans = match &difference.what {
        LinkMismatch::OneEndOnly(_, vlans)
        | LinkMismatch::TaggedAtOneEnd(_, vlans)
        | LinkMismatch::Dropped(_, vlans) => vlans.clone(),
        LinkMismatch::Joins(_, vlan, _, into) => vec![*vlan, *into],
        _ => Vec::new(),
    };
    JsonDifference {
        kind: difference_kind(&difference.what),
        ends: difference.ends.map(|end| end.name(sheets.site)),
        vlans: numbers(vlans.into_iter()),
        text: difference_text(sheets, difference),
    }
}

fn numbers(vlans: impl Iterator<Item = VlanId>) -> Vec<u16> {
    vlans.map(VlanId::get).collect()
}
