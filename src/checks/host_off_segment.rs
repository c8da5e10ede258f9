//! An interface that its port puts on another segment than the file says.

use boundwalk_analysis::interface_name;
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Arrival, InterfaceOf, WiredInterface};

use super::report::{FindingReport, found};
use super::view::CheckContext;

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

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for id in view.fabric.interface_ids() {
        let interface = view.fabric.interface(id);
        if interface.assumed {
            continue;
        }
        let arrivals = view.fabric.arrivals(&view.fabric.sent_by(id));
        // Where one port puts it right and another does not, the switch between them is wrong: `segments-joined`.
        if !arrivals
            .iter()
            .any(|arrival| is_right(view, interface, *arrival))
        {
            for arrival in arrivals {
                judge(view, report, interface, arrival);
            }
        }
    }
}

fn is_right(view: &CheckContext<'_>, interface: &WiredInterface, arrival: Arrival) -> bool {
    let Arrival::Port(_, Ok((into, _))) = arrival else {
        return false;
    };
    let wanted = view.site.segment(interface.segment).vlan;
    wanted.is_some_and(|wanted| wanted.value == into)
}

/// Holds an interface against the VLAN that takes its frames: that of the port, or of the ports behind a switch
/// that knows no VLANs.
fn judge(
    view: &CheckContext<'_>,
    report: &mut FindingReport,
    interface: &WiredInterface,
    arrival: Arrival,
) {
    let (Some(wanted), Arrival::Port(port, taken)) =
        (view.site.segment(interface.segment).vlan, arrival)
    else {
        return;
    };
    // An interface with another tag than its segment is a problem of loading.
    if interface.tag.is_some_and(|tag| tag != wanted.value) {
        return;
    }
    let gateway = matches!(interface.of, InterfaceOf::Router(..));
    let peer = view.name(port);
    let segment = &view.site.segment(interface.segment).name.value;
    let segment = format!("{segment} (VLAN {})", wanted.value);
    let what = match taken {
        Ok((into, _)) if into == wanted.value => return,
        // The other direction is `gateway-tag-missing`.
        Ok((into, _)) if gateway && view.segments_at(port, into).is_empty() => return,
        Err(_) if gateway => return,
        Ok((into, _)) => format!(
            "on {peer} in {}, but its segment is {segment}",
            view.vlan_name(port, into)
        ),
        Err(_) => format!("on {peer}, which drops its frames; its segment is {segment}"),
    };
    report.add(
        found(
            &CHECK,
            interface.place,
            interface_name(view.site, interface.of),
            what,
        )
        .note(view.fabric.port(port).place, "the port")
        .help("correct the port, the cable or the address"),
    );
}
