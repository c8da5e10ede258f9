//! A site as a Mermaid flowchart, for pages that draw such text.

use std::fmt::Write;

use boundwalk_analysis::{Map, MapLink, MapNode};
use boundwalk_model::Site;

use super::dot::{by_trust, label, port_text};
use super::text::escape_control;

/// What the shapes mean.
const LEGEND: &str = "hexagon: gateway or router - box: switch - stadium: segment - rounded box: host - thick line: LAG";

/// A map as a flowchart. Segments stand in a subgraph for each zone, the most trusted first, where no switch is drawn.
pub fn mermaid(site: &Site, map: &Map<'_>) -> String {
    let mut out = String::from("flowchart LR\n");
    let grouped = !map
        .nodes
        .iter()
        .any(|node| matches!(node, MapNode::Switch(_)));
    for (number, &node) in map.nodes.iter().enumerate() {
        if !grouped || node.zone(site).is_none() {
            let _ = writeln!(out, "  {}", node_line(site, number, node));
        }
    }
    for zone in by_trust(site).into_iter().filter(|_| grouped) {
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
        let _ = writeln!(out, "  subgraph z{}[{}]", zone.0, quoted(&title));
        for (number, &node) in own {
            let _ = writeln!(out, "    {}", node_line(site, number, node));
        }
        out.push_str("  end\n");
    }
    for link in &map.links {
        let _ = writeln!(out, "  {}", link_line(link));
    }
    let _ = writeln!(out, "  legend[{}]", quoted(LEGEND));
    out
}

fn link_line(link: &MapLink<'_>) -> String {
    let lag = link.members.iter().any(|members| !members.is_empty());
    let line = if lag { "===" } else { "---" };
    let ports =
        [0, 1].map(|side| link.ports[side].map(|port| port_text(port, &link.members[side])));
    let [near, far] = ports.map(Option::unwrap_or_default);
    let mut text = match (near.is_empty(), far.is_empty()) {
        (_, true) => near,
        (true, _) => far,
        _ => format!("{near} - {far}"),
    };
    if let Some(label) = link.label {
        let _ = write!(text, ", {label}");
    }
    let [one, other] = link.ends;
    if text.is_empty() {
        format!("n{one} {line} n{other}")
    } else {
        format!("n{one} {line}|{}| n{other}", quoted(&text))
    }
}

fn node_line(site: &Site, number: usize, node: MapNode) -> String {
    let text = quoted(&label(site, node));
    match node {
        MapNode::Router(_) => format!("n{number}{{{{{text}}}}}"),
        MapNode::Switch(_) => format!("n{number}[{text}]"),
        MapNode::Segment(_) => format!("n{number}([{text}])"),
        MapNode::Host(_) => format!("n{number}({text})"),
    }
}

/// A text in quotation marks: all that the language could take for its own stands as an entity.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for character in escape_control(text).chars() {
        match character {
            '"' => out.push_str("#quot;"),
            '#' => out.push_str("#35;"),
            '<' => out.push_str("#lt;"),
            '>' => out.push_str("#gt;"),
            '&' => out.push_str("#amp;"),
            '`' | '*' | '_' | '|' | '\\' | '{' | '}' | '[' | ']' | ';' => {
                let _ = write!(out, "#{};", u32::from(character));
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn nothing_in_a_name_ends_its_quotation() {
        assert_eq!(
            quoted("a\"]-->b #1|`x`"),
            "\"a#quot;#93;--#gt;b #35;1#124;#96;x#96;\""
        );
    }
}
