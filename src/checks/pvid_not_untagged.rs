//! Untagged frames go in by one VLAN and come out of another.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::PortId;
use boundwalk_forwarding::layer2::frame::admit_untagged;
use boundwalk_model::{FrameTypes, PortVlans};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "pvid-not-untagged",
    severity: Severity::Error,
    summary: "a port that takes untagged frames into one VLAN and sends those of another",
    why: "What a device sends here lands in the VLAN of the PVID, but what that VLAN sends never comes back \
        without a tag. Traffic leaks one way into a segment where nobody expects it, and no connection works.",
    fine_when: "Never by accident. Two VLANs on purpose, one for each direction, need switches that share \
        their address tables between VLANs; say so in the port's description.",
    remedy: "Give the port one untagged VLAN and the same PVID: `access = \"SEGMENT\"` does both.",
    references: &[
        "RFC 4363, dot1qPvid and dot1qVlanStaticUntaggedPorts",
        "RFC 5517 section 2.1, on IEEE 802.1Q-2005 annex B.1.3 (a VLAN for each direction)",
    ],
    fires: include_str!("examples/pvid-not-untagged.fires.toml"),
    quiet: include_str!("examples/pvid-not-untagged.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, vlans) in view.fabric.vlan_ports() {
        if let Some(what) = mismatch(view, port, vlans) {
            report.add(
                found(&CHECK, port_id.place, view.name(port), what)
                    .help("use `access = …`, or the same VLAN in `pvid` and `untagged`"),
            );
        }
    }
}

fn mismatch(view: &CheckContext<'_>, port: PortId, own: &PortVlans) -> Option<String> {
    let untagged: Vec<_> = own.untagged.iter().collect();
    let sent = || view.vlans(port, &untagged);
    let Some(pvid) = own.pvid.filter(|_| own.accept != FrameTypes::Tagged) else {
        let sends = !untagged.is_empty();
        return sends.then(|| format!("sends {} untagged and takes no untagged frames", sent()));
    };
    // PVID 1 that nobody wrote, on a trunk: `default-vlan-in-use` says it.
    let left_out = untagged.is_empty() && pvid.get() == 1;
    if own.untagged.contains(pvid) || own.members().is_empty() || left_out {
        return None;
    }
    let taken = view.vlan_name(port, pvid);
    Some(match (untagged.is_empty(), admit_untagged(own)) {
        (false, Err(_)) => format!(
            "sends {} untagged, but its PVID is {pvid} and its filter drops those frames",
            sent()
        ),
        (false, Ok(_)) => format!(
            "takes untagged frames into {taken} and sends {} untagged",
            sent()
        ),
        (true, Ok(_)) => format!("takes untagged frames into {taken} and sends none"),
        (true, Err(_)) => return None,
    })
}
