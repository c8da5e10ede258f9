//! Two segments with one VLAN number among the same switches.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::NodeId;
use boundwalk_model::{SegmentId, VlanId};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "segments-share-vlan",
    severity: Severity::Error,
    summary: "segments with one VLAN number on switches that cables join",
    why: "One VLAN is one broadcast domain: devices of both segments exchange frames, whatever the gateway's \
        rules say. The same number on switches that no cable joins is two VLANs.",
    fine_when: "Both prefixes are meant to be on one wire: then make them one segment with two prefixes.",
    remedy: "Give one of the segments a VLAN number of its own.",
    references: &[
        "RFC 4363, VlanId: the VLAN-ID uniquely identifies a VLAN",
        "RFC 5517 section 1: a VLAN is a broadcast domain",
    ],
    fires: include_str!("examples/segments-share-vlan.fires.toml"),
    quiet: include_str!("examples/segments-share-vlan.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let fabric = &view.network.fabric;
    let mut shared: Vec<(VlanId, &[SegmentId])> = Vec::new();
    for segment in &view.site.segments {
        let Some(vlan) = segment.vlan else { continue };
        for node in (0..fabric.nodes.len() as u32).map(NodeId) {
            let segments = fabric.segments_of(node, vlan.value);
            if 1 < segments.len() && !shared.contains(&(vlan.value, segments)) {
                shared.push((vlan.value, segments));
            }
        }
    }
    for (vlan, segments) in shared {
        let name = |segment: &SegmentId| view.site.segment(*segment).name.value.as_str();
        let names: Vec<&str> = segments.iter().map(name).collect();
        let place = segments
            .last()
            .map(|&last| view.site.segment(last))
            .and_then(|last| Some(last.vlan?.span));
        let what = format!("share VLAN {vlan} on switches that cables join");
        if let Some(place) = place {
            let help = "one VLAN is one segment: give it both prefixes, or each a VLAN of its own";
            report.add(found(&CHECK, place, names.join(" and "), what).help(help));
        }
    }
}
