//! Switches as bridges.
//!
//! The kernel's bridge knows PVID, member set, untagged set and isolated ports. It always filters on arrival
//! and takes all frame types: filtering off is made of memberships that the packet filter closes on the way
//! out, "untagged only" of a packet filter rule on the way in, "tagged only" of having no PVID.

use std::collections::BTreeSet;
use std::fmt::Write;

use boundwalk::model::{FrameTypes, Lacp, PortVlans, Switch, VlanId};

use serde_json::{Value, json};

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
            (
                "net/ipv6/conf/default/disable_ipv6".to_owned(),
                "1".to_owned(),
            ),
        ],
        ..Space::default()
    };
    let (mut arriving, mut leaving) = (String::new(), String::new());
    let unset = PortVlans::default();
    for (number, switch) in topology.site.switches.iter().enumerate() {
        let bridge = format!("s{number}");
        space
            .steps
            .push(json!(["bridge", bridge, u8::from(switch.vlan_aware)]));
        let ports = ports(topology, number, switch, &unset, &mut space);
        let alive: BTreeSet<VlanId> = ports
            .iter()
            .flat_map(|port| port.vlans.members().iter().collect::<Vec<_>>())
            .collect();
        for port in &ports {
            let device = &port.device;
            space.steps.push(json!(["master", device, bridge]));
            space.steps.push(json!(["up", device]));
            space.again.push(json!(["deaf", device]));
            if port.isolated {
                space.steps.push(json!(["isolated", device]));
            }
            if switch.vlan_aware {
                space.steps.extend(member_steps(port, &alive, &mut leaving));
                if port.vlans.accept == FrameTypes::Untagged {
                    writeln!(arriving, "iifname {device} vlan id 1-4095 drop").expect("a string");
                }
            }
        }
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
    let in_lag = |name: &str| {
        switch
            .lags
            .iter()
            .any(|lag| lag.ports.iter().any(|port| port.value == name))
    };
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
        let members: Vec<String> = lag
            .ports
            .iter()
            .filter_map(|port| position(&port.value))
            .filter_map(live)
            .collect();
        if members.is_empty() {
            continue;
        }
        let device = format!("s{number}l{at}");
        space.steps.extend(bond_steps(&device, lag.lacp, &members));
        bridged.push(Bridged {
            device,
            vlans: &lag.vlans,
            isolated: lag.isolated,
        });
    }
    bridged
}

/// A bond of some devices.
pub fn bond_steps(bond: &str, lacp: Lacp, members: &[String]) -> Vec<Value> {
    let mode = match lacp {
        Lacp::Active => "active",
        Lacp::Passive => "passive",
        Lacp::Static => "static",
    };
    let mut steps = vec![json!(["bond", bond, mode])];
    steps.extend(members.iter().map(|member| json!(["master", member, bond])));
    steps
}

fn member_steps(port: &Bridged<'_>, alive: &BTreeSet<VlanId>, leaving: &mut String) -> Vec<Value> {
    let (device, vlans) = (&port.device, port.vlans);
    let native = |vlan: VlanId| vlans.pvid == Some(vlan) && vlans.accept != FrameTypes::Tagged;
    let step = |vlan: VlanId, untagged: bool| {
        json!(["member", device, vlan.get(), native(vlan), untagged])
    };
    let members = vlans.members();
    let mut steps: Vec<Value> = members
        .iter()
        .map(|vlan| step(vlan, vlans.untagged.contains(vlan)))
        .collect();
    if !vlans.ingress_filter {
        let strange: BTreeSet<VlanId> = alive.iter().copied().chain(vlans.pvid).collect();
        for vlan in strange.into_iter().filter(|&vlan| !vlans.carries(vlan)) {
            steps.push(step(vlan, false));
            // The tag that leaving puts on, not one that it exposes: that one the kernel keeps in the frame, so
            // that it is the frame's type and no other tag follows.
            let outer = format!("oifname {device} @ll,96,16 0x8100 @ll,112,16 & 0x0fff == {vlan}");
            writeln!(leaving, "{outer} meta protocol != 0x8100 drop").expect("a string");
            writeln!(leaving, "{outer} @ll,128,16 0x8100 drop").expect("a string");
        }
    }
    steps
}
