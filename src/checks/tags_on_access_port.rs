//! A port for one device that lets it choose its VLAN.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Arrival, Fabric, Far, Frame, NodeKind, PortId};
use boundwalk_model::{FrameTypes, PortVlans, VlanId};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "tags-on-access-port",
    severity: Severity::Warning,
    summary: "a port for one device that takes tagged frames the device has no use for",
    why: "Whoever unplugs the device and plugs in a laptop sends frames with a tag of their choice. Where \
        the port carries other VLANs tagged, the laptop is in all of them; where it merely accepts tags, a \
        second tag may hop over a trunk (see `two-tag-hop`).",
    fine_when: "The device uses the tags (a telephone with a computer behind it, a hypervisor): describe \
        an interface with that `vlan` on the host.",
    remedy: "Use `access = \"SEGMENT\"`: one VLAN, and untagged frames only.",
    references: &[
        "RFC 4363, dot1qPortAcceptableFrameTypes (IEEE8021-TC-MIB adds admitUntaggedAndPriority)",
    ],
    fires: include_str!("examples/tags-on-access-port.fires.toml"),
    quiet: include_str!("examples/tags-on-access-port.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (port, port_id, vlans) in view.fabric.vlan_ports() {
        let one_vlan = vlans.untagged.iter().count() <= 1;
        let open = port_id.far == Far::Open;
        if !one_vlan || open && view.is_described(port) {
            continue;
        }
        if let Some(used) = tags_in_use(view.fabric, port, vlans)
            && let Some(what) = idle_tags(view, port, vlans, &used)
        {
            report.add(
                found(&CHECK, port_id.place, view.name(port), what)
                    .measured(of_things(
                        vlans.tagged.iter().map(|vlan| format!("VLAN {vlan}")),
                    ))
                    .help("use `access = …`, or describe the interface that needs the tags"),
            );
        }
    }
}

/// Tags of the interfaces at a port for devices, which may share it by a switch that knows no VLANs; `None` where
/// other switches hang on it, or a gateway.
fn tags_in_use(fabric: &Fabric, port: PortId, vlans: &PortVlans) -> Option<Vec<VlanId>> {
    if fabric.is_for_devices(port) {
        let hosts = fabric.hosts_at(port).into_iter();
        return Some(hosts.filter_map(|(_, tag)| tag).collect());
    }
    let Far::Ports(far) = &fabric.port(port).far else {
        return None;
    };
    let unaware = |&far: &PortId| {
        let kind = fabric.node(fabric.port(far).node).kind;
        matches!(kind, NodeKind::Unaware(_))
    };
    if !far.iter().all(unaware) {
        return None;
    }
    let mut used = Vec::new();
    for tag in std::iter::once(None).chain(vlans.tagged.iter().map(Some)) {
        let sent: Vec<_> = far.iter().map(|&far| (far, Frame::of(tag))).collect();
        for arrival in fabric.arrivals(&sent) {
            match arrival {
                Arrival::Port(..) => return None,
                Arrival::WiredInterface(_) => used.extend(tag),
            }
        }
    }
    Some(used)
}

fn idle_tags(
    view: &CheckContext<'_>,
    port: PortId,
    vlans: &PortVlans,
    used: &[VlanId],
) -> Option<String> {
    if vlans.accept == FrameTypes::Untagged {
        return None;
    }
    let tagged = vlans.tagged.iter();
    let idle: Vec<VlanId> = tagged.filter(|vlan| !used.contains(vlan)).collect();
    if !idle.is_empty() {
        let idle = view.vlans(port, &idle);
        return Some(if view.fabric.port(port).far == Far::Open {
            format!("open to whoever plugs in, with {idle} tagged")
        } else {
            format!("carries {idle} tagged, and what is plugged in has no interface there")
        });
    }
    let access = vlans.tagged.is_empty() && !vlans.untagged.is_empty();
    (access && used.is_empty()).then(|| "for untagged frames, but takes tagged ones too".to_owned())
}
