//! VLANs in the words of the site.

use crate::model::VlanId;

/// `VLANs 60 (brewhouse) and 70 (cameras)`; of many the first few and how many more.
pub(super) fn listed(list: &[VlanId], name: impl Fn(VlanId) -> String) -> String {
    const MOST: usize = 6;
    let mut names: Vec<String> = list.iter().take(MOST).map(|&one| name(one)).collect();
    if list.len() > MOST {
        names.push(format!("{} more", list.len() - MOST));
    }
    match names.as_slice() {
        [one] => format!("VLAN {one}"),
        [first @ .., last] => format!("VLANs {} and {last}", first.join(", ")),
        [] => "no VLAN".to_owned(),
    }
}
