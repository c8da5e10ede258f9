//! What stands where on a picture, read from the SVG as any other program would.

use roxmltree::{Document, Node};
use unicode_width::UnicodeWidthStr;

/// Left, top, right, bottom.
pub type Frame = [f64; 4];

/// What of a picture can lie on something else.
#[derive(Default)]
pub struct Picture {
    pub size: (f64, f64),
    /// Boxes of things, with their title.
    pub boxes: Vec<(Frame, String)>,
    pub texts: Vec<(Frame, String)>,
    /// Pieces of cables and arrows.
    pub lines: Vec<Frame>,
}

/// Width of a letter of the monospaced fonts that the style names, of 12 pixels: 0.602 of the height in the two
/// that are named (from their own tables of widths).
const LETTER: f64 = 12.0 * 0.602;

/// Classes of lines that lead from thing to thing, as the legend shows them.
const WIRES: [&str; 4] = ["wire", "hot", "up", "down"];

impl Picture {
    pub fn read(svg: &str) -> Self {
        let document = Document::parse(svg).unwrap_or_else(|error| panic!("{error}: {svg}"));
        let root = document.root_element();
        assert_eq!(root.tag_name().name(), "svg");
        let mut picture = Self {
            size: (number(root, "width"), number(root, "height")),
            ..Self::default()
        };
        for node in root.descendants().filter(Node::is_element) {
            picture.element(node);
        }
        picture
    }

    fn element(&mut self, node: Node<'_, '_>) {
        let classes: Vec<&str> = node.attribute("class").unwrap_or("").split(' ').collect();
        match node.tag_name().name() {
            "rect" if ["card", "hotcard", "outside"].contains(&classes[0]) => {
                let (x, y) = (number(node, "x"), number(node, "y"));
                let frame = [x, y, x + number(node, "width"), y + number(node, "height")];
                // The boxes of a legend show a colour and stand for nothing.
                if number(node, "height") > 20.0 {
                    self.boxes.push((frame, format!("box at {x}, {y}")));
                }
            }
            "text" => {
                let text = node.text().unwrap_or("").to_owned();
                let (x, y) = (number(node, "x"), number(node, "y"));
                let width = text.width() as f64 * LETTER;
                // From the top of a capital to the line on which it stands.
                self.texts.push(([x, y - 9.0, x + width, y], text));
            }
            "path" if WIRES.contains(&classes[0]) => {
                let points = points(node.attribute("d").unwrap_or(""));
                self.lines.extend(points.windows(2).map(|pair| {
                    let [(a, b), (c, d)] = [pair[0], pair[1]];
                    [a.min(c), b.min(d), a.max(c), b.max(d)]
                }));
            }
            _ => {}
        }
    }
}

fn number(node: Node<'_, '_>, name: &str) -> f64 {
    let text = node.attribute(name).unwrap_or("0");
    text.parse().unwrap_or_else(|_| panic!("{name}=\"{text}\""))
}

fn points(path: &str) -> Vec<(f64, f64)> {
    path.split(['M', 'L'])
        .filter(|part| !part.is_empty())
        .map(|part| {
            let (x, y) = part.split_once(' ').expect("two numbers");
            (x.parse().expect("a number"), y.parse().expect("a number"))
        })
        .collect()
}

/// Whether two frames share more than an edge.
pub fn meet(one: Frame, other: Frame) -> bool {
    one[0] < other[2] && other[0] < one[2] && one[1] < other[3] && other[1] < one[3]
}

/// Whether one frame is within the other.
pub fn within(inner: Frame, outer: Frame) -> bool {
    inner[0] >= outer[0] && inner[1] >= outer[1] && inner[2] <= outer[2] && inner[3] <= outer[3]
}
