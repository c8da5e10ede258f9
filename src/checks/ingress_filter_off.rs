//! A port that lets in frames of VLANs it is not in.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::FrameTypes;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "ingress-filter-off",
    severity: Severity::Warning,
    summary: "a live port that admits tagged frames of VLANs it is not a member of",
    why: "Whoever is plugged in adds the tag of any VLAN of the switch and has its frames delivered there. \
        Nothing comes back out of the port, but one way is enough to do harm. It is the standard's default.",
    fine_when: "Never needed: a port that must take a VLAN can be made a member of it.",
    remedy: "Set `ingress_filter = true`, or use the short forms (`access`, or `untagged` and `tagged` \
        without `pvid` and `accept`), which have it on.",
    references: &["RFC 4363, dot1qPortIngressFiltering (default: off)"],
    fires: include_str!("examples/ingress-filter-off.fires.toml"),
    quiet: include_str!("examples/ingress-filter-off.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, vlans) in view.fabric.vlan_ports() {
        if !vlans.ingress_filter && vlans.accept != FrameTypes::Untagged {
            report.add(
                found(
                    &CHECK,
                    port_id.place,
                    view.name(port),
                    "lets in tagged frames of every VLAN: ingress filtering is off",
                )
                .help("add `ingress_filter = true`"),
            );
        }
    }
}
