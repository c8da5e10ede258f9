//! Zones by trust, their segments, the gateways that join these, and what may pass from zone to zone.

use boundwalk_analysis::{Map, MapNode};
use boundwalk_model::{Forwards, SegmentId, Site, ZoneId};

use super::super::legend::{Sign, sign};
use super::super::shape::Sheet;
use super::pen::{Drawing, LINE, PAD, Sample, cut, span};

/// Between bars, and between lanes.
const STEP: i32 = 20;
/// Between the ends of two conduits.
const END: i32 = 15;
/// More conduits than this are not drawn: nobody could follow them.
const MOST: usize = 60;
/// Widest name.
const NAME: i32 = 220;

/// Zones with their segments, gateways as bars, conduits as arrows. `sheet` and `codes` are by zone.
pub fn logical_svg(site: &Site, sheet: &Sheet, codes: &[Vec<String>], alone: bool) -> String {
    let map = Map::logical(site);
    let plan = LogicalPlan::new(site, &map, sheet, codes);
    let mut drawing = Drawing::default();
    let title = if site.name.is_empty() {
        "Zones, segments and gateways".to_owned()
    } else {
        format!("{}: zones, segments and gateways", site.name)
    };
    drawing.text("ink b", (PAD, PAD + 14), &cut(&title, 900));
    plan.bars(site, &map, &mut drawing);
    for zone in &plan.zones {
        plan.zone(site, &map, zone, &mut drawing);
    }
    plan.arrows(&mut drawing);
    let mut legend = vec![
        (
            Sample::Line("wire"),
            "a gateway or router; a dot: an interface on the segment",
        ),
        (
            Sample::Line("wire dash"),
            "a host with several interfaces that forwards nothing",
        ),
        (
            Sample::Line("down"),
            "may pass to a zone of the same or less trust; letters as in the matrix by zone",
        ),
        (Sample::Line("up"), "may pass to a zone of more trust"),
    ];
    if plan.left_out > 0 {
        legend.push((
            Sample::Fill("none", "..."),
            "too many conduits to draw: see the matrix by zone",
        ));
    }
    drawing.legend(&legend);
    let text = format!(
        "{} zones, {} segments",
        site.zones.len(),
        site.segments.len()
    );
    drawing.finish(alone, &title, &text)
}

/// What may pass from one zone to another, by place in [`LogicalPlan::zones`].
struct Conduit {
    from: usize,
    to: usize,
    code: String,
    up: bool,
    /// Heights of its ends.
    ends: [i32; 2],
    lane: i32,
}

struct Zone {
    id: ZoneId,
    y: i32,
    height: i32,
    segments: Vec<SegmentId>,
}

struct LogicalPlan {
    zones: Vec<Zone>,
    conduits: Vec<Conduit>,
    left_out: usize,
    /// Nodes of the map that are bars, in order.
    bars: Vec<usize>,
    left: i32,
    width: i32,
}

impl LogicalPlan {
    fn new(site: &Site, map: &Map<'_>, sheet: &Sheet, codes: &[Vec<String>]) -> Self {
        let mut order: Vec<usize> = (0..site.zones.len()).collect();
        order.sort_by_key(|&zone| std::cmp::Reverse(site.zones[zone].trust));
        let bars =
            (0..map.nodes.len()).filter(|&node| !matches!(map.nodes[node], MapNode::Segment(_)));
        let bars: Vec<usize> = bars.collect();
        let rows = site
            .segment_ids()
            .map(|id| span(&segment_text(site, map, id)));
        let titles = order
            .iter()
            .map(|&zone| span(&zone_text(site, ZoneId(zone))));
        let width = rows.chain(titles).max().unwrap_or(0) + 2 * PAD + 60;
        let mut plan = Self {
            zones: Vec::new(),
            conduits: conduits(site, &order, sheet, codes),
            left_out: 0,
            left: PAD + bars.len() as i32 * STEP + STEP,
            bars,
            width,
        };
        if plan.conduits.len() > MOST {
            let before = plan.conduits.len();
            plan.conduits.retain(|conduit| conduit.up);
            if plan.conduits.len() > MOST {
                plan.conduits.clear();
            }
            plan.left_out = before - plan.conduits.len();
        }
        plan.place(site, &order);
        plan.lanes();
        plan
    }

    /// Zones from top to bottom, each high enough for its segments and for the ends of its conduits.
    fn place(&mut self, site: &Site, order: &[usize]) {
        let mut y = PAD + 2 * LINE + self.bars.len() as i32 * LINE + 8;
        for (at, &zone) in order.iter().enumerate() {
            let id = ZoneId(zone);
            let ends = self
                .conduits
                .iter()
                .map(|conduit| usize::from(conduit.from == at) + usize::from(conduit.to == at))
                .sum::<usize>() as i32;
            let segments: Vec<SegmentId> = site.segments_in(id).collect();
            let rows = (segments.len() as i32 + 1) * (LINE + 4) + PAD;
            let height = rows.max(ends * END + PAD);
            self.zones.push(Zone {
                id,
                y,
                height,
                segments,
            });
            y += height + 14;
        }
        for at in 0..self.zones.len() {
            let mut own: Vec<(usize, usize, usize)> = Vec::new();
            for (number, conduit) in self.conduits.iter().enumerate() {
                for (side, (near, far)) in [(conduit.from, conduit.to), (conduit.to, conduit.from)]
                    .into_iter()
                    .enumerate()
                {
                    if near == at {
                        own.push((far, side, number));
                    }
                }
            }
            own.sort_unstable();
            let y = self.zones[at].y + 12;
            for (place, (_, side, number)) in own.into_iter().enumerate() {
                self.conduits[number].ends[side] = y + place as i32 * END;
            }
        }
    }

    /// A lane for each conduit, short ones nearest to the zones, so that none runs over another.
    fn lanes(&mut self) {
        let mut order: Vec<usize> = (0..self.conduits.len()).collect();
        order.sort_by_key(|&at| {
            let [one, other] = self.conduits[at].ends;
            ((one - other).abs(), at)
        });
        let mut taken: Vec<Vec<[i32; 2]>> = Vec::new();
        for at in order {
            let [one, other] = self.conduits[at].ends;
            let (low, high) = (one.min(other), one.max(other));
            let free =
                |lane: &Vec<[i32; 2]>| lane.iter().all(|known| high < known[0] || known[1] < low);
            let lane = taken.iter().position(free).unwrap_or(taken.len());
            if lane == taken.len() {
                taken.push(Vec::new());
            }
            taken[lane].push([low, high]);
            self.conduits[at].lane = lane as i32;
        }
    }

    fn row(&self, segment: SegmentId) -> i32 {
        for zone in &self.zones {
            if let Some(at) = zone.segments.iter().position(|&known| known == segment) {
                return zone.y + (at as i32 + 2) * (LINE + 4) - 4;
            }
        }
        0
    }

    fn bars(&self, site: &Site, map: &Map<'_>, drawing: &mut Drawing) {
        for (at, &bar) in self.bars.iter().enumerate() {
            let x = PAD + at as i32 * STEP + 6;
            let y = PAD + 2 * LINE + at as i32 * LINE + 8;
            let rows = map
                .links
                .iter()
                .filter(|link| link.ends[0] == bar)
                .filter_map(|link| match map.nodes[link.ends[1]] {
                    MapNode::Segment(id) => {
                        Some((self.row(id) - 9 + 4 * (at % 3) as i32, link.ports[0]))
                    }
                    _ => None,
                });
            let rows: Vec<(i32, Option<&str>)> = rows.collect();
            let passive = matches!(map.nodes[bar], MapNode::Host(id) if site.host(id).forwards.value == Forwards::No);
            let class = if passive { "wire dash" } else { "wire" };
            let name = bar_text(site, map, bar);
            drawing.open(&name);
            drawing.text("ink b", (x + 6, y), &name);
            if let Some(lowest) = rows.iter().map(|&(row, _)| row).max() {
                drawing.line(class, &[(x, y - 8), (x, lowest)]);
            }
            for &(row, _) in &rows {
                drawing.line(class, &[(x, row), (self.left, row)]);
                drawing.dot("ink", (x, row), 4);
            }
            drawing.close();
        }
    }

    fn zone(&self, site: &Site, map: &Map<'_>, zone: &Zone, drawing: &mut Drawing) {
        let class = if zone.segments.iter().any(|&id| site.segment(id).external) {
            "outside"
        } else {
            "card"
        };
        drawing.rect(class, (self.left, zone.y), (self.width, zone.height), 4);
        drawing.text(
            "ink b",
            (self.left + PAD, zone.y + LINE + 2),
            &zone_text(site, zone.id),
        );
        for &id in &zone.segments {
            let y = self.row(id);
            let chip = site
                .segment(id)
                .vlan
                .as_ref()
                .map(|vlan| vlan.value.to_string());
            if let Some(chip) = chip {
                drawing.rect("some", (self.left + PAD, y - 12), (40, 15), 3);
                drawing.centred("ink", (self.left + PAD, y), 40, &chip);
            }
            drawing.text(
                "ink",
                (self.left + PAD + 48, y),
                &segment_text(site, map, id),
            );
        }
    }

    fn arrows(&self, drawing: &mut Drawing) {
        let right = self.left + self.width;
        let room = self
            .conduits
            .iter()
            .map(|conduit| span(&conduit.code))
            .max()
            .unwrap_or(0)
            + 16;
        for conduit in &self.conduits {
            let class = if conduit.up { "up" } else { "down" };
            let [from, to] = conduit.ends;
            let lane = right + room + conduit.lane * 9;
            let names = [conduit.from, conduit.to].map(|at| zone_text_of(&self.zones[at]));
            drawing.open(&format!("{} {} {}", names[0], names[1], conduit.code));
            drawing.line(
                class,
                &[(right, from), (lane, from), (lane, to), (right + 2, to)],
            );
            drawing.line(
                class,
                &[(right + 8, to - 4), (right + 1, to), (right + 8, to + 4)],
            );
            drawing.close();
            drawing.rect(
                "paper",
                (right + 12, from - 7),
                (span(&conduit.code) + 2, 13),
                0,
            );
            drawing.text("dim", (right + 13, from + 4), &conduit.code);
        }
    }
}

fn zone_text_of(zone: &Zone) -> String {
    format!("zone {}", zone.id.0 + 1)
}

fn zone_text(site: &Site, id: ZoneId) -> String {
    let zone = &site.zones[id.0];
    format!("{}  trust {}", cut(&zone.name.value, NAME), zone.trust)
}

/// A segment with its prefix, and whether nothing stands on it that could pass anything on.
fn segment_text(site: &Site, map: &Map<'_>, id: SegmentId) -> String {
    let segment = site.segment(id);
    let node = map
        .nodes
        .iter()
        .position(|&node| node == MapNode::Segment(id));
    let joined = map.links.iter().any(|link| {
        let router = matches!(map.nodes[link.ends[0]], MapNode::Router(_));
        router && Some(link.ends[1]) == node
    });
    let mut text = cut(&segment.name.value, NAME);
    if let Some(prefix) = segment.prefixes.first() {
        text.push_str(&format!("  {}", prefix.value));
    }
    match (segment.external, joined) {
        (true, _) => text.push_str("  outside"),
        (_, false) => text.push_str("  no gateway"),
        _ => {}
    }
    text
}

fn bar_text(site: &Site, map: &Map<'_>, node: usize) -> String {
    let what = match map.nodes[node] {
        MapNode::Router(id) => match site.router(id).filter() {
            Some(_) => "gateway",
            None => "router without rules",
        },
        MapNode::Host(id) => match site.host(id).forwards.value {
            Forwards::No => "host",
            Forwards::Routes => "host that routes",
            Forwards::Bridges => "host that bridges",
        },
        MapNode::Switch(_) | MapNode::Segment(_) => "",
    };
    format!("{}  {what}", cut(map.nodes[node].name(site), NAME))
}

fn conduits(site: &Site, order: &[usize], sheet: &Sheet, codes: &[Vec<String>]) -> Vec<Conduit> {
    let place = |name: &str| {
        order
            .iter()
            .position(|&zone| site.zones[zone].name.value == name)
    };
    let mut found = Vec::new();
    for (row, from) in sheet.rows.iter().enumerate() {
        for (column, to) in sheet.columns.iter().enumerate() {
            let passes = matches!(
                sign(&sheet.pairs[row][column]),
                Sign::Services | Sign::Everything
            );
            if !passes || to.kind != "zone" || from.name == to.name {
                continue;
            }
            if let (Some(from), Some(to)) = (place(&from.name), place(&to.name)) {
                found.push(Conduit {
                    up: site.zones[order[to]].trust > site.zones[order[from]].trust,
                    code: codes[row][column].clone(),
                    from,
                    to,
                    ends: [0; 2],
                    lane: 0,
                });
            }
        }
    }
    found
}
