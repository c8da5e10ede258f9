//! Front panels of switches.

use boundwalk_analysis::Cabling;
use boundwalk_model::{Site, SwitchId};

use super::super::front_panel::{Front, ONE_ROW, PanelCell};
use super::super::text::{escape_control, width};
use super::card::broken;
use super::pen::{Drawing, LINE, PAD, Sample, cut, span};

/// Widest cell.
const CELL: i32 = 90;
/// Height of a cell.
const TALL: i32 = 38;
/// Cells in a row before the next block begins.
const MOST: usize = 26;
/// Letters in a line below a panel.
const TEXT: usize = 96;

/// The front panels of some switches as one picture.
pub fn panels_svg(
    site: &Site,
    cabling: &Cabling<'_>,
    switches: &[SwitchId],
    alone: bool,
) -> String {
    let mut drawing = Drawing::default();
    let mut y = PAD;
    for &id in switches {
        let front = Front::new(site, cabling, id);
        y = panel(&mut drawing, &front, y);
    }
    drawing.legend(&[
        (Sample::Fill("some", "10"), "untagged in that VLAN"),
        (Sample::Fill("whole", "T1"), "tagged or mixed, as listed"),
        (Sample::Fill("none", "-"), "in no VLAN"),
        (Sample::Fill("within", "x"), "off"),
        (
            Sample::Fill("card", "10."),
            "a full stop behind it: nothing plugged in",
        ),
    ]);
    let names: Vec<&str> = switches
        .iter()
        .map(|id| site.switches[id.0].name.value.as_str())
        .collect();
    let title = match names.as_slice() {
        [one] => format!("Front panel of {one}"),
        _ => "Front panels".to_owned(),
    };
    drawing.finish(alone, &title, &names.join(", "))
}

/// One panel from `y` on; where the next may begin.
fn panel(drawing: &mut Drawing, front: &Front, mut y: i32) -> i32 {
    drawing.open(&front.title);
    y += LINE;
    drawing.text("ink b", (PAD, y), &cut(&front.title, 600));
    y += 8;
    let widest = front
        .cells
        .iter()
        .map(|cell| span(&escape_control(&cell.name)).max(span(&cell.code)));
    let room = (widest.max().unwrap_or(0) + 10).clamp(30, CELL);
    let rows = if front.cells.len() > ONE_ROW { 2 } else { 1 };
    let columns: Vec<&[PanelCell]> = front.cells.chunks(rows).collect();
    for block in columns.chunks(MOST) {
        let size = (
            block.len() as i32 * (room + 4) + 8,
            rows as i32 * (TALL + 4) + 8,
        );
        drawing.rect("head", (PAD, y), size, 6);
        for (column, cells) in block.iter().enumerate() {
            for (row, one) in cells.iter().enumerate() {
                let at = (
                    PAD + 6 + column as i32 * (room + 4),
                    y + 6 + row as i32 * (TALL + 4),
                );
                cell(drawing, one, at, room);
            }
        }
        y += size.1 + 8;
    }
    if front.cells.is_empty() {
        y += LINE;
        drawing.text("dim", (PAD, y), "No port is described.");
    }
    for (number, text) in front.listed.iter().enumerate() {
        y = lines(drawing, &format!("T{}  {text}", number + 1), y);
    }
    if !front.vlans.is_empty() {
        y = lines(drawing, &format!("VLANs: {}", front.vlans.join(", ")), y);
    }
    drawing.close();
    y + LINE
}

fn lines(drawing: &mut Drawing, text: &str, mut y: i32) -> i32 {
    for line in broken(text, TEXT) {
        y += LINE;
        drawing.text("dim", (PAD, y), &line);
    }
    y
}

fn cell(drawing: &mut Drawing, cell: &PanelCell, (x, y): (i32, i32), room: i32) {
    let class = match cell.code.chars().next() {
        _ if cell.off => "within",
        Some('T') => "whole",
        Some('-') | None => "none",
        _ => "some",
    };
    let state = match (cell.off, cell.open) {
        (true, _) => "off",
        (_, true) => "open",
        _ => "in use",
    };
    drawing.open(&format!("port {}: {}, {state}", cell.name, cell.code));
    drawing.rect(class, (x, y), (room, TALL), 3);
    drawing.centred("ink b", (x, y + 15), room, &cut(&cell.name, room - 4));
    debug_assert!(
        width(&cell.code) > 0 || !cell.off,
        "a port that is off says so"
    );
    drawing.centred("ink", (x, y + 31), room, &cut(&cell.code, room - 4));
    drawing.close();
}
