//! A published address that a gateway further on rewrites and sends back to where it came from.

use std::fmt::Write;
use std::net::IpAddr;

use ipnet::IpNet;

use super::random_routes::{by, on_link_at};
use super::{Kind, Plan};

/// What is published.
const PUBLISHED: &str = "192.0.2.10";

/// Two gateways on one segment.
#[derive(Clone)]
pub struct Hairpin {
    /// Sends what is for the published address to the balancer, and gets it back.
    pub core: usize,
    pub balancer: usize,
    /// Their addresses on the segment that they share.
    core_at: IpAddr,
    balancer_at: IpAddr,
    /// An address on another segment of the core: what the balancer writes.
    target: IpNet,
}

impl Hairpin {
    pub fn is_in(&self, device: usize) -> bool {
        self.core == device || self.balancer == device
    }
}

/// Sometimes, where two gateways share a segment and one of them has another.
pub fn draw(plan: &mut Plan) -> Option<Hairpin> {
    if plan.random.percent(60) {
        return None;
    }
    let mut found = Vec::new();
    for core in 0..plan.devices.len() {
        for balancer in 0..plan.devices.len() {
            found.extend(between(plan, core, balancer));
        }
    }
    let found: Vec<Hairpin> = found.into_iter().collect();
    (!found.is_empty()).then(|| plan.random.pick(&found).clone())
}

fn between(plan: &Plan, core: usize, balancer: usize) -> Option<Hairpin> {
    let gateways = [core, balancer].map(|device| plan.devices[device].kind == Kind::Gateway);
    if core == balancer || gateways != [true, true] {
        return None;
    }
    let four = |net: &&IpNet| net.addr().is_ipv4();
    for interface in &plan.devices[core].interfaces {
        let core_at = interface.addresses.iter().find(four);
        let other = plan.devices[balancer].interfaces.iter();
        let mut shared = other.filter(|other| other.segment == interface.segment);
        let balancer_at = shared.find_map(|other| other.addresses.iter().find(four));
        let mut behind = plan.devices[core].interfaces.iter().filter(|other| {
            let mut there = plan.devices[balancer].interfaces.iter();
            there.all(|interface| interface.segment != other.segment)
        });
        let target = behind.find_map(|other| other.addresses.iter().find(four));
        if let (Some(core_at), Some(balancer_at), Some(target)) = (core_at, balancer_at, target) {
            return Some(Hairpin {
                core,
                balancer,
                core_at: core_at.addr(),
                balancer_at: balancer_at.addr(),
                target: *target,
            });
        }
    }
    None
}

/// Writes the routes of a device that the published address needs; gives their destinations.
pub fn write_routes(plan: &mut Plan, number: usize, path: &str, text: &mut String) -> Vec<IpNet> {
    let Some(pin) = plan.hairpin.clone() else {
        return Vec::new();
    };
    let published = "192.0.2.0/24".parse().expect("a prefix");
    let (destination, hop) = match number {
        number if number == pin.core => (published, pin.balancer_at),
        number if number == pin.balancer => (pin.target.trunc(), pin.core_at),
        _ if plan.random.percent(70) => (published, pin.core_at),
        _ => return Vec::new(),
    };
    let Some(interface) = (0..plan.segments.len())
        .filter_map(|segment| on_link_at(plan, number, segment, hop))
        .min()
    else {
        return Vec::new();
    };
    let line = by(plan, number, (hop, interface));
    writeln!(text, "[[{path}.routes]]\nto = \"{destination}\"\n{line}").expect("a string");
    vec![destination]
}

/// Writes the translation of the balancer.
pub fn write_translation(plan: &mut Plan, number: usize, text: &mut String) {
    let Some(pin) = plan.hairpin.clone().filter(|pin| pin.balancer == number) else {
        return;
    };
    let net = pin.target.trunc();
    let size = 1_u128 << (32 - net.prefix_len());
    let mut target = pin.target.addr();
    // The core itself, or somebody beside it.
    if plan.random.percent(70) {
        target = super::add(net.addr(), plan.random.below(size as usize) as u128);
    }
    let name = &plan.devices[number].name;
    let head = format!("[[gateways.{name}.destination_translations]]\nname = \"published\"");
    writeln!(
        text,
        "{head}\ndestination = [\"{PUBLISHED}\"]\nto_address = \"{target}\""
    )
    .expect("a string");
}
