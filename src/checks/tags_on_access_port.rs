//! A port for one device that lets it choose its VLAN.

use crate::diagnostic::{Check, Severity};
use crate::forwarding::layer2::{Far, SocketId};
use crate::model::{FrameTypes, PortVlans, VlanId};

use super::report::{Report, found};
use super::view::View;

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

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (port, socket, vlans) in view.fabric.vlan_ports() {
        let one_vlan = vlans.untagged.iter().count() <= 1;
        let open = socket.far == Far::Open;
        if !one_vlan || !view.fabric.is_for_devices(port) || open && view.is_described(port) {
            continue;
        }
        if let Some(what) = idle_tags(view, port, vlans) {
            report.add(
                found(&CHECK, socket.place, view.name(port), what)
                    .help("use `access = …`, or describe the interface that needs the tags"),
            );
        }
    }
}

fn idle_tags(view: &View<'_>, port: SocketId, vlans: &PortVlans) -> Option<String> {
    if vlans.accept == FrameTypes::Untagged {
        return None;
    }
    let hosts = view.fabric.hosts_at(port).into_iter();
    let used: Vec<VlanId> = hosts.filter_map(|(_, tag)| tag).collect();
    let tagged = vlans.tagged.iter();
    let idle: Vec<VlanId> = tagged.filter(|vlan| !used.contains(vlan)).collect();
    if !idle.is_empty() {
        let idle = view.vlans(port, &idle);
        return Some(match view.fabric.socket(port).far == Far::Open {
            true => format!("open to whoever plugs in, with {idle} tagged"),
            false => {
                format!("carries {idle} tagged, and what is plugged in has no interface there")
            }
        });
    }
    let access = vlans.tagged.is_empty() && !vlans.untagged.is_empty();
    (access && used.is_empty()).then(|| "for untagged frames, but takes tagged ones too".to_owned())
}
