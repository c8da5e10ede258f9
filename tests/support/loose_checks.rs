//! Compares a fabric in which some interfaces have no cable with the simulator of single frames: who takes what.
//!
//! The assumed wires have no names to compare places by, so only named ports and interfaces are asked.

use std::collections::BTreeSet;

use boundwalk::forwarding::layer2::{
    Fabric, Frame, InterfaceId, InterfaceOf, PortName, Start, flood,
};
use boundwalk::model::{HostId, RouterId, Site};

use crate::frames::{Frames, Spot, WiredInterface};

/// The first difference, as a sentence; and how many deliveries involve an interface without a cable.
pub fn differences(site: &Site) -> (Option<String>, usize) {
    let (fabric, frames) = (Fabric::new(site), Frames::new(site));
    let mut loose = 0;
    for interface in fabric.interface_ids() {
        let from = simulated(&fabric, interface);
        let taken = frames.send_from(from).interfaces;
        loose += taken
            .keys()
            .filter(|&&to| !(frames.is_cabled(from) && frames.is_cabled(to)))
            .count();
        let expected = taken.into_keys().collect();
        let found = reached(&fabric, Start::WiredInterface(interface));
        if let Some(what) = differs(&format!("{from:?}"), &found, &expected) {
            return (Some(what), loose);
        }
    }
    for id in fabric.port_ids() {
        let spot = match fabric.port(id).name {
            PortName::Port(switch, port) => Spot::Port(switch.0, port),
            PortName::Lag(switch, lag) => Spot::Lag(switch.0, lag),
            PortName::Interface(..) | PortName::Unnamed => continue,
        };
        for tags in frames.stacks() {
            let expected = frames.send(spot, &tags).interfaces.into_keys().collect();
            let found = reached(&fabric, Start::AttachPoint(id, Frame::with_tags(&tags)));
            if let Some(what) = differs(&format!("{spot:?} {tags:?}"), &found, &expected) {
                return (Some(what), loose);
            }
        }
    }
    (None, loose)
}

fn differs(
    who: &str,
    found: &BTreeSet<WiredInterface>,
    expected: &BTreeSet<WiredInterface>,
) -> Option<String> {
    let what = || format!("{who}\ncode:      {found:?}\nsimulator: {expected:?}");
    (found != expected).then(what)
}

fn reached(fabric: &Fabric, start: Start) -> BTreeSet<WiredInterface> {
    let flood = flood(fabric, &[start]);
    flood
        .interfaces()
        .map(|interface| simulated(fabric, interface))
        .collect()
}

fn simulated(fabric: &Fabric, interface: InterfaceId) -> WiredInterface {
    match fabric.interface(interface).of {
        InterfaceOf::Router(RouterId(router), at) => WiredInterface::Router(router, at),
        InterfaceOf::Host(HostId(host), at) => WiredInterface::Host(host, at),
    }
}
