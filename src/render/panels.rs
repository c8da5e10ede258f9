//! Front panels of switches on a terminal: a small cell for each port.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use crate::analysis::{
    CableEnd, Cabling, Equipment, Mode, PortLine, Worksheet, front_order, vlan_ranges,
};
use crate::model::{Site, SwitchId, VlanSet};

use super::draw_pen::{Pen, glued};
use super::ports_cells::named_vlans;
use super::text::width;

/// A front has one row of up to so many ports, else two.
const ONE_ROW: usize = 12;
/// Widest cell, without its borders.
const CELL: usize = 9;

/// What the cells mean.
const LEGEND: [&str; 5] = [
    "a number: untagged in that VLAN",
    "T1, T2 ...: as listed",
    "-: in no VLAN",
    "x: off",
    ". behind it: nothing plugged in",
];

/// A cell: the port's name and what it carries.
struct Cell {
    name: String,
    code: String,
    off: bool,
}

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
            pen.paint.columns,
        ) {
            let _ = writeln!(out, "{}", pen.paint.faint(&line));
        }
    }
    out
}

fn panel(out: &mut String, site: &Site, cabling: &Cabling<'_>, id: SwitchId, pen: Pen) {
    let switch = &site.switches[id.0];
    let sheet = Worksheet::new(site, cabling, id);
    let mut codes = Codes::default();
    let ports = in_front_order(&sheet);
    let names: Vec<&str> = ports.iter().map(|line| line.name).collect();
    let prefix = common_prefix(&names);
    let cells: Vec<Cell> = ports
        .iter()
        .map(|line| {
            let lag = line.member_of.and_then(|lag| {
                let mut lines = sheet.lines.iter();
                lines.find(|line| line.lag.is_some() && line.name == lag)
            });
            Cell {
                name: pen.text(&line.name[prefix.len()..]),
                code: codes.code(cabling, id, line, lag),
                off: line.mode == Mode::Off,
            }
        })
        .collect();
    let mut title = pen.text(&switch.name.value);
    if !prefix.is_empty() {
        let _ = write!(title, ": ports {}...", pen.text(prefix));
    }
    if !switch.vlan_aware {
        title.push_str(": knows no VLANs");
    }
    for line in pen.wrap(&title, pen.paint.columns) {
        let _ = writeln!(out, "{}", pen.paint.strong(&line));
    }
    grid(out, &cells, pen);
    legend(out, site, &sheet, &codes, pen);
}

/// The lines of single ports, LAGs' members where their names put them.
fn in_front_order<'s, 'a>(sheet: &'a Worksheet<'s>) -> Vec<&'a PortLine<'s>> {
    let ports = sheet.lines.iter().filter(|line| line.lag.is_none());
    let ports: Vec<&PortLine<'s>> = ports.collect();
    let names: Vec<&str> = ports.iter().map(|line| line.name).collect();
    let order = front_order(&names).into_iter();
    order.map(|at| ports[at]).collect()
}

/// What all names begin with, up to a character that is no digit; empty where that would save nothing.
fn common_prefix<'n>(names: &[&'n str]) -> &'n str {
    let Some((first, others)) = names.split_first() else {
        return "";
    };
    if others.is_empty() {
        return "";
    }
    let mut end = 0;
    for (at, character) in first.char_indices() {
        let behind = at + character.len_utf8();
        let common = others.iter().all(|name| {
            let same = name.as_bytes().get(..behind) == first.as_bytes().get(..behind);
            same && name.len() > behind
        });
        if !common || first.len() == behind {
            break;
        }
        if !character.is_ascii_digit() && !character.is_alphabetic() {
            end = behind;
        }
    }
    &first[..end]
}

/// Lists of VLANs that got a code, and what they are.
#[derive(Default)]
struct Codes<'s> {
    known: FxHashMap<(Option<u16>, VlanSet, VlanSet), usize>,
    /// By number: a line that has it, for the list; LAGs that have it.
    listed: Vec<(&'s PortLine<'s>, Vec<&'s str>)>,
}

impl<'s> Codes<'s> {
    fn code(
        &mut self,
        cabling: &Cabling<'_>,
        id: SwitchId,
        line: &'s PortLine<'s>,
        lag: Option<&'s PortLine<'s>>,
    ) -> String {
        if line.mode == Mode::Off {
            return "x".to_owned();
        }
        let settings = lag.unwrap_or(line);
        let end = CableEnd {
            device: Equipment::Switch(id),
            port: settings.name,
        };
        // Cables of a LAG may be described one by one: each member has its own then.
        let whole = cabling.lag(end).is_some() && !settings.attached.is_empty();
        let open = line.attached.is_empty() && !whole;
        let carried = self.carried(settings);
        format!("{carried}{}", if open { "." } else { "" })
    }

    fn carried(&mut self, line: &'s PortLine<'s>) -> String {
        let Some(vlans) = line.vlans else {
            return String::new();
        };
        let mut untagged = vlans.untagged.iter();
        match Mode::of(vlans) {
            Mode::NoVlan => return "-".to_owned(),
            Mode::Access if untagged.next() == vlans.pvid => {
                return vlans.pvid.map_or_else(String::new, |pvid| pvid.to_string());
            }
            _ => {}
        }
        let pvid = vlans.pvid.filter(|_| !vlans.untagged.is_empty());
        let key = (
            pvid.map(crate::model::VlanId::get),
            vlans.untagged.clone(),
            vlans.tagged.clone(),
        );
        let next = self.listed.len();
        let number = *self.known.entry(key).or_insert(next);
        if number == next {
            self.listed.push((line, Vec::new()));
        }
        let lags = &mut self.listed[number].1;
        if line.lag.is_some() && !lags.contains(&line.name) {
            lags.push(line.name);
        }
        format!("T{}", number + 1)
    }
}

/// The cells in rows: two rows where there are many, odd places above.
fn grid(out: &mut String, cells: &[Cell], pen: Pen) {
    if cells.is_empty() {
        let _ = writeln!(out, "No port is described.");
        return;
    }
    let widest = cells
        .iter()
        .map(|cell| width(&cell.name).max(width(&cell.code)));
    let room = widest.max().unwrap_or(1).clamp(2, CELL);
    let rows = if cells.len() > ONE_ROW { 2 } else { 1 };
    let most = (pen.paint.columns.saturating_sub(1) / (room + 1)).max(1);
    let columns: Vec<&[Cell]> = cells.chunks(rows).collect();
    for block in columns.chunks(most) {
        border(out, block.len(), room, 0, pen);
        for row in 0..rows {
            if row > 0 {
                border(out, block.len(), room, 1, pen);
            }
            let cells: Vec<Option<&Cell>> = block.iter().map(|column| column.get(row)).collect();
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

fn cell_lines(out: &mut String, cells: &[Option<&Cell>], room: usize, pen: Pen) {
    let down = pen.lines().down;
    let text = |of: fn(&Cell) -> &str, strong: bool| -> String {
        let mut line = String::new();
        for cell in cells {
            let filled = pen.fit(cell.map_or("", of), room);
            let shown = match cell {
                Some(cell) if cell.off => pen.paint.faint(&filled),
                Some(_) if strong => pen.paint.strong(&filled),
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
fn legend(out: &mut String, site: &Site, sheet: &Worksheet<'_>, codes: &Codes<'_>, pen: Pen) {
    let digits = codes.listed.len().to_string().len();
    for (number, (line, lags)) in codes.listed.iter().enumerate() {
        let Some(vlans) = line.vlans else {
            continue;
        };
        let mut parts = Vec::new();
        if !vlans.untagged.is_empty() {
            let list = vlan_ranges(vlans.untagged.iter()).join(", ");
            parts.push(format!("untagged {list}"));
            let differs = vlans.pvid.is_none_or(|pvid| {
                !(vlans.untagged.contains(pvid) && vlans.untagged.iter().nth(1).is_none())
            });
            let pvid = vlans
                .pvid
                .map_or("none".to_owned(), |pvid| pvid.to_string());
            parts.extend(differs.then(|| format!("PVID {pvid}")));
        }
        if !vlans.tagged.is_empty() {
            let list = vlan_ranges(vlans.tagged.iter()).join(", ");
            parts.push(format!("tagged {list}"));
        }
        if !lags.is_empty() {
            parts.push(format!("LAG {}", pen.text(&lags.join(", "))));
        }
        let first = format!("T{:<digits$}  ", number + 1);
        for line in pen.beside(&first, &parts.join("; "), pen.paint.columns) {
            let _ = writeln!(out, "{line}");
        }
    }
    let vlans = named_vlans(site, sheet.vlans().iter());
    if !vlans.is_empty() {
        let vlans: Vec<String> = vlans.iter().map(|vlan| pen.text(vlan)).collect();
        for line in pen.beside("VLANs: ", &glued(&vlans), pen.paint.columns) {
            let _ = writeln!(out, "{line}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::common_prefix;

    #[test]
    fn what_all_names_begin_with_is_left_out() {
        assert_eq!(common_prefix(&["p1/0/1", "p1/0/24"]), "p1/0/");
        assert_eq!(common_prefix(&["1/1", "1/2"]), "1/");
        assert_eq!(common_prefix(&["1", "10"]), "");
        assert_eq!(common_prefix(&["lan", "lan-2"]), "");
        assert_eq!(common_prefix(&["größe/1", "größe/2"]), "größe/");
        assert_eq!(common_prefix(&["a/1"]), "", "a single port keeps its name");
    }
}
