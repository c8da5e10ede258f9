//! A VLAN that claims to be isolated leaves its switch.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::{Far, PortId};
use boundwalk_model::VlanId;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "isolated-vlan-on-trunk",
    severity: Severity::Note,
    summary: "the VLAN of a segment that claims to be isolated, on a cable to another switch or a gateway",
    why: "On a shared cable only tags part it from the others: one port set wrongly at either end joins \
        them. Towards a gateway nothing but a missing interface keeps it apart.",
    fine_when: "Switches have to be managed over the same cables that they switch; then look twice at the \
        settings of these ports.",
    remedy: "Give the segment cables of its own, or none; at the least keep it off cables to gateways.",
    references: &["common practice, no source"],
    fires: include_str!("examples/isolated-vlan-on-trunk.fires.toml"),
    quiet: include_str!("examples/isolated-vlan-on-trunk.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for segment in view.site.segment_ids() {
        let own = view.site.segment(segment);
        let (Some(claim), Some(vlan)) = (own.claims_isolation(), own.vlan) else {
            continue;
        };
        for (port, port_id, vlans) in view.fabric.vlan_ports() {
            let here = view.segments_at(port, vlan.value).contains(&segment);
            if !here || !vlans.carries(vlan.value) {
                continue;
            }
            for to in leads_to(view, port, vlan.value) {
                let what = format!("carries {} to {to}", view.vlan_name(port, vlan.value));
                report.add(
                    found(&CHECK, port_id.place, view.name(port), what)
                        .note(claim, "the claim that it is isolated")
                        .help("keep it off shared cables, or see that both ends are set right"),
                );
            }
        }
    }
}

/// Switches, gateways and routers at the other end of a port's cable, but for those whose end says the same.
fn leads_to(view: &CheckContext<'_>, port: PortId, vlan: VlanId) -> Vec<String> {
    match &view.fabric.port(port).far {
        Far::Ports(far) => {
            let told_there = |peer: PortId| {
                let there = view.fabric.vlans(peer);
                peer < port && there.is_some_and(|there| there.carries(vlan))
            };
            far.iter()
                .copied()
                .filter(|&peer| !told_there(peer))
                .map(|peer| view.name(peer))
                .filter(|name| !name.is_empty())
                .collect()
        }
        Far::Interfaces(_) => {
            let router = view.router_at(port).map(|(router, _)| router);
            router
                .map(|router| view.site.router(router).name.value.clone())
                .into_iter()
                .collect()
        }
        Far::Open | Far::Dead => Vec::new(),
    }
}
