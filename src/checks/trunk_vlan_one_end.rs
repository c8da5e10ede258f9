//! A VLAN that only one end of a cable carries.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Admitted, PortId};
use boundwalk_model::VlanId;

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "trunk-vlan-one-end",
    severity: Severity::Warning,
    summary: "a VLAN that one end of a cable between switches carries and the other does not",
    why: "Its frames go out on the cable and are thrown away at the other end, or, where that end does not \
        filter, come in and get no answer. Either somebody misses the VLAN over there, or it is on the \
        cable for nothing and a change at the other end lets it in.",
    fine_when: "While a change is under way and the other switch is next.",
    remedy: "Carry the VLAN at both ends if it is needed there, else take it off this one.",
    references: &["RFC 4363, dot1qVlanStaticEgressPorts and dot1qPortIngressFiltering"],
    fires: include_str!("examples/trunk-vlan-one-end.fires.toml"),
    quiet: include_str!("examples/trunk-vlan-one-end.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (near, far) in view.fabric.trunks() {
        let (Some(here), Some(there)) = (view.fabric.vlans(near), view.fabric.vlans(far)) else {
            continue;
        };
        // In no VLAN at all: `port-without-vlan` says it.
        if there.members().is_empty() {
            continue;
        }
        let members = here.members();
        let (refused, alone): (Vec<_>, Vec<_>) = members
            .iter()
            .filter(|&vlan| is_lost(view, near, far, vlan))
            .partition(|&vlan| there.carries(vlan));
        let peer = view.name(far);
        let mut add = |vlans: &[VlanId], rest: &str| {
            if !vlans.is_empty() {
                let what = format!("carries {}, {rest}", view.vlans(near, vlans));
                report.add(
                    found(&CHECK, view.fabric.port(near).place, view.name(near), what)
                        .note(
                            view.fabric.port(far).place,
                            format!("{peer} is described here"),
                        )
                        .measured(of_things(vlans.iter().map(|vlan| format!("VLAN {vlan}"))))
                        .help("add it there or take it out here"),
                );
            }
        };
        add(&alone, &format!("which {peer} does not"));
        add(&refused, &format!("and {peer} drops its tagged frames"));
    }
}

/// Whether frames of a VLAN do not get across a cable, or only because the far end does not filter.
fn is_lost(view: &CheckContext<'_>, near: PortId, far: PortId, vlan: VlanId) -> bool {
    let taken = view.fabric.sent(near, vlan).and_then(|frame| {
        let taken = view.fabric.taken(far, frame)?;
        Some((frame.outer().is_some(), taken))
    });
    match taken {
        Some((true, Ok((_, why)))) => why == Admitted::Unfiltered,
        Some((true, Err(_))) => true,
        // Taken into another VLAN, or dropped by a port that carries it: `native-vlan-differs` says it.
        Some((false, Err(_))) => {
            let there = view.fabric.vlans(far);
            there.is_some_and(|there| !there.carries(vlan))
        }
        Some((false, Ok(_))) | None => false,
    }
}
