//! What is joined to what, for programs and as a page.

use serde::Serialize;

use boundwalk_analysis::{Map, MapLink, MapNode};
use boundwalk_model::Site;

use super::document::{Document, Rank, Table};
use super::json_text::to_text;
use super::mermaid::mermaid;

#[derive(Serialize)]
struct JsonMap<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    nodes: Vec<JsonNode<'a>>,
    links: Vec<JsonLink<'a>>,
}

#[derive(Serialize)]
struct JsonNode<'a> {
    kind: &'static str,
    name: &'a str,
    zone: Option<&'a str>,
}

#[derive(Serialize)]
struct JsonLink<'a> {
    ends: [JsonEnd<'a>; 2],
    label: Option<&'a str>,
}

#[derive(Serialize)]
struct JsonEnd<'a> {
    node: &'a str,
    port: Option<&'a str>,
    /// Ports of a LAG.
    members: &'a [&'a str],
}

/// A map for programs: each thing once, and what joins two of them.
pub fn map_json(site: &Site, map: &Map<'_>) -> String {
    let nodes = map.nodes.iter().map(|&node| JsonNode {
        kind: kind(site, node),
        name: node.name(site),
        zone: node
            .zone(site)
            .map(|zone| site.zone(zone).name.value.as_str()),
    });
    let links = map.links.iter().map(|link| JsonLink {
        ends: [0, 1].map(|side| JsonEnd {
            node: map.nodes[link.ends[side]].name(site),
            port: link.ports[side],
            members: &link.members[side],
        }),
        label: link.label,
    });
    to_text(&JsonMap {
        document: "boundwalk-map",
        version: 1,
        site: &site.name,
        nodes: nodes.collect(),
        links: links.collect(),
    })
}

fn kind(site: &Site, node: MapNode) -> &'static str {
    match node {
        MapNode::Router(id) if site.router(id).filter().is_some() => "gateway",
        MapNode::Router(_) => "router",
        MapNode::Switch(_) => "switch",
        MapNode::Segment(_) => "segment",
        MapNode::Host(_) => "host",
    }
}

/// A map as a page: a flowchart that many readers draw, and the same as a table for the others.
pub fn map_page<'a>(site: &'a Site, map: &Map<'_>) -> Document<'a> {
    let mut out = Document::new("What is joined to what", &site.name);
    out.code("mermaid", 0, mermaid(site, map));
    out.heading(Rank::Answer, "Cables and interfaces");
    let rows = map.links.iter().map(|link| {
        let [near, far] = [0, 1].map(|side| end(site, map, link, side));
        vec![near, far, link.label.unwrap_or_default().to_owned()]
    });
    out.table(Table::of_texts(&["from", "to", "label"], rows.collect()));
    out
}

/// `core:uplink (27, 28)`.
fn end(site: &Site, map: &Map<'_>, link: &MapLink<'_>, side: usize) -> String {
    let name = map.nodes[link.ends[side]].name(site);
    let port = link.ports[side].map(|port| format!(":{port}"));
    let port = port.unwrap_or_default();
    if link.members[side].is_empty() {
        format!("{name}{port}")
    } else {
        format!("{name}{port} ({})", link.members[side].join(", "))
    }
}
