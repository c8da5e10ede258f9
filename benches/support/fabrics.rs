//! Generated sites with many switches: a tree of switches under one gateway.

use std::fmt::Write;

/// What a generated fabric is like.
#[derive(Clone, Copy)]
pub struct Fabric {
    /// Switches; switch n hangs from switch (n - 1) / 6.
    pub switches: usize,
    /// Ports of each.
    pub ports: usize,
    /// VLANs, each a segment; all but every tenth have an interface on the gateway.
    pub vlans: usize,
    /// Hosts on access ports.
    pub hosts: usize,
}

/// Switches that hang from each.
const CHILDREN: usize = 6;

/// The site as text. Ports 0 to 5 of a switch lead down, 6 leads up, 7 and 8 of the first to the gateway.
pub fn fabric_site(size: Fabric) -> String {
    let mut text = String::new();
    for zone in 0..10 {
        let _ = writeln!(text, "[zones.z{zone}]\ntrust = {}", zone * 10);
    }
    for vlan in 0..size.vlans {
        let (high, low) = (vlan / 250, vlan % 250);
        let _ = writeln!(
            text,
            "[segments.s{vlan}]\nzone = \"z{}\"\nvlan = {}\nprefixes = \"10.{high}.{low}.0/24\"\nisolated = {}",
            vlan % 10,
            vlan + 2,
            vlan % 10 == 9
        );
    }
    write_gateway(size, &mut text);
    for switch in 0..size.switches {
        write_switch(size, switch, &mut text);
    }
    write_hosts(size, &mut text);
    text
}

fn write_gateway(size: Fabric, text: &mut String) {
    text.push_str("[gateways.edge]\ndefault = \"deny\"\n[gateways.edge.lags.trunk]\nports = \"1-2\"\nlacp = \"active\"\n");
    for vlan in (0..size.vlans).filter(|vlan| vlan % 10 != 9) {
        let (high, low) = (vlan / 250, vlan % 250);
        let _ = writeln!(
            text,
            "[gateways.edge.interfaces.s{vlan}]\nsegment = \"s{vlan}\"\nport = \"trunk\"\nvlan = {}\naddresses = \"10.{high}.{low}.1/24\"",
            vlan + 2
        );
    }
    for rule in 0..100 {
        let (from, to) = (rule % 9, (rule * 7 + 3) % 9);
        let _ = writeln!(
            text,
            "[[gateways.edge.rules]]\nname = \"r{rule}\"\nfrom = \"z{from}\"\nto = \"z{to}\"\nservices = \"tcp/{}\"\naction = \"permit\"",
            rule + 1
        );
    }
    text.push_str("[[links]]\nends = [\"sw0:up\", \"edge:trunk\"]\n");
}

fn write_switch(size: Fabric, switch: usize, text: &mut String) {
    let all = |keep: &dyn Fn(usize) -> bool| {
        let names = (0..size.vlans).filter(|&vlan| keep(vlan));
        let names: Vec<String> = names.map(|vlan| (vlan + 2).to_string()).collect();
        names.join(", ")
    };
    let _ = writeln!(text, "[switches.sw{switch}]");
    if switch == 0 {
        let _ = writeln!(text, "lags.up = {{ ports = \"7-8\", lacp = \"active\" }}");
        let _ = writeln!(
            text,
            "ports.up = {{ tagged = [{}] }}",
            all(&|vlan| vlan % 10 != 9)
        );
    }
    let children = (1..=CHILDREN).filter(|child| switch * CHILDREN + child < size.switches);
    let down: Vec<String> = children.map(|child| (child - 1).to_string()).collect();
    let up = if switch == 0 {
        vec![]
    } else {
        vec!["6".to_owned()]
    };
    let trunks: Vec<String> = down.iter().cloned().chain(up).collect();
    if !trunks.is_empty() {
        let _ = writeln!(
            text,
            "ports.\"{}\" = {{ tagged = [{}] }}",
            trunks.join(","),
            all(&|_| true)
        );
    }
    for port in 9..size.ports {
        let vlan = (switch * size.ports + port) % size.vlans;
        let _ = writeln!(text, "ports.{port} = {{ access = {} }}", vlan + 2);
    }
    if switch > 0 {
        let (parent, at) = ((switch - 1) / CHILDREN, (switch - 1) % CHILDREN);
        let _ = writeln!(
            text,
            "[[links]]\nends = [\"sw{parent}:{at}\", \"sw{switch}:6\"]"
        );
    }
}

fn write_hosts(size: Fabric, text: &mut String) {
    let access = size.ports - 9;
    let mut next = vec![10usize; size.vlans];
    for host in 0..size.hosts {
        let (switch, port) = (host % size.switches, 9 + host / size.switches % access);
        let vlan = (switch * size.ports + port) % size.vlans;
        let (high, low) = (vlan / 250, vlan % 250);
        let address = next[vlan];
        next[vlan] += 1;
        let _ = writeln!(
            text,
            "[[hosts.h{host}.interfaces]]\naddresses = \"10.{high}.{low}.{address}\"\nport = \"sw{switch}:{port}\"\nsegment = \"s{vlan}\""
        );
    }
}
