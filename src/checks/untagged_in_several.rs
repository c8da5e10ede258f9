//! Frames of several VLANs come out without a tag.

use boundwalk_diagnostic::{Check, Severity};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "untagged-in-several",
    severity: Severity::Warning,
    summary: "a port in the untagged set of several VLANs",
    why: "Whoever is plugged in hears the broadcasts of all these VLANs, and whatever is flooded in them, \
        mixed together and without a mark. What it sends goes into one of them only.",
    fine_when: "Servers that several VLANs share on purpose, on switches that learn addresses for all VLANs \
        together; then no client port may be in the server's list of untagged VLANs but its own.",
    remedy: "Leave one untagged VLAN; carry the others with tags, or route between them.",
    references: &[
        "RFC 4363, dot1qVlanStaticUntaggedPorts",
        "RFC 5517 section 2.1, on IEEE 802.1Q-2005 annex B.1.3 (VLANs that share ports)",
    ],
    fires: include_str!("examples/untagged-in-several.fires.toml"),
    quiet: include_str!("examples/untagged-in-several.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, vlans) in view.fabric.vlan_ports() {
        let untagged: Vec<_> = vlans.untagged.iter().collect();
        if untagged.len() > 1 {
            let what = format!("untagged in {}", view.vlans(port, &untagged));
            report.add(
                found(&CHECK, port_id.place, view.name(port), what)
                    .measured(of_things(
                        untagged.iter().map(|vlan| format!("VLAN {vlan}")),
                    ))
                    .help("leave one of them untagged and tag the others"),
            );
        }
    }
}
