//! Where interfaces are of which no cable is described.
//!
//! What is not described is assumed clean (design of the model, sections 2 and 3.1): such interfaces stand on one
//! wire with each other, the wire of the segment that the file puts them on, and untagged, whatever tag they have.
//! The wire has an access port at each VLAN-aware switch that carries the segment's VLAN (a live port or LAG is in
//! the VLAN's member set) and is of a part where that VLAN is the segment's. So it joins those switches.
//!
//! The wire is a part of the segment like any other: a device may stand on it, at a place that nothing names.

use std::collections::BTreeSet;

use boundwalk::model::{Forwards, FrameTypes, PortVlans, SegmentId, VlanId, VlanSet};

use super::{Device, Frames, Jack, Spot, WiredInterface};

impl Frames<'_> {
    /// Whether a cable is described for an interface, live or not.
    pub fn is_cabled(&self, interface: WiredInterface) -> bool {
        self.cabled.contains(&interface)
    }

    /// Interfaces that a cable is described for.
    pub(super) fn interfaces_with_cables(&self) -> BTreeSet<WiredInterface> {
        let mut cabled = BTreeSet::new();
        for end in self.cables.iter().flat_map(|cable| &cable.ends) {
            match end.device {
                Device::Switch(_) => {}
                Device::Router(router) => {
                    let at = self.on_port(router, &end.name).into_iter();
                    cabled.extend(at.map(|at| WiredInterface::Router(router, at)));
                }
                Device::Host(host) => {
                    let named = self.site.hosts[host]
                        .interfaces
                        .iter()
                        .enumerate()
                        .filter(|(_, known)| known.name.value == end.name);
                    cabled.extend(named.map(|(at, _)| WiredInterface::Host(host, at)));
                }
            }
        }
        cabled
    }

    /// Joins the interfaces without a cable to the wires of their segments, and these to switches.
    pub(super) fn join_wires(&mut self) {
        for segment in self.site.segment_ids() {
            let mut joined = Vec::new();
            for interface in self.interfaces_on(segment) {
                if !self.is_cabled(interface) {
                    joined.push(self.without_cable(interface));
                }
            }
            if joined.is_empty() {
                continue;
            }
            for (switch, vlan) in self.carriers(segment) {
                let spot = Spot::Assumed(switch, segment.0);
                self.assumed.insert(spot, access(vlan));
                self.live[switch].push(spot);
                joined.push(Jack::Spot(spot));
            }
            // The last is free.
            let taps: Vec<Spot> = (0..=joined.len())
                .map(|at| Spot::Tap(segment.0, at))
                .collect();
            for (&tap, jack) in taps.iter().zip(joined) {
                if let Jack::Spot(spot) = jack {
                    self.plug(spot, Jack::Spot(tap));
                }
                self.plug(tap, jack);
            }
            self.taps.insert(segment.0, taps);
        }
    }

    /// All interfaces that the file puts on a segment.
    pub fn interfaces_on(&self, segment: SegmentId) -> Vec<WiredInterface> {
        let routers = self
            .site
            .routers
            .iter()
            .enumerate()
            .flat_map(|(router, device)| {
                (0..device.interfaces.len()).map(move |at| WiredInterface::Router(router, at))
            });
        let hosts = self
            .site
            .hosts
            .iter()
            .enumerate()
            .flat_map(|(host, device)| {
                (0..device.interfaces.len()).map(move |at| WiredInterface::Host(host, at))
            });
        routers
            .chain(hosts)
            .filter(|&interface| self.segment(interface) == segment)
            .collect()
    }

    /// What an interface without a cable is: that of a host that bridges is a port of its bridge.
    fn without_cable(&self, interface: WiredInterface) -> Jack {
        match interface {
            WiredInterface::Host(host, at)
                if self.site.hosts[host].forwards.value == Forwards::Bridges =>
            {
                Jack::Spot(Spot::Interface(host, at))
            }
            _ => Jack::Interfaces(vec![interface]),
        }
    }

    /// Switches that carry a segment's VLAN where it is the segment's.
    fn carriers(&self, segment: SegmentId) -> Vec<(usize, VlanId)> {
        let Some(vlan) = self.site.segment(segment).vlan.map(|vlan| vlan.value) else {
            return Vec::new();
        };
        let carrying = self
            .site
            .switches
            .iter()
            .enumerate()
            .filter(|&(number, switch)| {
                let mut spots = self.live[number]
                    .iter()
                    .filter(|spot| !matches!(spot, Spot::Assumed(..)));
                switch.vlan_aware
                    && self.segments_of(number, vlan).contains(&segment)
                    && spots.any(|&spot| member(self.settings(spot), vlan))
            });
        carrying.map(|(number, _)| (number, vlan)).collect()
    }
}

/// Whether a port is in the member set of a VLAN.
pub fn member(port: &PortVlans, vlan: VlanId) -> bool {
    port.tagged.contains(vlan) || port.untagged.contains(vlan)
}

/// The settings of a well-set port for the devices of one VLAN.
fn access(vlan: VlanId) -> PortVlans {
    PortVlans {
        pvid: Some(vlan),
        untagged: std::iter::once(vlan).collect(),
        tagged: VlanSet::default(),
        ingress_filter: true,
        accept: FrameTypes::Untagged,
    }
}
