//! A port for one device that lets it choose its VLAN.

use crate::diagnostic::{Check, Severity};
use crate::model::{FrameTypes, VlanId};

use super::report::{Report, found};
use super::view::View;
use super::wiring::{Far, Socket};
use super::words::vlans;

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
    for (number, socket) in view.wiring.live() {
        let one_vlan = socket.vlans.untagged.iter().count() <= 1;
        if !one_vlan || !socket.is_seat() || socket.described() && socket.far.is_empty() {
            continue;
        }
        if let Some(what) = idle_tags(view, socket) {
            report.add(
                found(&CHECK, socket.place, view.wiring.name(number), what)
                    .help("use `access = …`, or describe the interface that needs the tags"),
            );
        }
    }
}

fn idle_tags(view: &View<'_>, socket: &Socket<'_>) -> Option<String> {
    if socket.vlans.accept == FrameTypes::Untagged {
        return None;
    }
    let used = tags_in_use(view, socket);
    let tagged = socket.vlans.tagged.iter();
    let idle: Vec<VlanId> = tagged.filter(|vlan| !used.contains(vlan)).collect();
    if !idle.is_empty() {
        let idle = vlans(view.site, &idle);
        return Some(match socket.far.is_empty() {
            true => format!("open to whoever plugs in, with {idle} tagged"),
            false => {
                format!("carries {idle} tagged, and what is plugged in has no interface there")
            }
        });
    }
    let access = socket.vlans.tagged.is_empty() && !socket.vlans.untagged.is_empty();
    (access && used.is_empty()).then(|| "for untagged frames, but takes tagged ones too".to_owned())
}

/// Tags of the interfaces that are plugged in.
fn tags_in_use(view: &View<'_>, socket: &Socket<'_>) -> Vec<VlanId> {
    let hosts = socket.far.iter().filter_map(|far| match *far {
        Far::Host(host, at) => view.site.host(host).interfaces[at].vlan,
        Far::Router(..) | Far::Socket(_) => None,
    });
    hosts.collect()
}
