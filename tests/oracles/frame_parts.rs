//! Which segment a VLAN number means where.
//!
//! A VLAN number lives in one part of layer 2: the set of switches, VLAN-aware or not, and of hosts that bridge
//! that cables join, if these carry frames: both ends live. Gateways, routers and other hosts join nothing, and
//! whether a port would let any frame in makes no difference. The same number in two parts is two VLANs.
//!
//! VLAN n in a part belongs to the one segment with that number, where only one has it. Where several have it: to
//! those that the part names; where it names none of them, to those that no part names; where there are none, to
//! nobody. A part names a segment where one of its ports or LAGs refers to it by name, disabled or not, and where an
//! interface that the file puts on the segment has a live cable into the part. The interfaces of a host that bridges
//! are ports of the part: each names the segment that the file puts it on, with a cable or without.

use std::collections::{BTreeMap, BTreeSet};

use boundwalk::model::{SegmentId, Site, VlanId};

use super::{Device, Frames, Jack, Spot};

/// Segments that ports and LAGs of a switch refer to by name. The model keeps only numbers so far.
fn named_by(site: &Site, switch: usize) -> BTreeSet<SegmentId> {
    site.switches[switch].named.iter().copied().collect()
}

impl Frames<'_> {
    /// The part of each device that has one: the lowest number of those joined.
    pub(super) fn find_parts(&self) -> BTreeMap<Device, usize> {
        let switches = (0..self.site.switches.len()).map(Device::Switch);
        let places = self.plugged.keys().filter_map(|&spot| device(spot));
        let devices: BTreeSet<Device> = switches.chain(places).collect();
        let numbered = devices.into_iter().enumerate();
        let mut parts: BTreeMap<Device, usize> =
            numbered.map(|(at, device)| (device, at)).collect();
        loop {
            let before = parts.clone();
            for (&spot, jacks) in &self.plugged {
                for jack in jacks {
                    let Jack::Spot(far) = jack else { continue };
                    let (Some(one), Some(other)) = (device(spot), device(*far)) else {
                        continue;
                    };
                    let least = parts[&one].min(parts[&other]);
                    parts.extend([(one, least), (other, least)]);
                }
            }
            if before == parts {
                return parts;
            }
        }
    }

    /// Segments that a part names.
    fn named_in(&self, part: usize) -> BTreeSet<SegmentId> {
        let mut named = BTreeSet::new();
        for (&device, _) in self.parts.iter().filter(|(_, known)| **known == part) {
            if let Device::Switch(switch) = device {
                named.extend(named_by(self.site, switch));
            }
        }
        for (&spot, jacks) in &self.plugged {
            let inside = device(spot).is_some_and(|device| self.parts.get(&device) == Some(&part));
            for jack in jacks.iter().filter(|_| inside) {
                if let Jack::Interfaces(interfaces) = jack {
                    named.extend(interfaces.iter().map(|&interface| self.segment(interface)));
                }
            }
        }
        named
    }

    /// Segments that a VLAN belongs to on a switch.
    pub fn segments_of(&self, switch: usize, vlan: VlanId) -> BTreeSet<SegmentId> {
        let numbered = self.site.segment_ids().filter(|&id| {
            let known = self.site.segment(id).vlan.as_ref();
            known.is_some_and(|known| known.value == vlan)
        });
        let numbered: BTreeSet<SegmentId> = numbered.collect();
        if numbered.len() < 2 {
            return numbered;
        }
        let own = self.named_in(self.parts[&Device::Switch(switch)]);
        let named: BTreeSet<SegmentId> = numbered.intersection(&own).copied().collect();
        if !named.is_empty() {
            return named;
        }
        let parts: BTreeSet<usize> = self.parts.values().copied().collect();
        let elsewhere: BTreeSet<SegmentId> = parts
            .into_iter()
            .flat_map(|part| self.named_in(part))
            .collect();
        numbered.difference(&elsewhere).copied().collect()
    }
}

/// The device that a place is of, if it is one that makes parts.
fn device(spot: Spot) -> Option<Device> {
    match spot {
        Spot::Port(switch, _) | Spot::Lag(switch, _) | Spot::Assumed(switch, _) => {
            Some(Device::Switch(switch))
        }
        Spot::Interface(host, _) | Spot::Inside(host) => Some(Device::Host(host)),
        Spot::Neighbours(..) | Spot::Tap(..) => None,
    }
}
