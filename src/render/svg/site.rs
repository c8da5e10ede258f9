//! What is plugged into what: gateways, switches and their cables, from the outside on the left inwards.
//!
//! A tidy tree: each device to the right of what it hangs on, and all that hangs on it within its own band of
//! the picture. Cables run in the gaps between columns, second ways in corridors below a band and along the
//! right edge, so that no line and no text ever crosses a box.

use std::collections::BTreeMap;

use crate::analysis::{CableEnd, Cabling, Equipment, Joint, Outline, ThingId, lacp_word};
use crate::model::{Interface, RouterId, Site, SwitchId};

use super::super::draw_pen::Pen;
use super::super::draw_things::{Things, by_port};
use super::super::matrix::Paint;
use super::super::ports_cells::segment_of;
use super::card::{Card, Row};
use super::pen::{Drawing, LINE, PAD, Sample, span};
use super::trail::Trail;

/// Between boxes, one below the other.
const GAP: i32 = 34;
/// Between lines side by side.
const LANE: i32 = 14;

/// The site as a picture, with a way drawn on it if there is one.
pub fn site_svg(
    site: &Site,
    cabling: &Cabling<'_>,
    trail: Option<&Trail<'_>>,
    alone: bool,
) -> String {
    let outline = Outline::new(site, cabling);
    let plain = Paint {
        colour: false,
        columns: 80,
    };
    let view = View {
        things: Things {
            site,
            outline: &outline,
            pen: Pen {
                ascii: false,
                paint: plain,
            },
        },
        cabling,
        trail,
    };
    let plan = Plan::new(&view);
    let mut drawing = Drawing::default();
    let title = match site.name.is_empty() {
        true => "What is plugged into what".to_owned(),
        false => format!("{}: what is plugged into what", site.name),
    };
    let title = trail.map_or(title, |trail| trail.title.clone());
    drawing.text("ink b", (PAD, PAD + 14), &super::pen::cut(&title, 1200));
    plan.draw(&view, &mut drawing);
    drawing.legend(&legend(trail.is_some()));
    let description = format!(
        "{} gateways and routers, {} switches, {} cables",
        site.routers.len(),
        site.switches.len(),
        cabling.cables.len()
    );
    drawing.finish(alone, &title, &description)
}

fn legend(trail: bool) -> Vec<(Sample, &'static str)> {
    let mut lines = vec![
        (
            Sample::Line("wire"),
            "a cable, the ports at its ends above it, what is written on it below",
        ),
        (Sample::Line("wire lag"), "cables of a LAG"),
        (
            Sample::Line("wire dash"),
            "an interface, no cable described",
        ),
        (Sample::Fill("some", "10"), "VLAN; U untagged"),
        (Sample::Fill("outside", ""), "outside"),
    ];
    if trail {
        lines.push((Sample::Line("hot"), "the way, with its steps numbered"));
        lines.push((
            Sample::Fill("hotcard", "cut"),
            "a device on the way; what would close it begins with CUT",
        ));
    }
    lines
}

struct View<'a> {
    things: Things<'a>,
    cabling: &'a Cabling<'a>,
    trail: Option<&'a Trail<'a>>,
}

/// A line between two boxes, with its texts.
struct Link {
    class: String,
    above: String,
    below: String,
    hot: bool,
}

impl View<'_> {
    fn site(&self) -> &Site {
        self.things.site
    }

    fn notes(&self, device: Equipment) -> Vec<String> {
        self.trail
            .map_or_else(Vec::new, |trail| trail.notes_of(device))
    }

    fn card(&self, thing: ThingId) -> Card {
        match thing {
            ThingId::Router(id) => self.router(id),
            ThingId::Switch(id) => self.switch(id),
            ThingId::Segment(id) => {
                let segment = self.site().segment(id);
                let hosts = &self.things.outline.loose[id.0];
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

    fn hosts(&self, hosts: impl Iterator<Item = crate::model::HostId>) -> String {
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
        let mut seated: BTreeMap<&str, Vec<crate::model::HostId>> = BTreeMap::new();
        for at in &self.things.outline.at_router[id.0] {
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
        let name = match segment == &interface.name.value {
            true => segment.clone(),
            false => format!("{} ({segment})", interface.name.value),
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
        for vlan in &self.things.outline.rows[id.0] {
            let name = vlan.vlan.and_then(|vlan| segment_of(self.site(), vlan));
            if vlan.vlan.is_some() && name.is_none() && vlan.access == 0 && vlan.hosts.is_empty() {
                idle += 1;
                continue;
            }
            let ports = match (vlan.access, vlan.open) {
                (0, _) => "passes".to_owned(),
                (1, 0) => "1 port".to_owned(),
                (ports, 0) => format!("{ports} ports"),
                (ports, open) => format!("{ports} ports, {open} open"),
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

    fn link(&self, joint: &Joint<'_>) -> Link {
        match joint {
            Joint::Cable(ends, label) => {
                let lag = ends.iter().any(|&end| self.cabling.lag(end).is_some());
                let tags = self.trail.and_then(|trail| trail.on_cable(*ends));
                let mut class = if tags.is_some() { "hot" } else { "wire" }.to_owned();
                if lag {
                    class.push_str(" lag");
                }
                let label = label.unwrap_or_default().to_owned();
                Link {
                    class,
                    above: format!("{} - {}", self.end(ends[0]), self.end(ends[1])),
                    hot: tags.is_some(),
                    below: super::pen::cut(&tags.map_or(label, str::to_owned), 300),
                }
            }
            Joint::Interface(_, interface, _) => Link {
                class: "wire dash".to_owned(),
                above: super::pen::cut(&format!("interface {interface}"), 300),
                below: String::new(),
                hot: false,
            },
        }
    }
}

fn row(one: &str, two: &str, three: &str) -> Row {
    Row {
        columns: [one, two, three].map(str::to_owned),
        ..Row::default()
    }
}

/// Where everything is.
struct Plan {
    cards: Vec<Card>,
    /// Outside segments of each limb, with the interface on each.
    outside: Vec<Vec<(Card, String)>>,
    links: Vec<Option<Link>>,
    depth: Vec<usize>,
    at: Vec<(i32, i32)>,
    /// Second ways: the two limbs, and the line.
    extra: Vec<([usize; 2], Link, String)>,
    /// Of each limb: height of its band, and of that without corridors.
    bands: Vec<(i32, i32)>,
}

impl Plan {
    fn new(view: &View<'_>) -> Self {
        let outline = view.things.outline;
        let limbs = &outline.limbs;
        let mut plan = Self {
            cards: limbs.iter().map(|limb| view.card(limb.thing)).collect(),
            outside: limbs.iter().map(|limb| outside(view, limb.thing)).collect(),
            links: limbs
                .iter()
                .map(|limb| limb.joint.as_ref().map(|joint| view.link(joint)))
                .collect(),
            depth: vec![0; limbs.len()],
            at: vec![(0, 0); limbs.len()],
            extra: Vec::new(),
            bands: vec![(0, 0); limbs.len()],
        };
        plan.second_ways(view);
        plan.measure(outline);
        plan.place(outline);
        plan
    }

    fn second_ways(&mut self, view: &View<'_>) {
        let limbs = &view.things.outline.limbs;
        let limb = |thing: ThingId| limbs.iter().position(|limb| limb.thing == thing);
        for joint in &view.things.outline.extra {
            let (ends, text) = match joint {
                Joint::Cable(ends, label) => {
                    let things = ends.map(|end| thing(end.device));
                    let label = label.map_or_else(String::new, |label| format!("  {label}"));
                    let [near, far] = ends.map(|end| end.name(view.site()));
                    (things, format!("{near} - {far}{label}"))
                }
                Joint::Interface(router, interface, segment) => {
                    let text = format!("interface {interface}");
                    (
                        [
                            Some(ThingId::Router(*router)),
                            Some(ThingId::Segment(*segment)),
                        ],
                        text,
                    )
                }
            };
            let ends = ends.map(|end| end.and_then(limb));
            if let [Some(near), Some(far)] = ends {
                self.extra
                    .push(([near, far], view.link(joint), super::pen::cut(&text, 600)));
            }
        }
    }

    /// Corridors below a limb.
    fn corridors(&self, limb: usize) -> i32 {
        let ends = self.extra.iter().flat_map(|(ends, ..)| ends);
        ends.filter(|&&end| end == limb).count() as i32
    }

    /// Heights of bands; limbs stand in the order in which they were found, so those below come later.
    fn measure(&mut self, outline: &Outline<'_>) {
        for (limb, found) in outline.limbs.iter().enumerate().rev() {
            let below = found
                .below
                .iter()
                .map(|&below| self.bands[below].0 + GAP)
                .sum::<i32>()
                - GAP;
            let outside = self.outside[limb]
                .iter()
                .map(|(card, _)| card.height + GAP)
                .sum::<i32>()
                - GAP;
            let inner = self.cards[limb].height.max(below).max(outside);
            let corridors = self.corridors(limb) * (LINE + 4);
            let room = if corridors > 0 { corridors + 12 } else { 0 };
            self.bands[limb] = (inner + room, inner);
        }
        for (limb, found) in outline.limbs.iter().enumerate() {
            for &below in &found.below {
                self.depth[below] = self.depth[limb] + 1;
            }
        }
    }

    /// Room that the texts and lines to the boxes of a column need.
    fn gap(&self, outline: &Outline<'_>, depth: usize) -> i32 {
        let limbs = outline.limbs.iter().enumerate();
        let mut text = 0;
        let mut lanes = 0;
        for (limb, found) in limbs {
            if self.depth[limb] == depth
                && let Some(link) = &self.links[limb]
            {
                text = text.max(span(&link.above)).max(span(&link.below));
            }
            if self.depth[limb] + 1 == depth {
                lanes = lanes.max(found.below.len() as i32);
            }
        }
        text + lanes * LANE + 30
    }

    fn place(&mut self, outline: &Outline<'_>) {
        let outside = self.outside.iter().flatten();
        let mut x = PAD;
        let (mut widest, mut texts) = (0, 0);
        for (card, label) in outside {
            widest = widest.max(card.width);
            texts = texts.max(span(label));
        }
        if widest > 0 {
            x += widest + texts + 30;
        }
        let deepest = self.depth.iter().max().copied().unwrap_or(0);
        for depth in 0..=deepest {
            if depth > 0 {
                x += self.gap(outline, depth);
            }
            let mut column = 0;
            for limb in (0..self.at.len()).filter(|&limb| self.depth[limb] == depth) {
                self.at[limb].0 = x;
                column = column.max(self.cards[limb].width);
            }
            x += column;
        }
        let mut y = PAD + 2 * LINE;
        for &root in &outline.roots {
            self.at[root].1 = y;
            y += self.bands[root].0 + GAP;
        }
        for (limb, found) in outline.limbs.iter().enumerate() {
            let mut y = self.at[limb].1;
            for &below in &found.below {
                self.at[below].1 = y;
                y += self.bands[below].0 + GAP;
            }
        }
    }

    fn draw(&self, view: &View<'_>, drawing: &mut Drawing) {
        for (limb, found) in view.things.outline.limbs.iter().enumerate() {
            self.outward(drawing, limb);
            for (number, &below) in found.below.iter().enumerate() {
                self.branch(drawing, limb, (number, found.below.len()), below);
            }
        }
        for (card, &at) in self.cards.iter().zip(&self.at) {
            card.draw(drawing, at);
        }
        self.around(drawing);
        if let Some(card) = loose(view) {
            let (_, bottom) = drawing.extent();
            card.draw(drawing, (PAD, bottom + GAP));
        }
    }

    fn outward(&self, drawing: &mut Drawing, limb: usize) {
        let (x, mut y) = self.at[limb];
        for (number, (card, label)) in self.outside[limb].iter().enumerate() {
            let enter = y + Card::entry();
            let leave = self.at[limb].1 + Card::entry() + number as i32 * LANE;
            let text = x - span(label) - 12;
            drawing.line(
                "wire",
                &[
                    (PAD + card.width, enter),
                    (text - 4, enter),
                    (text - 4, leave),
                    (x, leave),
                ],
            );
            drawing.text("dim", (text, enter.min(leave) - 5), label);
            card.draw(drawing, (PAD, y));
            y += card.height + GAP;
        }
    }

    /// The line from a box to one that hangs on it. Lines of lower boxes turn further left: none cross.
    fn branch(
        &self,
        drawing: &mut Drawing,
        limb: usize,
        (number, count): (usize, usize),
        below: usize,
    ) {
        let Some(link) = &self.links[below] else {
            return;
        };
        let (x, y) = self.at[limb];
        let step = ((self.cards[limb].height - Card::entry() - PAD) / count as i32).clamp(2, LANE);
        let leave = y + Card::entry() + number as i32 * step;
        let (far, enter) = (self.at[below].0, self.at[below].1 + Card::entry());
        let text = far - span(&link.above).max(span(&link.below)) - 12;
        let start = x + self.cards[limb].width;
        let lanes = (count - number) as i32 * LANE;
        let column = self.right_of_column(self.depth[limb]);
        let turn = (column + lanes).min(text - 6);
        let points = [(start, leave), (turn, leave), (turn, enter), (far, enter)];
        drawing.line(&link.class, &points);
        if link.class.contains("lag") {
            drawing.line("core", &points);
        }
        let class = if link.hot { "hottext b" } else { "dim" };
        drawing.text("ink", (text, enter - 6), &link.above);
        drawing.text(class, (text, enter + 16), &link.below);
    }

    fn right_of_column(&self, depth: usize) -> i32 {
        let all = (0..self.at.len()).filter(|&limb| self.depth[limb] == depth);
        all.map(|limb| self.at[limb].0 + self.cards[limb].width)
            .max()
            .unwrap_or(0)
    }

    /// Second ways: down from a box, along below its band, up or down the right edge, and back.
    fn around(&self, drawing: &mut Drawing) {
        let (right, _) = drawing.extent();
        let texts = self
            .extra
            .iter()
            .map(|(ends, _, text)| self.at[ends[0]].0.max(self.at[ends[1]].0) + span(text) + 60);
        let right = texts.max().unwrap_or(0).max(right);
        let mut used = vec![0; self.at.len()];
        for (number, (ends, link, text)) in self.extra.iter().enumerate() {
            let lane = right + LANE + number as i32 * LANE;
            let legs = ends.map(|limb| {
                let place = used[limb];
                used[limb] += 1;
                let (x, y) = self.at[limb];
                let x = x + PAD + place * LANE;
                let corridor = y + self.bands[limb].1 + 14 + place * (LINE + 4);
                ((x, y + self.cards[limb].height), (x, corridor))
            });
            let [(near, near_below), (far, far_below)] = legs;
            let points = [
                near,
                near_below,
                (lane, near_below.1),
                (lane, far_below.1),
                far_below,
                far,
            ];
            drawing.line(&link.class, &points);
            if link.class.contains("lag") {
                drawing.line("core", &points);
            }
            let class = if link.hot { "hottext b" } else { "dim" };
            for (x, y) in [near_below, far_below] {
                drawing.text(
                    class,
                    (
                        x + LANE * 2 + used.iter().max().copied().unwrap_or(0) * LANE,
                        y - 4,
                    ),
                    text,
                );
            }
        }
    }
}

fn thing(device: Equipment) -> Option<ThingId> {
    match device {
        Equipment::Router(id) => Some(ThingId::Router(id)),
        Equipment::Switch(id) => Some(ThingId::Switch(id)),
        Equipment::Host(_) => None,
    }
}

/// Segments outside that a gateway or router leads to.
fn outside(view: &View<'_>, thing: ThingId) -> Vec<(Card, String)> {
    let ThingId::Router(id) = thing else {
        return Vec::new();
    };
    let interfaces = view.site().router(id).interfaces.iter();
    let out = interfaces.filter(|on| view.site().segment(on.segment).external);
    let one = |on: &Interface| {
        let segment = view.site().segment(on.segment);
        let what = view.things.outside(on.segment);
        let card = Card::new("outside", &segment.name.value, &what, Vec::new(), &[]);
        let label = match &on.port {
            Some(port) => format!("{}: port {}", on.name.value, port.value),
            None => on.name.value.clone(),
        };
        (card, super::pen::cut(&label, 200))
    };
    out.map(one).collect()
}

/// Hosts that no cable is described for, on segments that are not drawn.
fn loose(view: &View<'_>) -> Option<Card> {
    let (site, outline) = (view.site(), view.things.outline);
    let segments = site
        .segment_ids()
        .filter(|&id| !outline.loose[id.0].is_empty() && !outline.shows(ThingId::Segment(id)));
    let rows: Vec<Row> = segments
        .map(|id| {
            let hosts = view.hosts(outline.loose[id.0].iter().copied());
            row(&site.segment(id).name.value, "", &hosts)
        })
        .collect();
    let what = "no cable is described for them";
    (!rows.is_empty()).then(|| Card::new("card", "Hosts on their segments", what, rows, &[]))
}
