//! Switches as bridges.
//!
//! The kernel's bridge knows PVID, member set, untagged set and isolated ports. It always filters on arrival
//! and takes all frame types: filtering off is made of memberships that the packet filter closes on the way
//! out, "untagged only" of a packet filter rule on the way in, "tagged only" of having no PVID.

use std::collections::BTreeSet;
use std::fmt::Write;

use boundwalk::model::{FrameTypes, Lacp, PortVlans, Switch, VlanId};

use crate::topology::{SWITCHES, Space, Topology};

/// A logical port in the kernel.
struct Bridged<'s> {
    device: String,
    vlans: &'s PortVlans,
    isolated: bool,
}

pub fn build(topology: &mut Topology<'_>) {
    let mut space = Space {
        name: SWITCHES.to_owned(),
        settings: vec![
            ("net/ipv6/conf/all/disable_ipv6".to_owned(), "1".to_owned()),
            ("net/ipv6/conf/default/disable_ipv6".to_owned(), "1".to_owned()),
        ],
        ..Space::default()
    };
    let (mut arriving, mut leaving) = (String::new(), String::new());
    let unset = PortVlans::default();
    for (number, switch) in topology.site.switches.iter().enumerate() {
        let bridge = format!("s{number}");
        let filtering = u8::from(switch.vlan_aware);
        space.ip.push(format!(
            "link add {bridge} type bridge vlan_filtering {filtering} vlan_default_pvid 0 \
             mcast_snooping 0 stp_state 0 forward_delay 0"
        ));
        space.ip.push(format!("link set {bridge} up"));
        let ports = ports(topology, number, switch, &unset, &mut space);
        let alive: BTreeSet<VlanId> = ports.iter().flat_map(|port| port.vlans.members().iter().collect::<Vec<_>>()).collect();
        for port in &ports {
            let device = &port.device;
            space.ip.push(format!("link set {device} master {bridge} up"));
            space.again_bridge.push(format!("link set dev {device} learning off"));
            if port.isolated {
                space.bridge.push(format!("link set dev {device} isolated on"));
            }
            if switch.vlan_aware {
                let lines = vlan_lines(port, &alive, &mut leaving);
                space.bridge.extend(lines);
                if port.vlans.accept == FrameTypes::Untagged {
                    writeln!(arriving, "iifname {device} vlan id 1-4095 drop").expect("a string");
                }
            }
        }
        space.again_ip.push(format!("link set {bridge} type bridge fdb_flush"));
    }
    space.filter = format!(
        "table bridge ports {{\n\
         chain arriving {{ type filter hook prerouting priority -300; policy accept;\n{arriving}}}\n\
         chain leaving {{ type filter hook forward priority 0; policy accept;\n{leaving}}}\n}}\n"
    );
    topology.spaces.push(space);
}

/// Logical ports with a cable: single ones, and LAGs as bonds.
fn ports<'s>(
    topology: &Topology<'_>,
    number: usize,
    switch: &'s Switch,
    unset: &'s PortVlans,
    space: &mut Space,
) -> Vec<Bridged<'s>> {
    let mut bridged = Vec::new();
    let live = |at: usize| {
        let device = format!("s{number}p{at}");
        (topology.is_plugged(SWITCHES, &device) && switch.ports[at].enabled).then_some(device)
    };
    let in_lag = |name: &str| switch.lags.iter().any(|lag| lag.ports.iter().any(|port| port.value == name));
    for (at, port) in switch.ports.iter().enumerate() {
        if let Some(device) = live(at).filter(|_| !in_lag(&port.name.value)) {
            bridged.push(Bridged {
                device,
                vlans: port.vlans.as_ref().unwrap_or(unset),
                isolated: port.isolated,
            });
        }
    }
    for (at, lag) in switch.lags.iter().enumerate() {
        let position = |name: &str| switch.ports.iter().position(|port| port.name.value == name);
        let members = lag.ports.iter().filter_map(|port| position(&port.value));
        let members: Vec<String> = members.filter_map(live).collect();
        if members.is_empty() {
            continue;
        }
        let device = format!("s{number}l{at}");
        space.ip.extend(bond_lines(&device, lag.lacp, &members));
        bridged.push(Bridged {
            device,
            vlans: &lag.vlans,
            isolated: lag.isolated,
        });
    }
    bridged
}

/// A bond of some devices.
pub fn bond_lines(bond: &str, lacp: Lacp, members: &[String]) -> Vec<String> {
    let mode = match lacp {
        Lacp::Active => "802.3ad lacp_rate fast miimon 100",
        Lacp::Passive => "802.3ad lacp_rate fast lacp_active off miimon 100",
        Lacp::Static => "balance-xor miimon 100",
    };
    let mut lines = vec![format!("link add {bond} type bond mode {mode}")];
    lines.extend(members.iter().map(|member| format!("link set {member} master {bond}")));
    lines
}

fn vlan_lines(port: &Bridged<'_>, alive: &BTreeSet<VlanId>, leaving: &mut String) -> Vec<String> {
    let (device, vlans) = (&port.device, port.vlans);
    let native = |vlan: VlanId| match vlans.pvid == Some(vlan) && vlans.accept != FrameTypes::Tagged {
        true => " pvid",
        false => "",
    };
    let mut lines: Vec<String> = Vec::new();
    for vlan in vlans.members().iter() {
        let untagged = if vlans.untagged.contains(vlan) { " untagged" } else { "" };
        lines.push(format!("vlan add dev {device} vid {vlan}{}{untagged}", native(vlan)));
    }
    if !vlans.ingress_filter {
        for vlan in alive.iter().copied().chain(vlans.pvid) {
            if !vlans.carries(vlan) {
                lines.push(format!("vlan add dev {device} vid {vlan}{}", native(vlan)));
                writeln!(leaving, "oifname {device} vlan id {vlan} drop").expect("a string");
            }
        }
    }
    lines
}
