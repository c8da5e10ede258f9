//! A second tag that comes to light behind a trunk.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Exposed, Fabric, Far, Frame, PortId, Start, flood};
use boundwalk_model::{VlanId, VlanSet};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "two-tag-hop",
    severity: Severity::Warning,
    summary: "a VLAN that leaves untagged by a cable where others are tagged, and that devices sit in",
    why: "A device in that VLAN sends frames with a tag of its choice below the one the switch looks at (or \
        below a priority tag). The switch takes the outer tag off at this port; the next device sees the \
        inner one and puts the frame into another VLAN. One way, but past every rule.",
    fine_when: "The switch is known to drop or rewrite what comes with a tag from the ports of that VLAN, \
        priority-tagged frames included.",
    remedy: "Tag every VLAN on the cable, or leave untagged one that no port for devices is in.",
    references: &[
        "RFC 4363, dot1qPvid: untagged and priority-tagged frames take the PVID",
        "seen with a Linux 6.1 bridge: the inner tag is exposed wherever the outer VLAN leaves untagged",
    ],
    fires: include_str!("examples/two-tag-hop.fires.toml"),
    quiet: include_str!("examples/two-tag-hop.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let fabric = view.fabric;
    let sent = flood(fabric, &fabric.hostile_anywhere());
    let tags = tags_in_use(fabric);
    for exposed in fabric.exposed(&sent) {
        let Exposed { port, vlan, place } = exposed;
        let inner: Vec<VlanId> = tags
            .iter()
            .filter(|&tag| tag != vlan)
            .filter(|&tag| leads_on(fabric, port, tag))
            .collect();
        if inner.is_empty() {
            continue;
        }
        let what = format!(
            "sends {} untagged: a tag below it may lead on into {}",
            view.vlan_name(port, vlan),
            view.vlans(port, &inner)
        );
        let note = format!("a device at {} could do it", view.port_name(place));
        report.add(
            found(&CHECK, fabric.port(port).place, view.name(port), what)
                .note(fabric.port(place).place, note)
                .measured(of_things(
                    inner.iter().map(|tag| format!("into VLAN {tag}")),
                ))
                .help("tag this VLAN on the cable too"),
        );
    }
}

/// VLANs that a port or an interface uses.
fn tags_in_use(fabric: &Fabric) -> VlanSet {
    let mut tags: VlanSet = fabric
        .interfaces
        .iter()
        .filter_map(|interface| interface.tag)
        .collect();
    for (_, _, vlans) in fabric.vlan_ports() {
        for vlan in vlans.members().iter() {
            tags.insert(vlan);
        }
    }
    tags
}

/// Whether a tag that comes to light on a cable brings the frame to a device that expects it: an interface, or
/// whatever is plugged in where the frame comes out untagged.
fn leads_on(fabric: &Fabric, port: PortId, tag: VlanId) -> bool {
    let frame = Frame::of(Some(tag));
    match &fabric.port(port).far {
        Far::Interfaces(interfaces) => interfaces
            .iter()
            .any(|&interface| frame.fits(fabric.interface(interface).tag)),
        Far::Ports(far) => {
            let starts: Vec<Start> = far
                .iter()
                .map(|&far| Start::AttachPoint(far, frame))
                .collect();
            flood(fabric, &starts).taken.iter().any(|taken| {
                let place = fabric.is_for_devices(taken.port) && taken.frame.outer().is_none();
                taken.interface.is_some() || place
            })
        }
        Far::Open | Far::Dead => false,
    }
}
