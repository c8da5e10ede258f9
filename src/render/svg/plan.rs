//! Where each box of the picture of a site stands.
//!
//! A tree turned on its side, as tall and narrow as a page: what hangs on a device stands below it, further in,
//! each in a band of its own. Lines run down the left edge of a band and into the boxes, second ways along the
//! right edge of the picture. No line and no text ever crosses a box.

use boundwalk_analysis::{Equipment, ThingId, TreeEdge};

use super::card::Card;
use super::pen::{Drawing, LINE, PAD, cut, span};
use super::site_parts::{PictureLink, SitePicture, loose, outside};

/// Between boxes, one below the other: room for the texts of a cable.
const GAP: i32 = 34;
/// Between lines side by side.
const LANE: i32 = 14;
/// From the left edge of a box to the line that leads to what hangs on it.
const SPINE: i32 = 18;

/// A box with its place and the line that leads to it.
struct Spot {
    card: Card,
    /// The box it hangs on, and the line to it.
    above: Option<(usize, PictureLink)>,
    at: (i32, i32),
    /// Heights at which second ways leave, so far.
    legs: i32,
}

/// A second way: the two boxes, the line, its text.
struct Around {
    ends: [usize; 2],
    link: PictureLink,
    text: String,
}

/// Where everything is. Boxes stand from the top down.
pub(super) struct PictureLayout {
    spots: Vec<Spot>,
    around: Vec<Around>,
}

impl PictureLayout {
    /// Places all boxes. O(devices + cables).
    pub(super) fn new(view: &SitePicture<'_>) -> Self {
        let mut plan = Self {
            spots: Vec::new(),
            around: Vec::new(),
        };
        let topology_tree = view.things.topology_tree;
        let mut known = vec![None; topology_tree.tree_nodes.len()];
        // The last one is taken first, so the order of the file is turned round. A stack of our own: a row of
        // a thousand switches must not need a thousand calls inside each other.
        let mut open: Vec<(usize, Option<usize>)> = topology_tree
            .roots
            .iter()
            .rev()
            .map(|&root| (root, None))
            .collect();
        while let Some((tree_node, above)) = open.pop() {
            let own = plan.add(view, tree_node, above);
            known[tree_node] = Some(own);
            let below = topology_tree.tree_nodes[tree_node].below.iter().rev();
            open.extend(below.map(|&tree_node| (tree_node, Some(own))));
        }
        plan.second_ways(view, &known);
        plan.place();
        plan
    }

    /// Adds the box of a tree node and the segments outside that it leads to.
    fn add(&mut self, view: &SitePicture<'_>, tree_node: usize, above: Option<usize>) -> usize {
        let found = &view.things.topology_tree.tree_nodes[tree_node];
        let link = found
            .tree_edge
            .as_ref()
            .map(|tree_edge| view.link(tree_edge));
        let own = self.spots.len();
        self.spot(view.card(found.thing), above.zip(link));
        for (card, link) in outside(view, found.thing) {
            self.spot(card, Some((own, link)));
        }
        own
    }

    fn spot(&mut self, card: Card, above: Option<(usize, PictureLink)>) {
        self.spots.push(Spot {
            card,
            above,
            at: (PAD, 0),
            legs: 0,
        });
    }

    fn second_ways(&mut self, view: &SitePicture<'_>, known: &[Option<usize>]) {
        let tree_nodes = &view.things.topology_tree.tree_nodes;
        let tree_node = |thing: ThingId| {
            tree_nodes
                .iter()
                .position(|tree_node| tree_node.thing == thing)
        };
        for tree_edge in &view.things.topology_tree.extra {
            let (ends, text) = joined(view, tree_edge);
            let ends = ends.map(|end| {
                end.and_then(tree_node)
                    .and_then(|tree_node| known[tree_node])
            });
            let [Some(near), Some(far)] = ends else {
                continue;
            };
            for end in [near, far] {
                let spot = &mut self.spots[end];
                spot.legs += 1;
                // The legs of a box must end at it.
                let needed = Card::entry() + PAD + (spot.legs + 1) * (LINE + 4);
                spot.card.height = spot.card.height.max(needed);
            }
            self.around.push(Around {
                ends: [near, far],
                link: view.link(tree_edge),
                text,
            });
        }
        for spot in &mut self.spots {
            spot.legs = 0;
        }
    }

    fn place(&mut self) {
        let mut texts = vec![0; self.spots.len()];
        for (above, link) in self.spots.iter().filter_map(|spot| spot.above.as_ref()) {
            let room = span(&link.above).max(span(&link.below));
            texts[*above] = texts[*above].max(room);
        }
        let mut y = PAD + 2 * LINE;
        for number in 0..self.spots.len() {
            let x = match &self.spots[number].above {
                Some((above, _)) => self.spots[*above].at.0 + SPINE + texts[*above] + 22,
                None => PAD,
            };
            self.spots[number].at = (x, y);
            y += self.spots[number].card.height + GAP;
        }
    }

    /// Draws all of it.
    pub(super) fn draw(mut self, view: &SitePicture<'_>, drawing: &mut Drawing) {
        // What stands out is drawn last: it shares a line with others.
        for hot in [false, true] {
            for spot in &self.spots {
                if let Some((above, link)) = &spot.above
                    && link.hot == hot
                {
                    branch(drawing, &self.spots[*above], link, spot);
                }
            }
            if !hot {
                self.spines(drawing);
            }
        }
        for spot in &self.spots {
            spot.card.draw(drawing, spot.at);
        }
        self.beside(drawing);
        if let Some(card) = loose(view) {
            let (_, bottom) = drawing.extent();
            card.draw(drawing, (PAD, bottom + GAP));
        }
    }

    /// From each box down to the last one that hangs on it.
    fn spines(&self, drawing: &mut Drawing) {
        let mut last = vec![None; self.spots.len()];
        for (number, spot) in self.spots.iter().enumerate() {
            if let Some((above, _)) = spot.above {
                last[above] = Some(number);
            }
        }
        for (spot, last) in self.spots.iter().zip(last) {
            if let Some(last) = last {
                let enter = self.spots[last].at.1 + Card::entry();
                drawing.line("wire", &spine(spot, enter));
            }
        }
    }

    /// Second ways: right from a box, along the right edge, and back to the other. To the right of a box is
    /// nothing, as each has a band of its own.
    fn beside(&mut self, drawing: &mut Drawing) {
        let texts = self.around.iter().flat_map(|way| {
            way.ends.map(|end| {
                let spot = &self.spots[end];
                spot.at.0 + spot.card.width + span(&way.text) + 2 * LANE
            })
        });
        let right = texts.max().unwrap_or(0).max(drawing.extent().0) + LANE;
        for (number, way) in self.around.iter().enumerate() {
            let lane = right + number as i32 * LANE;
            let [near, far] = way.ends.map(|end| {
                let spot = &mut self.spots[end];
                spot.legs += 1;
                let y = spot.at.1 + Card::entry() + spot.legs * (LINE + 4);
                (spot.at.0 + spot.card.width, y)
            });
            let points = [near, (lane, near.1), (lane, far.1), far];
            drawing.line(&way.link.class, &points);
            if way.link.class.contains("lag") {
                drawing.line("core", &points);
            }
            let class = if way.link.hot { "hottext b" } else { "dim" };
            for (x, y) in [near, far] {
                drawing.text(class, (x + LANE, y - 5), &way.text);
            }
        }
    }
}

/// The line down from a box to a height.
fn spine(above: &Spot, enter: i32) -> [(i32, i32); 2] {
    let x = above.at.0 + SPINE;
    [(x, above.at.1 + above.card.height), (x, enter)]
}

/// The line to a box, from the spine of the one it hangs on. What stands out goes the whole way.
fn branch(drawing: &mut Drawing, above: &Spot, link: &PictureLink, below: &Spot) {
    let (far, enter) = (below.at.0, below.at.1 + Card::entry());
    let [start, turn] = spine(above, enter);
    if link.hot {
        drawing.line("hot", &[start, turn]);
    }
    drawing.line(&link.class, &[turn, (far, enter)]);
    if link.class.contains("lag") {
        drawing.line("core", &[turn, (far, enter)]);
    }
    let class = if link.hot { "hottext b" } else { "dim" };
    drawing.text("ink", (turn.0 + 10, enter - 6), &link.above);
    drawing.text(class, (turn.0 + 10, enter + 16), &link.below);
}

/// What a joint joins, and its text.
fn joined(view: &SitePicture<'_>, tree_edge: &TreeEdge<'_>) -> ([Option<ThingId>; 2], String) {
    let (ends, text) = match tree_edge {
        TreeEdge::Cable(ends, label) => {
            let label = label.map_or_else(String::new, |label| format!("  {label}"));
            let [near, far] = ends.map(|end| end.name(view.site()));
            let things = ends.map(|end| thing(end.device));
            (things, format!("{near} - {far}{label}"))
        }
        TreeEdge::Interface(router, interface, segment) => {
            let things = [ThingId::Router(*router), ThingId::Segment(*segment)];
            (things.map(Some), format!("interface {interface}"))
        }
    };
    (ends, cut(&text, 600))
}

fn thing(device: Equipment) -> Option<ThingId> {
    match device {
        Equipment::Router(id) => Some(ThingId::Router(id)),
        Equipment::Switch(id) => Some(ThingId::Switch(id)),
        Equipment::Host(_) => None,
    }
}
