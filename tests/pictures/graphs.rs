//! DOT through Graphviz and Mermaid through a reader of lines: is each thing and each cable there once?

use std::io::Write;
use std::process::{Command, Stdio};

use boundwalk::analysis::{Cabling, Map};
use boundwalk::forwarding::layer2::Fabric;
use boundwalk::load::load_text;
use boundwalk::model::Site;
use boundwalk::render::{dot, mermaid};

use crate::hostile_site::{HOSTILE, widest_names, with_text};
use crate::made::demo;
use crate::random_fabric::random_fabric;
use crate::random_site::random_site;

fn site(text: &str) -> Site {
    let loaded = load_text("generated.toml", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:?}", loaded.problems.first()))
}

fn sites() -> Vec<Site> {
    let drawn = (0..40).flat_map(|seed| [random_fabric(seed), random_site(seed)]);
    let wild = HOSTILE.map(|text| with_text(&demo(), text).0);
    drawn
        .chain([demo(), widest_names()])
        .chain(wild)
        .map(|text| site(&text))
        .collect()
}

fn maps<'s>(site: &'s Site, cabling: &Cabling<'s>) -> [Map<'s>; 2] {
    [Map::physical(site, cabling), Map::logical(site)]
}

/// The graph as Graphviz lays it out, in its line format; `None` where the program is missing.
pub fn laid_out(graph: &str) -> Option<String> {
    let mut child = match Command::new("dot")
        .args(["-Tplain"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
    {
        Ok(child) => child,
        Err(error) => {
            crate::skipped::skip("Graphviz", &error);
            return None;
        }
    };
    let mut input = child.stdin.take().expect("a pipe");
    input.write_all(graph.as_bytes()).expect("it reads");
    drop(input);
    let output = child.wait_with_output().expect("it ends");
    let errors = String::from_utf8_lossy(&output.stderr);
    // It warns where a font is missing; all else is about the graph.
    assert!(output.status.success(), "{errors}\n{graph}");
    for word in ["syntax", "unrecognized", "bad label", "not accepted"] {
        assert!(!errors.contains(word), "{errors}\n{graph}");
    }
    Some(String::from_utf8(output.stdout).expect("UTF-8"))
}

#[test]
fn graphviz_sees_each_thing_and_each_cable_once() {
    let (mut nodes, mut links) = (0, 0);
    for site in sites() {
        let fabric = Fabric::new(&site);
        let cabling = Cabling::new(&site, &fabric);
        for map in maps(&site, &cabling) {
            let Some(plain) = laid_out(&dot(&site, &map)) else {
                return;
            };
            let count = |word: &str| plain.lines().filter(|line| line.starts_with(word)).count();
            assert_eq!(count("node "), map.nodes.len(), "{plain}");
            assert_eq!(count("edge "), map.links.len(), "{plain}");
            for node in &map.nodes {
                assert!(plain.contains(node.name(&site)), "{plain}");
            }
            nodes += map.nodes.len();
            links += map.links.len();
        }
    }
    assert!(nodes > 400 && links > 300, "{nodes} nodes, {links} links");
}

/// Nodes and links of a flow chart: a line each, `n1[...]` and `n1 --- n2`.
pub fn flow_chart(text: &str) -> (usize, usize) {
    let mut lines = text.lines();
    let header = lines.find(|line| line.starts_with("flowchart"));
    assert!(header.is_some(), "{text}");
    let (mut nodes, mut links) = (0, 0);
    for line in lines.map(str::trim) {
        let rest = line.strip_prefix('n').unwrap_or("");
        let behind = rest.trim_start_matches(|c: char| c.is_ascii_digit());
        match behind.get(..2) {
            _ if behind == rest => {}
            Some(" -" | " =") => links += 1,
            _ => nodes += 1,
        }
        // What a name holds stands in quotation marks, and they are paired.
        assert!(line.matches('"').count() % 2 == 0, "{line}");
    }
    (nodes, links)
}

#[test]
fn a_flow_chart_has_each_thing_and_each_cable_once() {
    for site in sites() {
        let fabric = Fabric::new(&site);
        let cabling = Cabling::new(&site, &fabric);
        for map in maps(&site, &cabling) {
            let text = mermaid(&site, &map);
            let counts = (map.nodes.len(), map.links.len());
            assert_eq!(flow_chart(&text), counts, "{text}");
        }
    }
}
