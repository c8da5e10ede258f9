//! Front panels of switches on a terminal: a small cell for each port.

use std::fmt::Write;

use boundwalk_analysis::Cabling;
use boundwalk_model::{Site, SwitchId};

use super::draw_pen::{Pen, glued};
use super::front_panel::{Front, LEGEND, ONE_ROW, PanelCell};
use super::text::width;

/// Widest cell, without its borders.
const CELL: usize = 9;

/// The front panels of all switches.
pub fn panels_text(site: &Site, cabling: &Cabling<'_>, pen: Pen) -> String {
    let mut out = String::new();
    for number in 0..site.switches.len() {
        panel(&mut out, site, cabling, SwitchId(number), pen);
        out.push('\n');
    }
    if !site.switches.is_empty() {
        for line in pen.wrap(
            &format!("Cells: {}", glued(&LEGEND.map(str::to_owned))),
            pen.text_style.columns,
        ) {
            let _ = writeln!(out, "{}", pen.text_style.faint(&line));
        }
    }
    out
}

fn panel(out: &mut String, site: &Site, cabling: &Cabling<'_>, id: SwitchId, pen: Pen) {
    let front = Front::new(site, cabling, id);
    for line in pen.wrap(&pen.text(&front.title), pen.text_style.columns) {
        let _ = writeln!(out, "{}", pen.text_style.strong(&line));
    }
    grid(out, &front.cells, pen);
    legend(out, &front, pen);
}

/// The cells in rows: two rows where there are many, odd places above.
fn grid(out: &mut String, cells: &[PanelCell], pen: Pen) {
    if cells.is_empty() {
        let _ = writeln!(out, "No port is described.");
        return;
    }
    let room = cells
        .iter()
        .map(|cell| width(&pen.text(&cell.name)).max(width(&cell.code)))
        .max()
        .unwrap_or(1)
        .clamp(2, CELL);
    let rows = if cells.len() > ONE_ROW { 2 } else { 1 };
    let most = (pen.text_style.columns.saturating_sub(1) / (room + 1)).max(1);
    let columns: Vec<&[PanelCell]> = cells.chunks(rows).collect();
    for block in columns.chunks(most) {
        border(out, block.len(), room, 0, pen);
        for row in 0..rows {
            if row > 0 {
                border(out, block.len(), room, 1, pen);
            }
            let cells: Vec<Option<&PanelCell>> =
                block.iter().map(|column| column.get(row)).collect();
            cell_lines(out, &cells, room, pen);
        }
        border(out, block.len(), room, 2, pen);
    }
}

/// A line above (0), between (1) or below (2) the cells.
fn border(out: &mut String, cells: usize, room: usize, place: usize, pen: Pen) {
    let lines = pen.lines();
    let [right, left, down, up, cross] = lines.tees;
    let [one, two, three, four] = lines.corners;
    let (start, middle, end) = [(one, down, two), (right, cross, left), (three, up, four)][place];
    let bar = lines.across.to_string().repeat(room);
    let bars = vec![bar; cells].join(&middle.to_string());
    let _ = writeln!(out, "{start}{bars}{end}");
}

fn cell_lines(out: &mut String, cells: &[Option<&PanelCell>], room: usize, pen: Pen) {
    let down = pen.lines().down;
    let text = |of: fn(&PanelCell) -> &str, strong: bool| -> String {
        let mut line = String::new();
        for cell in cells {
            let filled = pen.fit(&pen.text(cell.map_or("", of)), room);
            let shown = match cell {
                Some(cell) if cell.off => pen.text_style.faint(&filled),
                Some(_) if strong => pen.text_style.strong(&filled),
                _ => filled,
            };
            let _ = write!(line, "{down}{shown}");
        }
        format!("{line}{down}")
    };
    let _ = writeln!(out, "{}", text(|cell| &cell.name, true));
    let _ = writeln!(out, "{}", text(|cell| &cell.code, false));
}

/// What the codes stand for, and the names of the VLANs.
fn legend(out: &mut String, front: &Front, pen: Pen) {
    let digits = front.listed.len().to_string().len();
    for (number, text) in front.listed.iter().enumerate() {
        let first = format!("T{:<digits$}  ", number + 1);
        for line in pen.beside(&first, &pen.text(text), pen.text_style.columns) {
            let _ = writeln!(out, "{line}");
        }
    }
    if !front.vlans.is_empty() {
        let vlans: Vec<String> = front.vlans.iter().map(|vlan| pen.text(vlan)).collect();
        for line in pen.beside("VLANs: ", &glued(&vlans), pen.text_style.columns) {
            let _ = writeln!(out, "{line}");
        }
    }
}
