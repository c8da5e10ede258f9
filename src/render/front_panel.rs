//! The front panel of a switch, before it takes a form: a small cell for each port.

use std::fmt::Write;

use rustc_hash::FxHashMap;

use boundwalk_analysis::{
    CableEnd, Cabling, Equipment, Mode, PortLine, Worksheet, front_order, vlan_ranges,
};
use boundwalk_model::{Site, SwitchId, VlanSet};

use super::ports_cells::named_vlans;

/// What the cells mean.
pub(super) const LEGEND: [&str; 5] = [
    "a number: untagged in that VLAN",
    "T1, T2 ...: as listed",
    "-: in no VLAN",
    "x: off",
    ". behind it: nothing plugged in",
];

/// A front has one row of up to so many ports, else two.
pub(super) const ONE_ROW: usize = 12;

/// A cell: the port's name and what it carries.
pub(super) struct PanelCell {
    pub(super) name: String,
    pub(super) code: String,
    pub(super) off: bool,
    /// Whether nothing is plugged in.
    pub(super) open: bool,
}

/// The front panel of one switch. Texts are as the site has them.
pub(super) struct Front {
    pub(super) title: String,
    pub(super) cells: Vec<PanelCell>,
    /// What the codes `T1`, `T2` stand for.
    pub(super) listed: Vec<String>,
    /// VLANs with the names of their segments.
    pub(super) vlans: Vec<String>,
}

impl Front {
    /// The front of a switch. O(ports + their cables).
    pub(super) fn new(site: &Site, cabling: &Cabling<'_>, id: SwitchId) -> Self {
        let switch = &site.switches[id.0];
        let sheet = Worksheet::new(site, cabling, id);
        let mut codes = Codes::default();
        let ports = in_front_order(&sheet);
        let names: Vec<&str> = ports.iter().map(|line| line.name).collect();
        let prefix = common_prefix(&names);
        let cell = |line: &&PortLine<'_>, code: String| PanelCell {
            name: line.name[prefix.len()..].to_owned(),
            off: line.mode == Mode::Off,
            open: line.mode != Mode::Off && code.ends_with('.'),
            code,
        };
        let cells = ports
            .iter()
            .map(|line| {
                let lag = line.member_of.and_then(|lag| {
                    let mut lines = sheet.lines.iter();
                    lines.find(|line| line.lag.is_some() && line.name == lag)
                });
                cell(line, codes.code(cabling, id, line, lag))
            })
            .collect();
        let mut title = switch.name.value.clone();
        if !prefix.is_empty() {
            let _ = write!(title, ": ports {prefix}...");
        }
        if !switch.vlan_aware {
            title.push_str(": knows no VLANs");
        }
        Self {
            title,
            cells,
            listed: codes.listed.iter().filter_map(listed).collect(),
            vlans: named_vlans(sheet.vlans.iter().cloned()),
        }
    }
}

/// The lines of single ports, LAGs' members where their names put them.
fn in_front_order<'s, 'a>(sheet: &'a Worksheet<'s>) -> Vec<&'a PortLine<'s>> {
    let ports: Vec<&PortLine<'s>> = sheet
        .lines
        .iter()
        .filter(|line| line.lag.is_none())
        .collect();
    let names: Vec<&str> = ports.iter().map(|line| line.name).collect();
    front_order(&names)
        .into_iter()
        .map(|at| ports[at])
        .collect()
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
            pvid.map(boundwalk_model::VlanId::get),
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

/// What a code of the list stands for.
fn listed((line, lags): &(&PortLine<'_>, Vec<&str>)) -> Option<String> {
    let vlans = line.vlans?;
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
        parts.push(format!("LAG {}", lags.join(", ")));
    }
    Some(parts.join("; "))
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
