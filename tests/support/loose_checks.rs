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
    for foot in fabric.foot_ids() {
        let from = simulated(&fabric, foot);
        let taken = frames.send_from(from).feet;
        loose += taken
            .keys()
            .filter(|&&to| !(frames.is_cabled(from) && frames.is_cabled(to)))
            .count();
        let expected = taken.into_keys().collect();
        let found = reached(&fabric, Start::WiredInterface(foot));
        if let Some(what) = differs(&format!("{from:?}"), &found, &expected) {
            return (Some(what), loose);
        }
    }
    for id in fabric.socket_ids() {
        let spot = match fabric.socket(id).name {
            PortName::Port(switch, port) => Spot::Port(switch.0, port),
            PortName::Lag(switch, lag) => Spot::Lag(switch.0, lag),
            PortName::Interface(..) | PortName::Unnamed => continue,
        };
        for tags in frames.stacks() {
            let expected = frames.send(spot, &tags).feet.into_keys().collect();
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
    flood.feet().map(|foot| simulated(fabric, foot)).collect()
}

fn simulated(fabric: &Fabric, foot: InterfaceId) -> WiredInterface {
    match fabric.foot(foot).of {
        InterfaceOf::Router(RouterId(router), at) => WiredInterface::Router(router, at),
        InterfaceOf::Host(HostId(host), at) => WiredInterface::Host(host, at),
    }
}
