//! Sites with one setting more, and the VLANs that a site names.

use std::collections::BTreeSet;

use boundwalk::forwarding::layer2::{Fabric, InterfaceId, Start, flood};
use boundwalk::model::{PortVlans, Site, VlanId};

/// A VLAN that nobody uses.
const UNUSED: u16 = 77;

/// 0, each VLAN that anything in the site names, and one that nothing names.
pub fn tags_of(site: &Site) -> Vec<u16> {
    let mut tags: BTreeSet<u16> = [0, UNUSED].into_iter().collect();
    let mut add = |vlan: Option<VlanId>| tags.extend(vlan.map(VlanId::get));
    for switch in &site.switches {
        let own = switch.ports.iter().filter_map(|port| port.vlans.as_ref());
        for vlans in own.chain(switch.lags.iter().map(|lag| &lag.vlans)) {
            add(vlans.pvid);
            vlans.members().iter().for_each(|vlan| add(Some(vlan)));
        }
    }
    site.segments
        .iter()
        .for_each(|segment| add(segment.vlan.as_ref().map(|vlan| vlan.value)));
    site.routers
        .iter()
        .flat_map(|router| &router.interfaces)
        .for_each(|interface| add(interface.vlan));
    site.hosts
        .iter()
        .flat_map(|host| &host.interfaces)
        .for_each(|interface| add(interface.vlan));
    tags.into_iter().collect()
}

/// The same site with one more tagged VLAN on a port or LAG, for each that has room for it.
pub fn with_one_more_tagged(site: &Site) -> Vec<(String, Site)> {
    let mut grown = Vec::new();
    let tags: Vec<VlanId> = tags_of(site).into_iter().filter_map(VlanId::new).collect();
    for number in 0..site.switches.len() {
        let switch = &site.switches[number];
        let ports = switch.ports.len();
        for at in 0..ports + switch.lags.len() {
            for &vlan in &tags {
                let mut new = site.clone();
                let switch = &mut new.switches[number];
                let vlans: Option<&mut PortVlans> = match at.checked_sub(ports) {
                    None => switch.ports[at].vlans.as_mut(),
                    Some(lag) => Some(&mut switch.lags[lag].vlans),
                };
                if let Some(vlans) = vlans.filter(|vlans| switch.vlan_aware && !vlans.carries(vlan))
                {
                    vlans.tagged.insert(vlan);
                    grown.push((format!("switch {number}, port {at}, VLAN {vlan}"), new));
                }
            }
        }
    }
    grown
}

/// Deliveries from interface to interface that the new site lost, and whether it gained any.
pub fn compared(old: &Site, new: &Site) -> (Vec<(InterfaceId, InterfaceId)>, bool) {
    let [old, new] = [old, new].map(|site| {
        let fabric = Fabric::new(site);
        let pairs = fabric.interface_ids().flat_map(|from| {
            let flood = flood(&fabric, &[Start::WiredInterface(from)]);
            let interfaces: Vec<InterfaceId> = flood.interfaces().collect();
            interfaces.into_iter().map(move |to| (from, to))
        });
        pairs.collect::<BTreeSet<(InterfaceId, InterfaceId)>>()
    });
    let lost = old.difference(&new).copied().collect();
    (lost, old.len() < new.len())
}
