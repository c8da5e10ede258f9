//! What a picture of a site is made of.

use std::collections::BTreeMap;

use boundwalk_analysis::{CableEnd, Cabling, Equipment, ThingId, TreeEdge, lacp_word};
use boundwalk_model::{Interface, RouterId, Site, SwitchId};

use super::super::draw_things::{Things, by_port};
use super::card::{Card, Row};
use super::trail::Trail;

/// What the picture is made from.
pub(super) struct SitePicture<'a> {
    pub(super) things: Things<'a>,
    pub(super) cabling: &'a Cabling<'a>,
    pub(super) trail: Option<&'a Trail<'a>>,
}

/// A line between two boxes, with its texts.
pub(super) struct PictureLink {
    pub(super) class: String,
    pub(super) above: String,
    pub(super) below: String,
    pub(super) hot: bool,
}

impl SitePicture<'_> {
    pub(super) fn site(&self) -> &Site {
        self.things.site
    }

    fn notes(&self, device: Equipment) -> Vec<String> {
        self.trail
            .map_or_else(Vec::new, |trail| trail.notes_of(device))
    }

    pub(super) fn card(&self, thing: ThingId) -> Card {
        match thing {
            ThingId::Router(id) => self.router(id),
            ThingId::Switch(id) => self.switch(id),
            ThingId::Segment(id) => {
                let segment = self.site().segment(id);
                let hosts = &self.things.topology_tree.loose[id.0];
                let hosts = self.hosts(hosts.iter().copied());
                let rows = if hosts.is_empty() {
                    vec![]
                } else {
                    vec![row("", "", &hosts)]
                };
                let what = self.things.outside(id);
                Card::new("card", &segment.name.value, &what, rows, &[])
            }
        }
    }

    fn hosts(&self, hosts: impl Iterator<Item = boundwalk_model::HostId>) -> String {
        self.things.hosts(hosts).replace('\u{a0}', " ")
    }

    fn router(&self, id: RouterId) -> Card {
        let router = self.site().router(id);
        let what = match router.filter() {
            Some(filter) => format!("gateway, default {}", filter.default.value.word()),
            None => "router, no rules".to_owned(),
        };
        let mut rows = Vec::new();
        for (port, interfaces) in by_port(router) {
            let mut lags = router.lags.iter();
            let lag = lags.find(|lag| Some(lag.name.value.as_str()) == port);
            if let (Some(lag), Some(port)) = (lag, port) {
                let members: Vec<&str> = lag.ports.iter().map(|port| port.value.as_str()).collect();
                let text = format!(
                    "LAG of {}; LACP {}",
                    members.join(", "),
                    lacp_word(lag.lacp)
                );
                rows.push(row(port, "", &text));
            }
            let alone = lag.is_none().then_some(port).flatten();
            rows.extend(interfaces.iter().map(|on| self.interface(on, alone)));
        }
        let mut seated: BTreeMap<&str, Vec<boundwalk_model::HostId>> = BTreeMap::new();
        for at in &self.things.topology_tree.at_router[id.0] {
            seated.entry(at.port).or_default().push(at.host);
        }
        for (port, hosts) in seated {
            rows.push(row(
                &format!("port {port}"),
                "",
                &self.hosts(hosts.into_iter()),
            ));
        }
        let notes = self.notes(Equipment::Router(id));
        Card::new("card", &router.name.value, &what, rows, &notes)
    }

    fn interface(&self, interface: &Interface, port: Option<&str>) -> Row {
        let segment = &self.site().segment(interface.segment).name.value;
        let name = if segment == &interface.name.value {
            segment.clone()
        } else {
            format!("{} ({segment})", interface.name.value)
        };
        let chip = interface
            .vlan
            .map_or("U".to_owned(), |vlan| vlan.to_string());
        let port = port.map_or_else(String::new, |port| format!("port {port}"));
        let address = interface.addresses.first();
        let address = address.map_or_else(String::new, |address| address.value.to_string());
        Row {
            chip: Some(chip),
            ..row(&name, &port, &address)
        }
    }

    fn switch(&self, id: SwitchId) -> Card {
        let switch = &self.site().switches[id.0];
        let off = switch.ports.iter().filter(|port| !port.enabled).count();
        let mut what = format!("switch, {} ports", switch.ports.len());
        if off > 0 {
            what.push_str(&format!(", {off} off"));
        }
        if !switch.vlan_aware {
            what.push_str(", knows no VLANs");
        }
        let mut idle = 0;
        let mut rows = Vec::new();
        for vlan in &self.things.topology_tree.rows[id.0] {
            let name = vlan.segment.as_deref();
            if vlan.vlan.is_some() && name.is_none() && vlan.access == 0 && vlan.hosts.is_empty() {
                idle += 1;
                continue;
            }
            let ports = match (vlan.access, vlan.open) {
                (0, _) => "passes".to_owned(),
                (ports, 0) => counted(ports, "port"),
                (ports, open) => format!("{}, {open} open", counted(ports, "port")),
            };
            let hosts = self.hosts(vlan.hosts.iter().map(|at| at.host));
            rows.push(Row {
                chip: vlan.vlan.map(|vlan| vlan.to_string()),
                ..row(
                    name.unwrap_or(if vlan.vlan.is_none() { "no VLAN" } else { "-" }),
                    &ports,
                    &hosts,
                )
            });
        }
        if idle > 0 {
            rows.push(row(&format!("{idle} VLANs without a segment"), "", ""));
        }
        let notes = self.notes(Equipment::Switch(id));
        Card::new("card", &switch.name.value, &what, rows, &notes)
    }

    fn end(&self, end: CableEnd<'_>) -> String {
        let lag = self.cabling.lag(end);
        let port = super::pen::cut(end.port, 130);
        match lag.map_or(0, |lag| lag.ports.len()) {
            0 => port,
            count => format!("{port} (LAG of {count})"),
        }
    }

    pub(super) fn link(&self, tree_edge: &TreeEdge<'_>) -> PictureLink {
        match tree_edge {
            TreeEdge::Cable(ends, label) => {
                let lag = ends.iter().any(|&end| self.cabling.lag(end).is_some());
                let tags = self.trail.and_then(|trail| trail.on_cable(*ends));
                let mut class = if tags.is_some() { "hot" } else { "wire" }.to_owned();
                if lag {
                    class.push_str(" lag");
                }
                let label = label.unwrap_or_default().to_owned();
                PictureLink {
                    class,
                    above: format!("{} - {}", self.end(ends[0]), self.end(ends[1])),
                    hot: tags.is_some(),
                    below: super::pen::cut(&tags.map_or(label, str::to_owned), 300),
                }
            }
            TreeEdge::Interface(_, interface, _) => PictureLink {
                class: "wire dash".to_owned(),
                above: super::pen::cut(&format!("interface {interface}"), 300),
                below: String::new(),
                hot: false,
            },
        }
    }
}

/// Segments outside that a gateway or router leads to.
pub(super) fn outside(view: &SitePicture<'_>, thing: ThingId) -> Vec<(Card, PictureLink)> {
    let ThingId::Router(id) = thing else {
        return Vec::new();
    };
    let out = view
        .site()
        .router(id)
        .interfaces
        .iter()
        .filter(|on| view.site().segment(on.segment).external);
    let one = |on: &Interface| {
        let segment = view.site().segment(on.segment);
        let what = view.things.outside(on.segment);
        let card = Card::new("outside", &segment.name.value, &what, Vec::new(), &[]);
        let label = match &on.port {
            Some(port) => format!("{}: port {}", on.name.value, port.value),
            None => on.name.value.clone(),
        };
        let link = PictureLink {
            class: "wire".to_owned(),
            above: super::pen::cut(&label, 200),
            below: String::new(),
            hot: false,
        };
        (card, link)
    };
    out.map(one).collect()
}

/// Hosts that no cable is described for, on segments that are not drawn.
pub(super) fn loose(view: &SitePicture<'_>) -> Option<Card> {
    let (site, topology_tree) = (view.site(), view.things.topology_tree);
    let segments = site.segment_ids().filter(|&id| {
        !topology_tree.loose[id.0].is_empty() && !topology_tree.shows(ThingId::Segment(id))
    });
    let rows: Vec<Row> = segments
        .map(|id| {
            let hosts = view.hosts(topology_tree.loose[id.0].iter().copied());
            row(&site.segment(id).name.value, "", &hosts)
        })
        .collect();
    let what = "no cable is described for them";
    (!rows.is_empty()).then(|| Card::new("card", "Hosts on their segments", what, rows, &[]))
}

pub(super) fn counted(count: usize, one: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        _ => format!("{count} {one}s"),
    }
}

pub(super) fn row(one: &str, two: &str, three: &str) -> Row {
    Row {
        columns: [one, two, three].map(str::to_owned),
        ..Row::default()
    }
}
