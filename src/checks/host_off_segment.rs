//! An interface that its port puts on another segment than the file says.

use crate::analysis::vlan_name;
use crate::diagnostic::{Check, Severity, Span};
use crate::model::{LinkEnd, SegmentId, Site, VlanId};

use super::report::{Report, found};
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "host-off-segment",
    severity: Severity::Error,
    summary: "an interface whose port puts its frames into another VLAN than that of its segment",
    why: "By its address the device is on one segment, by its cable on another. It works for neither, or it \
        is given the other segment's address and is where nobody looks for it.",
    fine_when: "Never: either the address or the port is wrong.",
    remedy: "Move the cable to a port of the right segment, change the port's VLAN, or correct the address.",
    references: &["RFC 4363, dot1qPvid: the VLAN of untagged frames"],
    fires: include_str!("examples/host-off-segment.fires.toml"),
    quiet: include_str!("examples/host-off-segment.quiet.toml"),
};

/// An interface at the end of a cable.
struct Interface {
    name: String,
    span: Span,
    segment: SegmentId,
    tag: Option<VlanId>,
    gateway: bool,
}

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for link in &view.site.links {
        let [one, other] = &link.ends;
        for (near, far) in [(one, other), (other, one)] {
            let Some(socket) = view.wiring.socket_at(&far.value) else {
                continue;
            };
            for interface in interfaces(view.site, &near.value) {
                judge(view, report, &interface, socket);
            }
        }
    }
}

fn interfaces(site: &Site, end: &LinkEnd) -> Vec<Interface> {
    match end {
        LinkEnd::Switch(..) => Vec::new(),
        LinkEnd::Host(id, name) => {
            let host = site.host(*id);
            let own = host.interfaces.iter().filter(|own| own.name.value == *name);
            let named = |own: &crate::model::HostInterface| Interface {
                name: format!("{}:{}", host.name.value, own.name.value),
                span: own.name.span,
                segment: own.segment,
                tag: own.vlan,
                gateway: false,
            };
            own.map(named).collect()
        }
        LinkEnd::Router(id, port) => {
            let router = site.router(*id);
            let lag = router.lag_of(port).map(|lag| &router.lags[lag].name.value);
            let here = router
                .interfaces_on(lag.unwrap_or(port))
                .map(|(_, own)| own);
            let named = |own: &crate::model::Interface| Interface {
                name: format!("{}:{}", router.name.value, own.name.value),
                span: own.name.span,
                segment: own.segment,
                tag: own.vlan,
                gateway: true,
            };
            here.map(named).collect()
        }
    }
}

/// Holds an interface against the VLAN that takes its frames: that of the port, or of the ports behind a switch
/// that knows no VLANs.
fn judge(view: &View<'_>, report: &mut Report, interface: &Interface, socket: usize) {
    let Some(wanted) = view.site.segment(interface.segment).vlan else {
        return;
    };
    // An interface with another tag than its segment is a problem of loading.
    if interface.tag.is_some_and(|tag| tag != wanted.value) {
        return;
    }
    for port in aware_ports(view, socket) {
        let there = &view.wiring.sockets[port];
        let into = match interface.tag {
            None => there.untagged_into(),
            Some(tag) => there.admits_tag(tag).then_some(tag),
        };
        let name = view.wiring.name(port);
        let what = match into {
            Some(into) if into == wanted.value => continue,
            // The other direction is `gateway-tag-missing`.
            Some(into) if interface.gateway && view.site.segment_of_vlan(into).is_none() => {
                continue;
            }
            None if interface.gateway => continue,
            Some(into) => format!(
                "on {name} in {}, but its segment is {}",
                vlan_name(view.site, into),
                segment(view, interface)
            ),
            None => format!(
                "on {name}, which drops its frames; its segment is {}",
                segment(view, interface)
            ),
        };
        report.add(
            found(&CHECK, interface.span, &interface.name, what)
                .note(there.place, "the port")
                .help("correct the port, the cable or the address"),
        );
    }
}

fn segment(view: &View<'_>, interface: &Interface) -> String {
    let segment = view.site.segment(interface.segment);
    let vlan = segment
        .vlan
        .map_or_else(String::new, |vlan| format!(" (VLAN {})", vlan.value));
    format!("{}{vlan}", segment.name.value)
}

/// Ports of switches that know VLANs, as seen from a socket: itself, or those that the switch leads to.
fn aware_ports(view: &View<'_>, socket: usize) -> Vec<usize> {
    let mut seen = vec![socket];
    let mut aware = Vec::new();
    let mut at = 0;
    while let Some(&here) = seen.get(at) {
        at += 1;
        if !view.wiring.sockets[here].live {
            continue;
        }
        if view.wiring.sockets[here].aware {
            aware.push(here);
            continue;
        }
        for out in view.wiring.neighbours(here) {
            for peer in view.wiring.sockets[out].peers() {
                if !seen.contains(&peer) {
                    seen.push(peer);
                }
            }
        }
    }
    aware
}
