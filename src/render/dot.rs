//! A site as a graph in the DOT language (the grammar that Graphviz publishes).

use std::fmt::Write;

use boundwalk_analysis::{Map, MapLink, MapNode};
use boundwalk_model::{Forwards, Site, ZoneId};

use super::text::escape_control;

/// What the shapes mean; it stands below the graph.
const LEGEND: &str = "box with fields: a gateway, router or switch and its ports; rounded: a host; ellipse: a segment \
    (dashed: outside); bold line: the cables of a LAG";

/// A map as a graph. Segments stand in a cluster for each zone, the most trusted first, where no switch is drawn.
pub fn dot(site: &Site, map: &Map<'_>) -> String {
    let mut out = String::from(
        "graph site {\n  graph [rankdir=LR, fontname=\"sans-serif\", labelloc=b, nodesep=0.3, ranksep=1.4]\n",
    );
    let title = if site.name.is_empty() {
        LEGEND.to_owned()
    } else {
        format!("{}\n{LEGEND}", escape_control(&site.name))
    };
    let _ = writeln!(out, "  label={}", lines(&title));
    out.push_str("  node [fontname=\"sans-serif\", fontsize=11]\n  edge [fontname=\"sans-serif\", fontsize=9]\n");
    let clustered = !map
        .nodes
        .iter()
        .any(|node| matches!(node, MapNode::Switch(_)));
    for (number, &node) in map.nodes.iter().enumerate() {
        if !clustered || node.zone(site).is_none() {
            let _ = writeln!(
                out,
                "  {}",
                node_line(site, number, node, &fields(map, number))
            );
        }
    }
    if clustered {
        clusters(&mut out, site, map);
    }
    for (number, link) in map.links.iter().enumerate() {
        let _ = writeln!(out, "  {}", edge_line(map, number, link));
    }
    out.push_str("}\n");
    out
}

/// Zones by trust, the most trusted first.
pub(super) fn by_trust(site: &Site) -> Vec<ZoneId> {
    let mut zones: Vec<ZoneId> = (0..site.zones.len()).map(ZoneId).collect();
    zones.sort_by_key(|&zone| std::cmp::Reverse(site.zone(zone).trust));
    zones
}

fn clusters(out: &mut String, site: &Site, map: &Map<'_>) {
    for zone in by_trust(site) {
        let own: Vec<_> = map
            .nodes
            .iter()
            .enumerate()
            .filter(|(_, node)| node.zone(site) == Some(zone))
            .collect();
        if own.is_empty() {
            continue;
        }
        let title = format!(
            "{} (trust {})",
            site.zone(zone).name.value,
            site.zone(zone).trust
        );
        let _ = writeln!(
            out,
            "  subgraph cluster_{} {{\n    label={}",
            zone.0,
            quoted(&title)
        );
        for (number, &node) in own {
            let _ = writeln!(out, "    {}", node_line(site, number, node, &[]));
        }
        out.push_str("  }\n");
    }
}

/// Whether the ends of links are fields of a node: a segment has no ports, and one port of a host needs no name.
fn has_fields(map: &Map<'_>, node: usize) -> bool {
    match map.nodes[node] {
        MapNode::Router(_) | MapNode::Switch(_) => true,
        MapNode::Segment(_) => false,
        MapNode::Host(_) => ends(map, node).nth(1).is_some(),
    }
}

/// Links that end at a node, with the side.
fn ends<'m>(map: &'m Map<'_>, node: usize) -> impl Iterator<Item = (usize, usize)> + 'm {
    let links = map.links.iter().enumerate();
    let sides =
        links.flat_map(|(number, link)| [(number, 0, link.ends[0]), (number, 1, link.ends[1])]);
    sides
        .filter(move |&(.., end)| end == node)
        .map(|(number, side, _)| (number, side))
}

/// A field for each end of a link at a node.
fn fields(map: &Map<'_>, node: usize) -> Vec<(String, String)> {
    if !has_fields(map, node) {
        return Vec::new();
    }
    let one = |(number, side): (usize, usize)| {
        let link = &map.links[number];
        let text = link.ports[side].map(|port| port_text(port, &link.members[side]));
        (field(number, side), text.unwrap_or_default())
    };
    ends(map, node).map(one).collect()
}

/// The name of the field at an end of a link.
fn field(link: usize, side: usize) -> String {
    format!("l{link}{}", ["a", "b"][side])
}

fn node_line(site: &Site, number: usize, node: MapNode, fields: &[(String, String)]) -> String {
    let name = label(site, node);
    let (what, style) = match node {
        MapNode::Router(id) if site.router(id).filter().is_none() => ("router", "shape=record"),
        MapNode::Router(_) => ("gateway", "shape=record"),
        MapNode::Switch(_) => ("switch", "shape=record"),
        MapNode::Segment(id) if site.segment(id).external => ("", "shape=ellipse, style=dashed"),
        MapNode::Segment(_) => ("", "shape=ellipse"),
        MapNode::Host(_) if fields.is_empty() => ("", "shape=box, style=rounded"),
        MapNode::Host(_) => ("", "shape=Mrecord"),
    };
    if !style.contains("ecord") {
        return format!("n{number} [label={}, {style}]", quoted(&name));
    }
    let mut text = record(&name);
    if !what.is_empty() {
        let _ = write!(text, "\\n{what}");
    }
    for (field, port) in fields {
        let _ = write!(text, "|<{field}> {}", record(port));
    }
    format!("n{number} [label=\"{text}\", {style}]")
}

/// A text in a label with fields: what would begin or end a field is escaped, as the language says of such labels.
fn record(text: &str) -> String {
    let mut out = String::new();
    for character in escape_control(text).chars() {
        if matches!(character, '{' | '}' | '|' | '<' | '>' | '"' | '\\') {
            out.push('\\');
        }
        out.push(character);
    }
    out
}

/// What stands in a node: its name, and what it does or which VLAN it is.
pub(super) fn label(site: &Site, node: MapNode) -> String {
    let name = node.name(site);
    match node {
        MapNode::Segment(id) => match &site.segment(id).vlan {
            Some(vlan) => format!("{name} (VLAN {})", vlan.value),
            None => name.to_owned(),
        },
        MapNode::Host(id) => match site.host(id).forwards.value {
            Forwards::No => name.to_owned(),
            Forwards::Routes => format!("{name} (routes)"),
            Forwards::Bridges => format!("{name} (bridges)"),
        },
        MapNode::Router(_) | MapNode::Switch(_) => name.to_owned(),
    }
}

fn edge_line(map: &Map<'_>, number: usize, link: &MapLink<'_>) -> String {
    let [near, far] = [0, 1].map(|side| {
        if has_fields(map, link.ends[side]) {
            format!("n{}:{}", link.ends[side], field(number, side))
        } else {
            format!("n{}", link.ends[side])
        }
    });
    let mut parts: Vec<String> = link
        .label
        .iter()
        .map(|label| format!("label={}", quoted(label)))
        .collect();
    if link.members.iter().any(|members| !members.is_empty()) {
        parts.push("penwidth=4".to_owned());
    }
    format!("{near} -- {far} [{}]", parts.join(", "))
}

/// A port; of a LAG its members as well.
pub(super) fn port_text(port: &str, members: &[&str]) -> String {
    if members.is_empty() {
        port.to_owned()
    } else {
        format!("{port} (LAG of {})", members.join(", "))
    }
}

/// A string of DOT. Quotation marks are escaped as the grammar says; a backslash would begin an escape of the
/// label, so it is doubled.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for character in escape_control(text).chars() {
        if matches!(character, '"' | '\\') {
            out.push('\\');
        }
        out.push(character);
    }
    out.push('"');
    out
}

/// The same for lines of ours.
fn lines(text: &str) -> String {
    let parts: Vec<String> = text.split('\n').map(quoted).collect();
    parts.join(" + \"\\n\" + ")
}
