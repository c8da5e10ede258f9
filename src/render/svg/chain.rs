//! A way hop by hop, from top to bottom: narrow enough for a phone.

use super::card::{Card, Row, broken};
use super::pen::{Drawing, LINE, PAD, Sample};
use super::stops::{Chain, PictureHop, PictureStop};

/// Between two stops.
const GAP: i32 = 52;
/// Letters in a line of the title.
const TITLE: usize = 46;

/// A way as a picture: its stops as boxes, the tags of frames between them.
pub fn chain_svg(chain: &Chain<'_>, alone: bool) -> String {
    let mut drawing = Drawing::default();
    let mut y = PAD + 14;
    for line in broken(&chain.title, TITLE) {
        drawing.text("ink b", (PAD, y), &line);
        y += LINE;
    }
    for (number, stop) in chain.stops.iter().enumerate() {
        let card = card(number, stop);
        card.draw(&mut drawing, (PAD, y));
        y += card.height;
        if let Some(hop) = chain.hops.get(number) {
            between(&mut drawing, hop, y);
            y += GAP;
        }
    }
    y += LINE + 4;
    for line in broken(&chain.end, TITLE) {
        drawing.text("hottext b", (PAD, y), &line);
        y += LINE;
    }
    for (number, text) in chain.closing.iter().enumerate() {
        y += if number == 0 { 6 } else { 0 };
        for line in broken(&format!("CUT: {text}"), TITLE) {
            drawing.text("ink b", (PAD, y), &line);
            y += LINE;
        }
    }
    drawing.legend(&[
        (Sample::Fill("card", "1"), "a device, in order"),
        (Sample::Line("hot"), "a frame, with its tags"),
    ]);
    let description = format!("{} stops", chain.stops.len());
    drawing.finish(alone, &chain.title, &description)
}

fn card(number: usize, stop: &PictureStop<'_>) -> Card {
    let title = format!("{}. {}", number + 1, stop.name);
    let row = |line: &String| Row {
        columns: [String::new(), String::new(), line.clone()],
        ..Row::default()
    };
    let class = match stop.what.as_str() {
        "gateway" => "hotcard",
        _ => "card",
    };
    Card::new(
        class,
        &title,
        &stop.what,
        stop.lines.iter().map(row).collect(),
        &[],
    )
}

fn between(drawing: &mut Drawing, hop: &PictureHop, y: i32) {
    let x = PAD + 30;
    drawing.line("hot", &[(x, y), (x, y + GAP)]);
    drawing.line(
        "hot",
        &[(x - 5, y + GAP - 8), (x, y + GAP - 1), (x + 5, y + GAP - 8)],
    );
    let tags = if hop.tags.is_empty() {
        "layer 2 not described"
    } else {
        &hop.tags
    };
    drawing.text("hottext b", (x + 14, y + 22), &super::pen::cut(tags, 300));
    let ports = match (hop.from.is_empty(), hop.to.is_empty()) {
        (true, true) => String::new(),
        (false, true) => format!("out by {}", hop.from),
        (true, false) => format!("in by {}", hop.to),
        (false, false) => format!("out by {}, in by {}", hop.from, hop.to),
    };
    drawing.text("dim", (x + 14, y + 38), &super::pen::cut(&ports, 300));
}
