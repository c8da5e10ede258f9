//! Labels on cables that mislead.

use rustc_hash::FxHashMap;

use boundwalk_analysis::{PortKey, end_key, numbered_vlan_at};
use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_model::{Link, VlanId};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "cable-label-differs",
    severity: Severity::Note,
    summary: "cables of one LAG with different labels, or one label on cables of different segments",
    why: "Labels are what people go by when they plug at night. Two that differ on one LAG look like two \
        connections; one on two segments invites the wrong plug.",
    fine_when: "The label names something else than where a cable belongs, the year it was laid, say.",
    remedy: "Label all cables of a LAG alike, and cables of different segments differently.",
    references: &["common practice, no source"],
    fires: include_str!("examples/cable-label-differs.fires.toml"),
    quiet: include_str!("examples/cable-label-differs.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let mut lags: FxHashMap<PortKey, (&str, Span)> = FxHashMap::default();
    let mut segments: FxHashMap<&str, (VlanId, String, Span)> = FxHashMap::default();
    for link in &view.site.links {
        let Some(label) = link.label.as_deref() else {
            continue;
        };
        for port in ports(view, link) {
            if !matches!(port, PortKey::Lag(..)) {
                continue;
            }
            let (first, place) = *lags.entry(port).or_insert((label, link.place));
            if first != label {
                let what = format!("has cables labelled \"{first}\" and \"{label}\"");
                report.add(
                    found(&CHECK, link.place, port.name(view.site), what)
                        .note(place, "the other cable")
                        .help("give both cables one label"),
                );
            }
        }
        let Some((only, name)) = only_vlan(view, link) else {
            continue;
        };
        let known = segments.entry(label);
        let (first, other, place) = known.or_insert_with(|| (only, name.clone(), link.place));
        if *first != only {
            let what = format!("on cables of {other} and of {name}");
            report.add(
                found(&CHECK, link.place, format!("\"{label}\""), what)
                    .note(*place, "the other cable")
                    .help("give them different labels"),
            );
        }
    }
}

/// The ports and LAGs of switches at the ends of a cable.
fn ports(view: &CheckContext<'_>, link: &Link) -> Vec<PortKey> {
    link.ends
        .iter()
        .filter_map(|end| end_key(view.site, &end.value))
        .collect()
}

/// The VLAN of a cable that carries just one, and its name.
fn only_vlan(view: &CheckContext<'_>, link: &Link) -> Option<(VlanId, String)> {
    let mut members: Vec<VlanId> = Vec::new();
    let ports = ports(view, link);
    for port in &ports {
        let vlans = port.vlans(view.site);
        members.extend(vlans.into_iter().flat_map(|vlans| {
            let members: Vec<VlanId> = vlans.members().iter().collect();
            members
        }));
    }
    members.sort_unstable();
    members.dedup();
    let &[only] = members.as_slice() else {
        return None;
    };
    let switch = view.fabric.switch(ports.first()?.switch())?;
    let name = numbered_vlan_at(view.site, view.fabric, switch, only);
    Some((only, format!("VLAN {name}")))
}
