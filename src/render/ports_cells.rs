//! Worksheets of switches in words that every format shares.

use boundwalk_analysis::{
    Attached, CableEnd, Difference, Equipment, LinkMismatch, Mode, PortLine, Worksheet,
    accept_word, lacp_word, segment_name_at, vlan_ranges,
};
use boundwalk_forwarding::layer2::Fabric;
use boundwalk_model::{PortVlans, Site, VlanId};

/// Worksheets of some switches, and what differs between the ends of their cables.
#[derive(Clone, Copy, Debug)]
pub struct Worksheets<'a> {
    /// The site.
    pub site: &'a Site,
    /// Its layer 2.
    pub fabric: &'a Fabric,
    /// One for each switch.
    pub sheets: &'a [Worksheet<'a>],
    /// Differences at their cables.
    pub differences: &'a [Difference<'a>],
}

/// Columns of a worksheet: what all formats call them.
pub(super) const COLUMNS: [&str; 13] = [
    "port",
    "attached",
    "mode",
    "PVID",
    "untagged",
    "tagged",
    "ingress filter",
    "accepts",
    "isolated",
    "LAG",
    "speed",
    "cable",
    "description",
];

/// What the words of the columns mean.
pub(super) const LEGEND: [(&str, &str); 4] = [
    (
        "mode",
        "access: one untagged VLAN; tagged: tagged VLANs only; mixed: both, or several untagged; none: no VLAN; \
         member: set as its LAG; off: disabled",
    ),
    ("PVID", "VLAN that untagged frames are put into on arrival"),
    (
        "ingress filter",
        "on: frames of VLANs that the port does not carry are dropped on arrival",
    ),
    (
        "accepts",
        "frames that are let in at all: all, tagged ones only, or untagged ones only",
    ),
];

/// The fields of a line in the order of [`COLUMNS`]; empty where there is nothing to set. VLANs as `vlans` has
/// them.
pub(super) fn fields(
    site: &Site,
    line: &PortLine<'_>,
    vlans: impl Fn(Vec<VlanId>) -> String,
) -> [String; COLUMNS.len()] {
    let set = line.vlans.filter(|set| !unused(line, set));
    let text = |of: fn(&PortVlans) -> String| set.map(of).unwrap_or_default();
    [
        line.name.to_owned(),
        attached(site, line),
        match line.mode {
            Mode::Unaware => String::new(),
            mode => mode.word().to_owned(),
        },
        text(|set| set.pvid.map_or("none".to_owned(), |pvid| pvid.to_string())),
        set.map_or_else(String::new, |set| vlans(set.untagged.iter().collect())),
        set.map_or_else(String::new, |set| vlans(set.tagged.iter().collect())),
        text(|set| on(set.ingress_filter).to_owned()),
        text(|set| accept_word(set.accept).to_owned()),
        if line.isolated { "yes" } else { "" }.to_owned(),
        lag(line),
        line.speed
            .map_or_else(String::new, |speed| speed.to_string()),
        labels(line),
        line.description.to_owned(),
    ]
}

/// What there is to say of a line: name of the column and text.
pub fn port_facts(
    site: &Site,
    sheet: &Worksheet<'_>,
    line: &PortLine<'_>,
) -> Vec<(&'static str, String)> {
    let texts = fields(site, line, |vlans| {
        named_vlans(vlans.into_iter().map(|vlan| sheet.named(vlan))).join(", ")
    });
    COLUMNS
        .into_iter()
        .zip(texts)
        .filter(|(_, text)| !text.is_empty())
        .collect()
}

/// A disabled port that nobody has given a VLAN: nothing about VLANs is to be set.
fn unused(line: &PortLine<'_>, set: &PortVlans) -> bool {
    line.mode == Mode::Off && Mode::of(set) == Mode::NoVlan
}

fn on(flag: bool) -> &'static str {
    if flag { "on" } else { "off" }
}

/// What is plugged into a line's port.
pub(super) fn attached(site: &Site, line: &PortLine<'_>) -> String {
    let known: Vec<String> = line
        .attached
        .iter()
        .map(|attached| one_attached(site, attached))
        .collect();
    match (known.is_empty(), line.member_of, line.mode) {
        (false, ..) => known.join(", "),
        (true, _, Mode::Off) => "nothing: off".to_owned(),
        (true, Some(_), _) => String::new(),
        (true, None, _) => "nothing: open".to_owned(),
    }
}

fn one_attached(site: &Site, attached: &Attached<'_>) -> String {
    if let Equipment::Host(host) = attached.end.device {
        let host = site.host(host);
        return match host.interfaces.len() {
            1 => host.name.value.clone(),
            _ => format!("{} ({})", host.name.value, attached.end.port),
        };
    }
    let end = attached.end.name(site);
    if attached.interfaces.is_empty() {
        end
    } else {
        format!("{end} ({})", attached.interfaces.join(", "))
    }
}

fn lag(line: &PortLine<'_>) -> String {
    match (&line.lag, line.member_of) {
        (Some(lag), _) => {
            let (lacp, members) = (lacp_word(lag.lacp), lag.members.join(", "));
            format!("ports {members}; LACP {lacp}")
        }
        (None, Some(lag)) => format!("member of {lag}"),
        (None, None) => String::new(),
    }
}

fn labels(line: &PortLine<'_>) -> String {
    let mut labels: Vec<&str> = line.attached.iter().filter_map(|end| end.label).collect();
    labels.dedup();
    labels.join(", ")
}

/// VLANs with the names of their segments: `10 office, 20 guest, 100-120`. Only nameless ones form ranges.
pub(super) fn named_vlans(
    vlans: impl IntoIterator<Item = (VlanId, Option<String>)>,
) -> Vec<String> {
    let mut parts = Vec::new();
    let mut nameless = Vec::new();
    for (vlan, name) in vlans {
        match name {
            Some(name) => {
                parts.extend(vlan_ranges(nameless.drain(..)));
                parts.push(format!("{vlan} {name}"));
            }
            None => nameless.push(vlan),
        }
    }
    parts.extend(vlan_ranges(nameless));
    parts
}

/// `VLAN 10 office`, `VLANs 10 office, 20 guest`.
fn vlans_text(sheets: &Worksheets<'_>, end: CableEnd<'_>, vlans: &[VlanId]) -> String {
    let word = if vlans.len() == 1 { "VLAN" } else { "VLANs" };
    let name = |vlan| match end.device {
        Equipment::Switch(id) => segment_name_at(sheets.site, sheets.fabric, id, vlan),
        Equipment::Router(_) | Equipment::Host(_) => None,
    };
    let list = named_vlans(vlans.iter().map(|&vlan| (vlan, name(vlan))));
    format!("{word} {}", list.join(", "))
}

/// The end whose switch says what a VLAN is: this one, unless it is a gateway's or router's.
fn switch_end<'s>(ends: [CableEnd<'s>; 2], near: usize) -> CableEnd<'s> {
    match ends[near].device {
        Equipment::Switch(_) => ends[near],
        Equipment::Router(_) | Equipment::Host(_) => ends[1 - near],
    }
}

/// What differs, as a name for programs.
pub(super) fn difference_kind(what: &LinkMismatch) -> &'static str {
    match what {
        LinkMismatch::Off(_) => "off-at-one-end",
        LinkMismatch::ToItself => "lag-to-itself",
        LinkMismatch::LagAtOneEnd(_) => "lag-at-one-end",
        LinkMismatch::LagParts(..) => "lag-in-parts",
        LinkMismatch::Members(_) => "lag-members",
        LinkMismatch::Lacp(_) => "lacp",
        LinkMismatch::Speed(_) => "speed",
        LinkMismatch::OneEndOnly(..) => "vlans-at-one-end",
        LinkMismatch::TaggedAtOneEnd(..) => "tagged-at-one-end",
        LinkMismatch::Dropped(..) => "tagged-frames-dropped",
        LinkMismatch::Joins(..) => "vlans-joined",
        LinkMismatch::Untagged(_) => "untagged",
    }
}

/// What differs, in a sentence.
pub(super) fn difference_text(sheets: &Worksheets<'_>, difference: &Difference<'_>) -> String {
    let (site, ends) = (sheets.site, difference.ends);
    let [one, other] = ends.map(|end| end.name(site));
    let pair = |near: usize| match near {
        0 => (&one, &other),
        _ => (&other, &one),
    };
    match &difference.what {
        LinkMismatch::Off(near) => {
            let (near, far) = pair(*near);
            format!("{near} is off, {far} is on")
        }
        LinkMismatch::ToItself => format!("both ends of a cable are in the LAG {one}"),
        LinkMismatch::LagAtOneEnd(near) => {
            let (near, far) = pair(*near);
            format!("{near} is a LAG, {far} a single port")
        }
        LinkMismatch::LagParts(near, count) => {
            let near = pair(*near).0;
            format!("the cables of the LAG {near} lead to {count} different ends")
        }
        LinkMismatch::Members([here, there]) => {
            format!("member ports: {one} has {here}, {other} has {there}")
        }
        LinkMismatch::Lacp([here, there]) => {
            let (here, there) = (lacp_word(*here), lacp_word(*there));
            format!("LACP: {one} is {here}, {other} is {there}: the LAG never forms")
        }
        LinkMismatch::Speed([here, there]) => {
            format!("speed: {one} has {here}, {other} has {there}")
        }
        LinkMismatch::OneEndOnly(near, vlans) => one_end_only(sheets, ends, *near, vlans),
        LinkMismatch::TaggedAtOneEnd(near, vlans) => {
            let vlans = vlans_text(sheets, switch_end(ends, *near), vlans);
            let (near, far) = pair(*near);
            format!("{vlans}: tagged at {near}, untagged at {far}")
        }
        LinkMismatch::Dropped(near, vlans) => {
            let vlans = vlans_text(sheets, switch_end(ends, *near), vlans);
            let (near, far) = pair(*near);
            format!("{vlans}: tagged at {near}, and {far} drops tagged frames")
        }
        LinkMismatch::Joins(near, vlan, to, into) => {
            let sent = vlans_text(sheets, ends[*near], &[*vlan]);
            let switch = segment_name_at(site, sheets.fabric, to.switch(), *into);
            let taken = named_vlans([(*into, switch)]).join(", ");
            let (near, far) = pair(*near);
            let to = to.name(site);
            format!("{near} sends {sent} to {far}, and {to} behind it takes that into VLAN {taken}")
        }
        LinkMismatch::Untagged([here, there]) => {
            let [here, there] = [(0, here), (1, there)]
                .map(|(near, told)| untagged(sheets, switch_end(ends, near), told));
            format!("untagged frames: {one} {here}; {other} {there}")
        }
    }
}

fn one_end_only(
    sheets: &Worksheets<'_>,
    ends: [CableEnd<'_>; 2],
    near: usize,
    vlans: &[VlanId],
) -> String {
    let (here, there) = (ends[near], ends[1 - near]);
    let list = vlans_text(sheets, switch_end(ends, near), vlans);
    let (near, far) = (here.name(sheets.site), there.name(sheets.site));
    let router = |end: CableEnd<'_>| matches!(end.device, Equipment::Router(_));
    if router(here) {
        let expects = "has interfaces for";
        return format!("{near} {expects} {list}, which {far} does not carry");
    }
    if router(there) {
        return format!("{near} carries {list}, for which {far} has no interface");
    }
    format!("{near} carries {list}, {far} does not")
}

fn untagged(
    sheets: &Worksheets<'_>,
    end: CableEnd<'_>,
    (sent, taken): &(Vec<VlanId>, Option<VlanId>),
) -> String {
    let sends = if sent.is_empty() {
        "sends none".to_owned()
    } else {
        format!("sends {}", vlans_text(sheets, end, sent))
    };
    match taken {
        Some(vlan) if sent.as_slice() == [*vlan] => format!("{sends} and takes them so"),
        Some(vlan) => {
            let taken = vlans_text(sheets, end, &[*vlan]);
            format!("{sends} and takes them into {taken}")
        }
        None => format!("{sends} and drops them"),
    }
}
