//! A site as a graph in the DOT language (the grammar that Graphviz publishes).

use std::fmt::Write;

use crate::analysis::{Map, MapLink, MapNode};
use crate::model::{Forwards, Site, ZoneId};

use super::text::clean;

/// What the shapes mean; it stands below the graph.
const LEGEND: &str = "hexagon: gateway or router; box: switch; ellipse: segment (dashed: outside); rounded box: host; \
    bold line: the cables of a LAG";

/// A map as a graph. Segments stand in a cluster for each zone, the most trusted first, where no switch is drawn.
pub fn dot(site: &Site, map: &Map<'_>) -> String {
    let mut out = String::from(
        "graph site {\n  graph [rankdir=LR, fontname=\"sans-serif\", labelloc=b, nodesep=0.3, ranksep=1.4]\n",
    );
    let title = match site.name.is_empty() {
        true => LEGEND.to_owned(),
        false => format!("{}\n{LEGEND}", clean(&site.name)),
    };
    let _ = writeln!(out, "  label={}", lines(&title));
    out.push_str("  node [fontname=\"sans-serif\", fontsize=11]\n  edge [fontname=\"sans-serif\", fontsize=9, labeldistance=2]\n");
    let clustered = !map
        .nodes
        .iter()
        .any(|node| matches!(node, MapNode::Switch(_)));
    for (number, &node) in map.nodes.iter().enumerate() {
        if !clustered || node.zone(site).is_none() {
            let _ = writeln!(out, "  {}", node_line(site, number, node));
        }
    }
    if clustered {
        clusters(&mut out, site, map);
    }
    for link in &map.links {
        let _ = writeln!(out, "  {}", edge_line(link));
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
        let own = map
            .nodes
            .iter()
            .enumerate()
            .filter(|(_, node)| node.zone(site) == Some(zone));
        let own: Vec<_> = own.collect();
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
            let _ = writeln!(out, "    {}", node_line(site, number, node));
        }
        out.push_str("  }\n");
    }
}

fn node_line(site: &Site, number: usize, node: MapNode) -> String {
    let style = match node {
        MapNode::Router(_) => "shape=hexagon",
        MapNode::Switch(_) => "shape=box",
        MapNode::Segment(id) if site.segment(id).external => "shape=ellipse, style=dashed",
        MapNode::Segment(_) => "shape=ellipse",
        MapNode::Host(_) => "shape=box, style=rounded",
    };
    format!("n{number} [label={}, {style}]", quoted(&label(site, node)))
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

fn edge_line(link: &MapLink<'_>) -> String {
    let [near, far] = link.ends;
    let mut parts = Vec::new();
    for (side, place) in ["taillabel", "headlabel"].into_iter().enumerate() {
        if let Some(port) = link.ports[side] {
            parts.push(format!(
                "{place}={}",
                quoted(&port_text(port, &link.members[side]))
            ));
        }
    }
    parts.extend(link.label.map(|label| format!("label={}", quoted(label))));
    if link.members.iter().any(|members| !members.is_empty()) {
        parts.push("penwidth=4".to_owned());
    }
    format!("n{near} -- n{far} [{}]", parts.join(", "))
}

/// A port; of a LAG its members as well.
pub(super) fn port_text(port: &str, members: &[&str]) -> String {
    match members.is_empty() {
        true => port.to_owned(),
        false => format!("{port} (LAG of {})", members.join(", ")),
    }
}

/// A string of DOT. Quotation marks are escaped as the grammar says; a backslash would begin an escape of the
/// label, so it is doubled.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for character in clean(text).chars() {
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
