//! A site as a tree of boxes on a terminal.

use std::collections::VecDeque;

use boundwalk_analysis::{ThingId, TopologyTree, TreeEdge};
use boundwalk_model::{RouterId, Site};

use super::draw_pen::Pen;
use super::draw_things::{Content, Things};
use super::text::width;

/// Least room for a box: what hangs deeper is drawn further below, at the left margin.
const LEAST: usize = 44;

/// A site as a drawing of boxes: the outside and gateways first, then what hangs on them, then what the tree has
/// no room for.
pub fn outline_text(site: &Site, topology_tree: &TopologyTree<'_>, pen: Pen) -> String {
    let things = Things {
        site,
        topology_tree,
        pen,
    };
    let mut drawing = Drawing {
        things,
        out: Vec::new(),
        later: VecDeque::new(),
    };
    if !site.name.is_empty() {
        let name = pen.wrap(&pen.text(&site.name), pen.text_style.columns);
        let strong = name.iter().map(|line| pen.text_style.strong(line));
        drawing.out.extend(strong);
        drawing.out.push(String::new());
    }
    for &root in &topology_tree.roots {
        drawing.tree(root, None);
        while let Some((tree_node, parent)) = drawing.later.pop_front() {
            drawing.tree(tree_node, Some(parent));
        }
    }
    drawing.rest();
    let mut text = drawing.out.join("\n");
    text.push('\n');
    text
}

struct Drawing<'a> {
    things: Things<'a>,
    out: Vec<String>,
    /// Limbs that hang too deep, with the text of what they hang on.
    later: VecDeque<(usize, String)>,
}

impl Drawing<'_> {
    fn tree(&mut self, root: usize, parent: Option<String>) {
        let pen = self.things.pen;
        if let Some(parent) = parent {
            let lines = pen.wrap(&format!("From above: {parent}"), pen.text_style.columns);
            self.out.extend(lines);
        }
        self.tree_node(root, "");
        self.out.push(String::new());
    }

    fn put(&mut self, prefix: &str, line: &str) {
        self.out
            .push(format!("{prefix}{line}").trim_end().to_owned());
    }

    /// A box and all that hangs on it. The depth is bounded by the width of the terminal.
    fn tree_node(&mut self, number: usize, prefix: &str) {
        let things = self.things;
        let (pen, topology_tree) = (things.pen, things.topology_tree);
        let room = pen
            .text_style
            .columns
            .saturating_sub(width(prefix) + 4)
            .max(20);
        let tree_node = &topology_tree.tree_nodes[number];
        let above = match tree_node.thing {
            ThingId::Router(id) => self.outside(id, prefix),
            _ => false,
        };
        let Content { lines, title } = match tree_node.thing {
            ThingId::Router(id) => things.router(id, room),
            ThingId::Switch(id) => things.switch(id, room),
            ThingId::Segment(id) => things.segment(id, room),
        };
        for line in pen.boxed(&lines, title, above, !tree_node.below.is_empty()) {
            self.put(prefix, &line);
        }
        for (at, &below) in tree_node.below.iter().enumerate() {
            self.branch(below, prefix, at + 1 == tree_node.below.len());
        }
    }

    /// What hangs on a box: how, and then its own box, where there is room for it.
    fn branch(&mut self, below: usize, prefix: &str, last: bool) {
        let pen = self.things.pen;
        let glyphs = pen.lines();
        let (down, across) = (glyphs.down, glyphs.across);
        let turn = if last { glyphs.last } else { glyphs.tees[0] };
        self.put(prefix, &format!("  {down}"));
        let deeper = if last {
            format!("{prefix}     ")
        } else {
            format!("{prefix}  {down}  ")
        };
        let Some(tree_edge) = &self.things.topology_tree.tree_nodes[below].tree_edge else {
            return;
        };
        let deep = width(&deeper) + LEAST > pen.text_style.columns;
        let mut shown = self.tree_edge(tree_edge);
        if deep {
            shown.push_str(" (further below)");
        }
        let room = pen.text_style.columns.saturating_sub(width(&deeper));
        for (row, line) in pen.wrap(&shown, room).iter().enumerate() {
            match row {
                0 => self.put(prefix, &format!("  {turn}{across} {line}")),
                _ => self.put(&deeper, line),
            }
        }
        if deep {
            self.later.push_back((below, self.named_joint(tree_edge)));
        } else {
            self.tree_node(below, &deeper);
        }
    }

    /// External segments that a gateway or router leads out to, over its box. Tells whether there are any.
    fn outside(&mut self, id: RouterId, prefix: &str) -> bool {
        let things = self.things;
        let (pen, site) = (things.pen, things.site);
        let out: Vec<_> = site
            .router(id)
            .interfaces
            .iter()
            .filter(|on| site.segment(on.segment).external)
            .collect();
        let down = pen.lines().down;
        for interface in &out {
            let name = pen.text(&site.segment(interface.segment).name.value);
            let what = things.outside(interface.segment);
            let room = pen.text_style.columns.saturating_sub(width(prefix));
            for line in pen.beside(&format!("{name}  "), &what, room) {
                self.put(prefix, &line);
            }
            let port = interface.port.as_ref();
            let port = port.map_or_else(String::new, |port| format!("port {}, ", port.value));
            let label = pen.text(&format!("{port}interface {}", interface.name.value));
            let room = room.saturating_sub(4);
            for line in pen.wrap(&label, room) {
                self.put(prefix, &format!("  {down} {line}"));
            }
        }
        !out.is_empty()
    }

    /// `trunk -- green -- core:uplink`.
    fn tree_edge(&self, tree_edge: &TreeEdge<'_>) -> String {
        let (site, pen) = (self.things.site, self.things.pen);
        let line = pen.lines().across;
        match tree_edge {
            TreeEdge::Cable([near, far], label) => {
                let (port, far) = (pen.text(near.port), pen.text(&far.name(site)));
                match label {
                    Some(label) => {
                        let label = pen.text(label);
                        format!("{port} {line}{line} {label} {line}{line} {far}")
                    }
                    None => format!("{port} {line}{line} {far}"),
                }
            }
            TreeEdge::Interface(_, interface, _) => pen.text(&format!("interface {interface}")),
        }
    }

    /// `edge:trunk -- green -- core:uplink`.
    fn named_joint(&self, tree_edge: &TreeEdge<'_>) -> String {
        let (site, pen) = (self.things.site, self.things.pen);
        match tree_edge {
            TreeEdge::Cable([near, _], _) => {
                let near = pen.text(near.device.name(site));
                format!("{near}:{}", self.tree_edge(tree_edge))
            }
            TreeEdge::Interface(router, interface, segment) => {
                let router = &site.router(*router).name.value;
                let segment = &site.segment(*segment).name.value;
                pen.text(&format!(
                    "{router} interface {interface}, segment {segment}"
                ))
            }
        }
    }

    /// What the tree leaves out.
    fn rest(&mut self) {
        let things = self.things;
        let (pen, site, topology_tree) = (things.pen, things.site, things.topology_tree);
        let columns = pen.text_style.columns;
        if !topology_tree.extra.is_empty() {
            self.out
                .push("Besides the tree (loops, second ways):".to_owned());
            for tree_edge in &topology_tree.extra {
                let text = self.named_joint(tree_edge);
                self.out.extend(pen.beside("  ", &text, columns));
            }
            self.out.push(String::new());
        }
        let mut loose = Vec::new();
        for id in site.segment_ids() {
            let hosts = &topology_tree.loose[id.0];
            if !hosts.is_empty() && !topology_tree.shows(ThingId::Segment(id)) {
                let segment = pen.text(&site.segment(id).name.value);
                loose.push(format!(
                    "{segment}: {}",
                    things.hosts(hosts.iter().copied())
                ));
            }
        }
        if !loose.is_empty() {
            self.out
                .push("Hosts without a cable in the file:".to_owned());
            for line in loose {
                self.out.extend(pen.beside("  ", &line, columns));
            }
            self.out.push(String::new());
        }
        let several = |host: &boundwalk_model::Host| host.interfaces.len() > 1;
        if site.hosts.iter().any(several) {
            self.out.push("* has several interfaces".to_owned());
        } else {
            drop(self.out.pop_if(|line| line.is_empty()));
        }
    }
}
