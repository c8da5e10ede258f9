//! What stands in the boxes of a drawing: gateways with their ports, switches with their VLANs, segments.

use std::collections::BTreeMap;

use rustc_hash::FxHashSet;

use boundwalk_analysis::{Seated, TopologyTree, VlanRow, lacp_word, vlan_ranges};
use boundwalk_model::{Forwards, HostId, Interface, Router, RouterId, SegmentId, Site, SwitchId};

use super::draw_pen::{Pen, glued};
use super::text::width;

/// Widest column of names in a box.
const NAMES: usize = 18;

/// Least room for hosts behind the other columns of a switch's VLANs, and what parts these columns.
const LEAST_HOSTS: usize = 18;

/// What is drawn, and with what.
#[derive(Clone, Copy)]
pub(super) struct Things<'a> {
    pub(super) site: &'a Site,
    pub(super) topology_tree: &'a TopologyTree<'a>,
    pub(super) pen: Pen,
}

/// Lines of a box, the first so many of them its title.
pub(super) struct Content {
    pub(super) lines: Vec<String>,
    pub(super) title: usize,
}

impl Things<'_> {
    fn titled(&self, name: &str, what: &str, description: &str, room: usize) -> Content {
        let name = self.pen.text(name);
        let mut lines = if width(&name) > NAMES {
            self.pen.wrap(&format!("{name}  {what}"), room)
        } else {
            self.pen.beside(&format!("{name}  "), what, room)
        };
        let title = lines.len();
        if !description.is_empty() {
            lines.extend(self.pen.wrap(&self.pen.text(description), room));
        }
        Content { lines, title }
    }

    /// A gateway or router: its ports with the interfaces on them, and hosts plugged into it.
    pub(super) fn router(&self, id: RouterId, room: usize) -> Content {
        let router = self.site.router(id);
        let what = match router.filter() {
            Some(_) => "gateway",
            None => "router",
        };
        let mut content = self.titled(&router.name.value, what, &router.description, room);
        let mut rows: Vec<(String, String)> = Vec::new();
        for (port, interfaces) in by_port(router) {
            self.port_rows(router, port, &interfaces, &mut rows);
        }
        let mut hosts: BTreeMap<&str, Vec<Seated<'_>>> = BTreeMap::new();
        for seated in &self.topology_tree.at_router[id.0] {
            hosts.entry(seated.port).or_default().push(*seated);
        }
        for (port, seated) in hosts {
            rows.push((
                self.pen.text(port),
                self.hosts(seated.iter().map(|at| at.host)),
            ));
        }
        let column = rows
            .iter()
            .map(|(name, _)| width(name))
            .max()
            .unwrap_or(0)
            .min(NAMES);
        for (name, text) in rows {
            let first = match column {
                0 => String::new(),
                _ => format!("{}  ", self.pen.fit(&name, column)),
            };
            content.lines.extend(self.pen.beside(&first, &text, room));
        }
        content
    }

    fn port_rows(
        &self,
        router: &Router,
        port: Option<&str>,
        interfaces: &[&Interface],
        rows: &mut Vec<(String, String)>,
    ) {
        let mut name = port.map_or_else(String::new, |port| self.pen.text(port));
        let mut lags = router.lags.iter();
        if let Some(lag) = lags.find(|lag| Some(lag.name.value.as_str()) == port) {
            let members: Vec<&str> = lag.ports.iter().map(|port| port.value.as_str()).collect();
            let members = self.pen.text(&members.join(", "));
            let text = format!("LAG of {members}; LACP {}", lacp_word(lag.lacp));
            rows.push((std::mem::take(&mut name), text));
        }
        let bare: Vec<String> = interfaces
            .iter()
            .filter(|on| on.vlan.is_none())
            .map(|on| self.interface(on))
            .collect();
        let tagged: Vec<String> = interfaces
            .iter()
            .filter_map(|on| Some(format!("{} {}", on.vlan?, self.interface(on))))
            .collect();
        let word = match (port, tagged.is_empty()) {
            (_, false) => "untagged: ",
            (None, true) => "interfaces: ",
            (Some(_), true) => "",
        };
        for (word, list) in [(word, bare), ("tagged: ", tagged)] {
            if !list.is_empty() {
                let text = format!("{word}{}", glued(&list));
                rows.push((std::mem::take(&mut name), text));
            }
        }
    }

    /// An interface with its segment, where that has another name.
    fn interface(&self, interface: &Interface) -> String {
        let segment = &self.site.segment(interface.segment).name.value;
        let name = &interface.name.value;
        if segment == name {
            self.pen.text(name)
        } else {
            self.pen.text(&format!("{name} ({segment})"))
        }
    }

    /// A switch: its VLANs with access ports and hosts.
    pub(super) fn switch(&self, id: SwitchId, room: usize) -> Content {
        let switch = &self.site.switches[id.0];
        let off = switch.ports.iter().filter(|port| !port.enabled).count();
        let mut what = match switch.ports.len() {
            1 => "switch, 1 port".to_owned(),
            count => format!("switch, {count} ports"),
        };
        if off > 0 {
            what.push_str(&format!(", {off} off"));
        }
        if !switch.vlan_aware {
            what.push_str(", knows no VLANs");
        }
        let mut content = self.titled(&switch.name.value, &what, &switch.description, room);
        let rows = &self.topology_tree.rows[id.0];
        if rows.iter().any(|row| row.vlan.is_some()) {
            content.lines.extend(self.vlan_rows(rows, room));
            return content;
        }
        for row in rows {
            let hosts = self.hosts(row.hosts.iter().map(|at| at.host));
            content
                .lines
                .extend(self.pen.beside("hosts: ", &hosts, room));
        }
        content
    }

    /// The VLANs of a switch as a table, where there is room for one.
    fn vlan_rows(&self, rows: &[VlanRow<'_>], room: usize) -> Vec<String> {
        // A trunk may carry thousands of VLANs that nobody has named.
        let idle = |row: &&VlanRow<'_>| {
            row.vlan.is_some() && row.segment.is_none() && row.access == 0 && row.hosts.is_empty()
        };
        let (idle, rows): (Vec<_>, Vec<_>) = rows.iter().partition(idle);
        let header = ["VLAN", "segment", "access ports", "hosts"].map(str::to_owned);
        let mut cells = vec![header];
        cells.extend(rows.iter().map(|row| self.vlan_cells(row)));
        let widest = |at: usize| cells.iter().map(|row| width(&row[at])).max().unwrap_or(0);
        let (segment, access) = (widest(1).min(NAMES), widest(2));
        let mut lines = Vec::new();
        if segment + access + LEAST_HOSTS > room {
            let rows = cells.iter().skip(1);
            lines.extend(rows.flat_map(|row| self.vlan_sentence(row, room)));
        } else {
            for [vlan, name, ports, hosts] in &cells {
                let name = self.pen.fit(name, segment);
                let first = format!("{vlan:>4}  {name}  {}  ", self.pen.fit(ports, access));
                lines.extend(self.pen.beside(&first, hosts, room));
            }
        }
        if !idle.is_empty() {
            let list = vlan_ranges(idle.iter().filter_map(|row| row.vlan)).join(", ");
            lines.extend(self.pen.beside("without a segment: ", &list, room));
        }
        lines
    }

    fn vlan_cells(&self, row: &VlanRow<'_>) -> [String; 4] {
        let name = match row.vlan {
            None => "no VLAN".to_owned(),
            Some(_) => {
                let name = row.segment.as_deref();
                name.map_or_else(|| "-".to_owned(), |name| self.pen.text(name))
            }
        };
        let ports = match (row.access, row.open) {
            (0, _) => String::new(),
            (access, 0) => access.to_string(),
            (access, open) => format!("{access}, {open} open"),
        };
        let vlan = row.vlan.map_or_else(String::new, |vlan| vlan.to_string());
        [
            vlan,
            name,
            ports,
            self.hosts(row.hosts.iter().map(|at| at.host)),
        ]
    }

    fn vlan_sentence(&self, [vlan, name, ports, hosts]: &[String; 4], room: usize) -> Vec<String> {
        let mut text = format!("{vlan} {name}").trim_start().to_owned();
        for (word, list) in [("access ports", ports), ("hosts", hosts)] {
            if !list.is_empty() {
                text.push_str(&format!("; {word} {list}"));
            }
        }
        self.pen.beside("- ", &text, room)
    }

    /// A segment that no switch carries.
    pub(super) fn segment(&self, id: SegmentId, room: usize) -> Content {
        let segment = self.site.segment(id);
        let mut content = self.titled(&segment.name.value, &self.outside(id), "", room);
        let hosts = &self.topology_tree.loose[id.0];
        if !hosts.is_empty() {
            let hosts = self.hosts(hosts.iter().copied());
            content
                .lines
                .extend(self.pen.beside("hosts: ", &hosts, room));
        }
        content
    }

    /// What a segment is, with its prefixes.
    pub(super) fn outside(&self, id: SegmentId) -> String {
        let segment = self.site.segment(id);
        let mut parts = vec![
            if segment.external {
                "external"
            } else {
                "segment"
            }
            .to_owned(),
        ];
        parts.extend(segment.vlan.map(|vlan| format!("VLAN {}", vlan.value)));
        parts.extend(
            segment
                .prefixes
                .iter()
                .map(|prefix| prefix.value.to_string()),
        );
        parts.join(", ")
    }

    /// Hosts by name, each once: a star where it has several interfaces, and what it forwards.
    pub(super) fn hosts(&self, hosts: impl Iterator<Item = HostId>) -> String {
        let mut seen = FxHashSet::default();
        let listed = hosts.filter(|&host| seen.insert(host));
        let one = |id: HostId| {
            let host = self.site.host(id);
            let name = self.pen.text(&host.name.value);
            let star = if host.interfaces.len() > 1 { "*" } else { "" };
            let forwards = match host.forwards.value {
                Forwards::No => "",
                Forwards::Routes => " (routes)",
                Forwards::Bridges => " (bridges)",
            };
            format!("{name}{star}{forwards}")
        };
        glued(&listed.map(one).collect::<Vec<_>>())
    }
}

/// Interfaces by port, ports in the order in which interfaces name them.
pub(super) fn by_port(router: &Router) -> Vec<(Option<&str>, Vec<&Interface>)> {
    let mut ports: Vec<(Option<&str>, Vec<&Interface>)> = Vec::new();
    for interface in &router.interfaces {
        let port = interface.port.as_ref().map(|port| port.value.as_str());
        match ports.iter_mut().find(|(known, _)| *known == port) {
            Some((_, interfaces)) => interfaces.push(interface),
            None => ports.push((port, vec![interface])),
        }
    }
    ports
}
