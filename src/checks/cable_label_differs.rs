//! Labels on cables that mislead.

use crate::analysis::vlan_name;
use rustc_hash::FxHashMap;

use crate::diagnostic::{Check, Severity, Span};
use crate::model::{Link, VlanId};

use super::report::{Report, found};
use super::view::View;

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

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    let mut lags: FxHashMap<usize, (&str, Span)> = FxHashMap::default();
    let mut segments: FxHashMap<&str, (VlanId, Span)> = FxHashMap::default();
    for link in &view.site.links {
        let Some(label) = link.label.as_deref() else {
            continue;
        };
        for socket in sockets(view, link) {
            if view.wiring.sockets[socket].lag.is_some() {
                let (first, place) = *lags.entry(socket).or_insert((label, link.place));
                if first != label {
                    let what = format!("has cables labelled \"{first}\" and \"{label}\"");
                    let subject = view.wiring.name(socket);
                    report.add(
                        found(&CHECK, link.place, subject, what)
                            .note(place, "the other cable")
                            .help("give both cables one label"),
                    );
                }
            }
        }
        let Some(only) = only_vlan(view, link) else {
            continue;
        };
        let (first, place) = *segments.entry(label).or_insert((only, link.place));
        if first != only {
            let names = [first, only].map(|one| vlan_name(view.site, one));
            let what = format!("on cables of {} and of {}", names[0], names[1]);
            report.add(
                found(&CHECK, link.place, format!("\"{label}\""), what)
                    .note(place, "the other cable")
                    .help("give them different labels"),
            );
        }
    }
}

fn sockets(view: &View<'_>, link: &Link) -> Vec<usize> {
    let ends = link.ends.iter();
    ends.filter_map(|end| view.wiring.socket_at(&end.value))
        .collect()
}

/// The VLAN of a cable that carries just one.
fn only_vlan(view: &View<'_>, link: &Link) -> Option<VlanId> {
    let mut members: Vec<VlanId> = Vec::new();
    for socket in sockets(view, link) {
        members.extend(view.wiring.sockets[socket].members());
    }
    members.sort_unstable();
    members.dedup();
    match members.as_slice() {
        [one] => Some(*one),
        _ => None,
    }
}
