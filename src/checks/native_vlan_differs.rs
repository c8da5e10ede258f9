//! The two ends of a cable take untagged frames into different VLANs.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::frame::admit_untagged;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "native-vlan-differs",
    severity: Severity::Error,
    summary: "a cable whose ends put untagged frames into different VLANs",
    why: "What leaves one switch without a tag comes into the other in another VLAN: two segments become \
        one, or one is cut in two, and no gateway notices.",
    fine_when: "Two sites number one and the same segment differently and meet on an untagged cable on \
        purpose.",
    remedy: "Use the same untagged VLAN and PVID at both ends; better, none: tag every VLAN on a trunk.",
    references: &[
        "RFC 4363, dot1qPvid and dot1qVlanStaticUntaggedPorts",
        "IEEE 802.1AB with the 802.1Q extensions: switches tell each other their port VLAN to notice this",
    ],
    fires: include_str!("examples/native-vlan-differs.fires.toml"),
    quiet: include_str!("examples/native-vlan-differs.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (near, far) in view.fabric.trunks() {
        let (Some(here), Some(there)) = (view.fabric.vlans(near), view.fabric.vlans(far)) else {
            continue;
        };
        let taken = admit_untagged(there).ok().map(|(vlan, _)| vlan);
        let moved = here.untagged.iter().filter(|&sent| match taken {
            Some(taken) => taken != sent,
            // Where the far end is not in the VLAN at all, `trunk-vlan-one-end` says it.
            None => there.carries(sent),
        });
        let moved: Vec<_> = moved.collect();
        if moved.is_empty() {
            continue;
        }
        let (name, peer) = (view.name(near), view.name(far));
        let sent = view.vlans(near, &moved);
        let what = match taken {
            Some(taken) => {
                let taken = view.vlan_name(far, taken);
                format!("sends {sent} untagged, and {peer} takes it into {taken}")
            }
            None => format!("sends {sent} untagged, and {peer} takes no untagged frames"),
        };
        report.add(
            found(&CHECK, view.fabric.port(near).place, name, what)
                .note(
                    view.fabric.port(far).place,
                    format!("{peer} is described here"),
                )
                .help("make the untagged VLAN the same at both ends, or tag it at both"),
        );
    }
}
