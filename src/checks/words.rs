//! Lists in words.

use boundwalk_model::VlanId;

/// `VLANs 60 (brewhouse) and 70 (cameras)`; of many the first few and how many more.
pub(super) fn listed(list: &[VlanId], name: impl Fn(VlanId) -> String) -> String {
    const MOST: usize = 6;
    let mut names: Vec<String> = list.iter().take(MOST).map(|&one| name(one)).collect();
    if list.len() > MOST {
        names.push(format!("{} more", list.len() - MOST));
    }
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    match names.len() {
        0 => "no VLAN".to_owned(),
        1 => format!("VLAN {}", enumerated(&names)),
        _ => format!("VLANs {}", enumerated(&names)),
    }
}

/// `till, desk and printer`.
pub(super) fn enumerated(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
