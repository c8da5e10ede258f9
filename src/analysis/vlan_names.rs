//! VLANs of a switch in the words of the site.
//!
//! A number means something only among switches that cables join, so the switch is always part of the question.

use boundwalk_forwarding::layer2::{Fabric, NodeId};
use boundwalk_model::{SegmentId, Site, SwitchId, VlanId};

/// Segments that a VLAN is at a switch.
pub fn segments_at(fabric: &Fabric, switch: NodeId, vlan: VlanId) -> &[SegmentId] {
    fabric.segments_of(switch, vlan)
}

/// The names of these segments; `None` where there is none.
pub fn segment_name_at(
    site: &Site,
    fabric: &Fabric,
    switch: SwitchId,
    vlan: VlanId,
) -> Option<String> {
    named(site, fabric, fabric.switch(switch)?, vlan)
}

/// `90 (management)`, or just the number where no segment has it there.
pub fn numbered_vlan_at(site: &Site, fabric: &Fabric, switch: NodeId, vlan: VlanId) -> String {
    match named(site, fabric, switch, vlan) {
        Some(name) => format!("{vlan} ({name})"),
        None => vlan.to_string(),
    }
}

fn named(site: &Site, fabric: &Fabric, switch: NodeId, vlan: VlanId) -> Option<String> {
    let names: Vec<&str> = segments_at(fabric, switch, vlan)
        .iter()
        .map(|&segment| site.segment(segment).name.value.as_str())
        .collect();
    (!names.is_empty()).then(|| names.join(" and "))
}
