//! A VLAN that only one end of a cable carries.

use crate::diagnostic::{Check, Severity};

use super::report::{Report, found};
use super::view::View;
use super::words::vlans;

pub(super) static CHECK: Check = Check {
    name: "trunk-vlan-one-end",
    severity: Severity::Warning,
    summary: "a VLAN that one end of a cable between switches carries and the other does not",
    why: "Its frames go out on the cable and are thrown away at the other end, or, where that end does not \
        filter, come in and get no answer. Either somebody misses the VLAN over there, or it is on the \
        cable for nothing and a change at the other end lets it in.",
    fine_when: "While a change is under way and the other switch is next.",
    remedy: "Carry the VLAN at both ends if it is needed there, else take it off this one.",
    references: &["RFC 4363, dot1qVlanStaticEgressPorts and dot1qPortIngressFiltering"],
    fires: include_str!("examples/trunk-vlan-one-end.fires.toml"),
    quiet: include_str!("examples/trunk-vlan-one-end.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (near, far) in view.wiring.trunks() {
        let (here, there) = (&view.wiring.sockets[near], &view.wiring.sockets[far]);
        // In no VLAN at all: `port-without-vlan` says it.
        if there.members().is_empty() {
            continue;
        }
        // Taken into another VLAN: `native-vlan-differs` says it.
        let untagged = |sent| here.vlans.untagged.contains(sent) && there.untagged_into().is_some();
        let members = here.members().into_iter();
        let alone: Vec<_> = members
            .filter(|&sent| !there.carries(sent) && !untagged(sent))
            .collect();
        if alone.is_empty() {
            continue;
        }
        let peer = view.wiring.name(far);
        let what = format!(
            "carries {}, which {peer} does not",
            vlans(view.site, &alone)
        );
        report.add(
            found(&CHECK, here.place, view.wiring.name(near), what)
                .note(there.place, format!("{peer} is described here"))
                .help("add it there or take it out here"),
        );
    }
}
