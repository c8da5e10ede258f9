//! A switch that knows no VLANs joins segments.

use boundwalk_analysis::{interface_name, joined};
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Arrival, InterfaceId, NodeKind, PortId};
use boundwalk_model::SwitchId;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "segments-joined",
    severity: Severity::Error,
    summary: "a switch that knows no VLANs, fed from ports or interfaces of different segments",
    why: "Such a switch sends whatever comes in at one port out of all others. What a port sends it untagged in \
        one VLAN comes to the next port without a tag and is taken into that port's VLAN: the two segments are \
        one, and no gateway is asked.",
    fine_when: "Two VLANs are one and the same segment under two numbers, and meet on this switch on purpose.",
    remedy: "Feed the switch from one segment only. To bring several to one place, use a switch that knows VLANs \
        and carry them to it tagged.",
    references: &[
        "RFC 4363, dot1qPvid and dot1qVlanStaticUntaggedPorts",
        "RFC 4188 section 3: a bridge connects network segments below the network layer",
    ],
    fires: include_str!("examples/segments-joined.fires.toml"),
    quiet: include_str!("examples/segments-joined.quiet.toml"),
};

const HELP: &str =
    "feed that switch from one segment only, or put one that knows VLANs in its place";

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for one in joined(view.fabric) {
        let by = switch_name(view, one.by);
        let what = format!(
            "sends {} to {by}, which knows no VLANs, and {} takes that into {}",
            view.vlan_name(one.from, one.vlan),
            view.name(one.to),
            view.vlan_name(one.to, one.into),
        );
        let place = view.fabric.port(one.from).place;
        let note = format!("{} is described here", view.name(one.to));
        report.add(
            found(&CHECK, place, view.name(one.from), what)
                .note(view.fabric.port(one.to).place, note)
                .help(HELP),
        );
    }
    for interface in view.fabric.interface_ids() {
        joined_at(view, report, interface);
    }
}

/// An interface on a switch without VLANs that no port of another switch feeds, with one of another segment.
fn joined_at(view: &CheckContext<'_>, report: &mut FindingReport, id: InterfaceId) {
    let sent = view.fabric.sent_by(id);
    let Some(by) = sent.iter().find_map(|&(port, _)| unaware(view, port)) else {
        return;
    };
    let arrivals = view.fabric.arrivals(&sent);
    // Where a port takes the frames, `host-off-segment` says what is wrong.
    if arrivals.iter().any(|one| matches!(one, Arrival::Port(..))) {
        return;
    }
    let own = view.fabric.interface(id);
    let others = arrivals.iter().filter_map(|one| match one {
        Arrival::WiredInterface(interface) => Some(view.fabric.interface(*interface)),
        Arrival::Port(..) => None,
    });
    let Some(other) = others
        .filter(|other| other.segment != own.segment)
        .min_by_key(|other| other.of)
    else {
        return;
    };
    let what = format!(
        "is on {} with {}, which is on {}",
        switch_name(view, by),
        interface_name(view.site, other.of),
        view.site.segment(other.segment).name.value,
    );
    report.add(
        found(&CHECK, own.place, interface_name(view.site, own.of), what)
            .note(other.place, "the other interface")
            .help(HELP),
    );
}

/// The switch of a port, if it knows no VLANs.
fn unaware(view: &CheckContext<'_>, port: PortId) -> Option<SwitchId> {
    match view.fabric.node(view.fabric.port(port).node).kind {
        NodeKind::Unaware(switch) => Some(switch),
        _ => None,
    }
}

fn switch_name<'s>(view: &CheckContext<'s>, id: SwitchId) -> &'s str {
    &view.site.switches[id.0].name.value
}
