//! VLANs in the words of the site.

use crate::model::{Site, VlanId};

/// `VLAN 70 (cameras)`, or just the number where no segment has it.
pub(super) fn vlan(site: &Site, vlan: VlanId) -> String {
    format!("VLAN {}", bare(site, vlan))
}

/// `VLANs 60 (brewhouse) and 70 (cameras)`; of many the first few and how many more.
pub(super) fn vlans(site: &Site, list: &[VlanId]) -> String {
    const MOST: usize = 6;
    let mut names: Vec<String> = list.iter().take(MOST).map(|&one| bare(site, one)).collect();
    if list.len() > MOST {
        names.push(format!("{} more", list.len() - MOST));
    }
    match names.as_slice() {
        [one] => format!("VLAN {one}"),
        [first @ .., last] => format!("VLANs {} and {last}", first.join(", ")),
        [] => "no VLAN".to_owned(),
    }
}

fn bare(site: &Site, vlan: VlanId) -> String {
    let mut segments = site.segments.iter();
    let segment = segments.find(|segment| segment.vlan.is_some_and(|own| own.value == vlan));
    match segment {
        Some(segment) => format!("{vlan} ({})", segment.name.value),
        None => vlan.to_string(),
    }
}
