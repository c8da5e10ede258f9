//! VLAN configuration of one port: three ways to write it, one meaning.

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{FrameTypes, PortVlans, SegmentId, VlanId, VlanSet};

use super::context::Context;
use super::kinds;
use super::quote::shown;
use super::reader::{Table, Value, Words, wrong_type};
use super::segments::vlan;

const ACCEPT: &Words<FrameTypes> = &[
    ("all", FrameTypes::All),
    ("tagged", FrameTypes::Tagged),
    ("untagged", FrameTypes::Untagged),
];

/// Keys that say something about VLANs.
pub(super) const VLAN_KEYS: [&str; 6] = [
    "access",
    "untagged",
    "tagged",
    "pvid",
    "ingress_filter",
    "accept",
];

/// Reads the VLAN keys of a port. Without any of them the port is as the standard's defaults leave it, in no
/// VLAN's member set.
pub(super) fn read(cx: &mut Context<'_>, table: &Table<'_>) -> PortVlans {
    if table.get("access").is_some() {
        return read_access(cx, table);
    }
    let untagged = vlans(cx, table, "untagged");
    let tagged = vlans(cx, table, "tagged");
    check_both(cx, table, &untagged, &tagged);
    let long = ["pvid", "ingress_filter", "accept"]
        .iter()
        .any(|key| table.get(key).is_some());
    if long {
        return read_long(cx, table, &untagged, &tagged);
    }
    if untagged.is_empty() && tagged.is_empty() {
        return PortVlans::default();
    }
    if untagged.len() > 1 {
        let message =
            "several untagged VLANs, and nothing says which one untagged frames belong to";
        let problem = Problem::at(&kinds::MISSING_KEY, table.key_span("untagged"), message);
        cx.report(problem.help("add `pvid = …` (and see to `ingress_filter` and `accept`: the long form takes the standard's defaults)"));
    }
    let pvid = untagged.first().map(|vlan| vlan.value);
    PortVlans {
        pvid,
        untagged: set(&untagged),
        tagged: set(&tagged),
        ingress_filter: true,
        accept: if pvid.is_some() {
            FrameTypes::All
        } else {
            FrameTypes::Tagged
        },
    }
}

/// One VLAN for whoever plugs in: ingress filtering on, untagged and priority-tagged frames only.
fn read_access(cx: &mut Context<'_>, table: &Table<'_>) -> PortVlans {
    for key in VLAN_KEYS.iter().filter(|key| **key != "access") {
        if table.get(key).is_some() {
            let message = format!("`{key}` on a port with `access`");
            let problem = Problem::at(&kinds::CONFLICTING_KEYS, table.key_span(key), message);
            let problem = problem.note(table.key_span("access"), "already says all about VLANs");
            cx.report(problem.help("`access` stands for pvid and untagged of one VLAN, filtered; remove one of the two"));
        }
    }
    let vlan = table
        .get("access")
        .and_then(|value| one_vlan(cx, value, "access"));
    PortVlans {
        pvid: vlan,
        untagged: vlan.into_iter().collect(),
        tagged: VlanSet::default(),
        ingress_filter: true,
        accept: FrameTypes::Untagged,
    }
}

fn read_long(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    untagged: &[Spanned<VlanId>],
    tagged: &[Spanned<VlanId>],
) -> PortVlans {
    let mut vlans = PortVlans {
        untagged: set(untagged),
        tagged: set(tagged),
        ..PortVlans::default()
    };
    if let Some(value) = table.get("pvid") {
        let none = value.text().is_some_and(|text| text.value == "none");
        vlans.pvid = if none {
            None
        } else {
            one_vlan(cx, value, "pvid")
        };
    }
    if let Some(filter) = table.flag(&mut cx.report, "ingress_filter") {
        vlans.ingress_filter = filter.value;
    }
    if let Some(accept) = table.word(&mut cx.report, "accept", ACCEPT) {
        vlans.accept = accept.value;
    }
    vlans
}

/// One VLAN or a list of them.
fn vlans(cx: &mut Context<'_>, table: &Table<'_>, key: &str) -> Vec<Spanned<VlanId>> {
    let Some(value) = table.get(key) else {
        return Vec::new();
    };
    let items = value.list().unwrap_or_else(|| vec![value]);
    let mut found = Vec::with_capacity(items.len());
    for item in items {
        if let Some(vlan) = one_vlan(cx, item, key) {
            found.push(Spanned::new(vlan, item.span));
        }
    }
    found
}

/// A VLAN by number or by the segment that it carries.
fn one_vlan(cx: &mut Context<'_>, value: Value<'_>, key: &str) -> Option<VlanId> {
    if let Some(number) = value.integer() {
        return vlan(&mut cx.report, number);
    }
    let Some(name) = value.text() else {
        let problem = wrong_type(value, key, "the name of a segment or a VLAN number");
        cx.report(problem);
        return None;
    };
    if cx.segments.find(name.value).is_none() && name.value.parse::<u16>().is_ok() {
        let message = format!("no segment is called `{}`", shown(name.value));
        let problem = Problem::at(&kinds::UNKNOWN_NAME, name.span, message);
        cx.report(problem.help(format!(
            "a VLAN number stands without quotes: did you mean {}?",
            name.value
        )));
        return None;
    }
    let number = cx.segments.require(&mut cx.report, name)?;
    let segment = &cx.site.segments[number];
    if let Some(vlan) = segment.vlan {
        cx.named_segments.push(SegmentId(number));
        return Some(vlan.value);
    }
    let message = format!("the segment `{}` has no VLAN", segment.name.value);
    let problem = Problem::at(&kinds::SEGMENT_WITHOUT_VLAN, name.span, message);
    let problem = problem
        .note(segment.name.span, "described here")
        .help("add `vlan = …` to the segment");
    cx.report(problem);
    None
}

fn check_both(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    untagged: &[Spanned<VlanId>],
    tagged: &[Spanned<VlanId>],
) {
    let set = set(untagged);
    for vlan in tagged.iter().filter(|vlan| set.contains(vlan.value)) {
        let message = format!("VLAN {} both tagged and untagged", vlan.value);
        let problem = Problem::at(&kinds::VLAN_BOTH, vlan.span, message);
        let problem = problem.note(table.key_span("untagged"), "untagged here");
        cx.report(problem.help("frames of a VLAN leave a port with a tag or without: remove one"));
    }
}

fn set(vlans: &[Spanned<VlanId>]) -> VlanSet {
    vlans.iter().map(|vlan| vlan.value).collect()
}
