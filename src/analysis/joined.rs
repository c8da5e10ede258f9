//! VLANs that a switch without VLANs joins: what enters it in one comes out in another.

use boundwalk_forwarding::layer2::frame::admit_untagged;
use boundwalk_forwarding::layer2::{Arrival, Fabric, Far, NodeKind, PortId};
use boundwalk_model::{SwitchId, VlanId};

/// Frames that leave a port in one VLAN and are taken into another at a second port, with nothing between them but
/// switches that know no VLANs.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Joined {
    /// The port that sends them.
    pub from: PortId,
    /// Their VLAN there.
    pub vlan: VlanId,
    /// The switch without VLANs that its cable leads to.
    pub by: SwitchId,
    /// The port that takes them.
    pub to: PortId,
    /// Their VLAN there.
    pub into: VlanId,
}

/// All of them, by port and VLAN. Where one of the two ports sends untagged what the other takes in, it is that
/// port's PVID that is wrong and not the switch between them; those are left out.
///
/// O(ports at switches without VLANs x VLANs they are fed with x ports they lead to).
#[must_use]
pub fn joined(fabric: &Fabric) -> Vec<Joined> {
    let mut found = Vec::new();
    for (from, port, vlans) in fabric.vlan_ports() {
        let Far::Ports(far) = &port.far else {
            continue;
        };
        let unaware = far.iter().find_map(|&far| {
            let kind = fabric.node(fabric.port(far).node).kind;
            match kind {
                NodeKind::Unaware(switch) => Some((far, switch)),
                _ => None,
            }
        });
        let Some((first, by)) = unaware else {
            continue;
        };
        for vlan in vlans.members().iter() {
            let Some(frame) = fabric.sent(from, vlan) else {
                continue;
            };
            for arrival in fabric.arrivals(&[(first, frame)]) {
                let Arrival::Port(to, Ok((into, _))) = arrival else {
                    continue;
                };
                if into != vlan && to != from && !own_fault(fabric, [from, to], [vlan, into]) {
                    found.push(Joined {
                        from,
                        vlan,
                        by,
                        to,
                        into,
                    });
                }
            }
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// Whether the port that sends takes untagged frames into the other VLAN itself, or the one that takes them in sends
/// theirs untagged.
fn own_fault(fabric: &Fabric, [from, to]: [PortId; 2], [vlan, into]: [VlanId; 2]) -> bool {
    let takes = fabric
        .vlans(from)
        .and_then(|vlans| admit_untagged(vlans).ok());
    let sends = fabric.vlans(to).map(|vlans| vlans.untagged.contains(vlan));
    takes.is_some_and(|(taken, _)| taken == into) || sends == Some(true)
}
