//! Where devices may stand, and of which segment they are there, if of any: found by sending frames.
//!
//! Every live port that nothing or only hosts are plugged into is a place where a device may stand: enabled, its
//! cable not pulled and not dead at the other end. A member port of a LAG counts by itself where it has no cable or
//! its LAG does not form. An end of a cable where a host is counts too: there is no other port.
//!
//! A place belongs to each segment whose frames it takes in: that of the VLAN of its untagged frames, and of each
//! VLAN that the port is in and admits with a tag; and to the segments of the interfaces of hosts that the file
//! puts there. A place that belongs to none is *unclaimed*. Unclaimed places are grouped by their switch and by the
//! VLAN that their untagged frames take there; none where those are dropped, or the switch knows no VLANs.
//! Through switches that know no VLANs a frame goes on as it is: it belongs where it meets a VLAN first.

use std::collections::{BTreeMap, BTreeSet};

use boundwalk::model::{PortVlans, SegmentId, VlanId};

use super::frame_devices::ingress;
use super::frame_wires::member;
use super::{Frames, Jack, Spot, Tags, WiredInterface};

/// A segment, a place, the tag that its plain devices use there, and the interface that the file names.
pub type Sitting = (SegmentId, Spot, Option<VlanId>, Option<WiredInterface>);

/// Unclaimed places of one switch whose untagged frames take this VLAN, or none.
pub type Group = (usize, Option<VlanId>);

impl Frames<'_> {
    /// Every live place to plug in that puts frames of plain devices into a segment's VLAN, and every
    /// interface of a host that the file puts on the segment, wherever that is plugged in.
    pub fn attach_points(&self, vlans: &[u16]) -> BTreeSet<Sitting> {
        let mut attach_points = BTreeSet::new();
        for spot in self.spots() {
            let Some(sitting) = self.hosts_at(spot) else {
                continue;
            };
            let named = sitting
                .iter()
                .map(|&(interface, tag)| (self.segment(interface), tag, Some(interface)));
            let named: Vec<_> = named.collect();
            let known = |segment, tag| {
                named
                    .iter()
                    .any(|attach_point| (attach_point.0, attach_point.1) == (segment, tag))
            };
            let tags = std::iter::once(None).chain(vlans.iter().map(|&vlan| VlanId::new(vlan)));
            let mut free = Vec::new();
            for tag in tags {
                let segments = self
                    .belongs(spot, tag)
                    .into_iter()
                    .filter(|&segment| !known(segment, tag));
                free.extend(segments.map(|segment| (segment, tag, None)));
            }
            let all = named.into_iter().chain(free);
            attach_points
                .extend(all.map(|(segment, tag, interface)| (segment, spot, tag, interface)));
        }
        attach_points
    }

    /// Places where a device may stand.
    pub fn places(&self) -> BTreeSet<Spot> {
        self.spots()
            .into_iter()
            .filter(|&spot| self.hosts_at(spot).is_some())
            .collect()
    }

    /// Places of no segment, by group.
    pub fn unclaimed(&self) -> BTreeMap<Group, BTreeSet<Spot>> {
        let mut groups: BTreeMap<Group, BTreeSet<Spot>> = BTreeMap::new();
        let claimed: BTreeSet<Spot> = self
            .all_seats()
            .iter()
            .map(|attach_point| attach_point.1)
            .collect();
        for spot in self.places() {
            if let (false, Spot::Port(switch, _) | Spot::Lag(switch, _)) =
                (claimed.contains(&spot), spot)
            {
                let port = self.aware(spot);
                let untagged = port.and_then(|port| ingress(port, &[]));
                let group = (switch, untagged.map(|(vlan, _)| vlan));
                groups.entry(group).or_default().insert(spot);
            }
        }
        groups
    }

    /// Places of all segments, with every tag that means anything on the site.
    pub fn all_seats(&self) -> &BTreeSet<Sitting> {
        self.attach_points
            .get_or_init(|| self.attach_points(&self.known_tags()))
    }

    /// The interfaces of hosts at a place, with the tag that each uses; `None` where something else is: a
    /// gateway, router or switch behaves as configured.
    fn hosts_at(&self, spot: Spot) -> Option<Vec<(WiredInterface, Option<VlanId>)>> {
        if let Spot::Inside(_) | Spot::Assumed(..) = spot {
            return None;
        }
        let mut hosts = Vec::new();
        for jack in self.at(spot) {
            match jack {
                // A gateway's port without any interface.
                Jack::Interfaces(interfaces) if interfaces.is_empty() => return None,
                Jack::Interfaces(interfaces) => {
                    for &interface in interfaces {
                        matches!(interface, WiredInterface::Host(..)).then_some(())?;
                        hosts.push((interface, self.tag(interface)));
                    }
                }
                &Jack::Spot(Spot::Interface(host, at)) => {
                    let tag = self.host_tag(host, at);
                    hosts.push((WiredInterface::Host(host, at), tag));
                }
                Jack::Spot(_) | Jack::Dead => return None,
            }
        }
        Some(hosts)
    }

    /// Segments that a plain device with this tag, or none, is a part of at a place: its frames come into
    /// their VLAN at the first switch that knows VLANs, or to one of their interfaces before.
    pub fn belongs(&self, spot: Spot, tag: Option<VlanId>) -> BTreeSet<SegmentId> {
        let mut found = BTreeSet::new();
        if let Spot::Interface(..) = spot {
            // What a host that bridges passes on is no place of its own.
            return found;
        }
        let sent: Tags = tag.map(VlanId::get).into_iter().collect();
        let mut seen: BTreeSet<(Spot, Tags)> = BTreeSet::new();
        let mut work = vec![(spot, sent)];
        while let Some((spot, tags)) = work.pop() {
            if !seen.insert((spot, tags.clone())) {
                continue;
            }
            if let (Some(port), Some(switch)) = (self.aware(spot), switch_of(spot)) {
                let vlan = plain(port, &tags);
                found.extend(
                    vlan.into_iter()
                        .flat_map(|vlan| self.segments_of(switch, vlan)),
                );
                continue;
            }
            for (out, left) in self.passes(spot, &tags) {
                for jack in self.at(out) {
                    match jack {
                        Jack::Spot(next) => work.push((*next, left.clone())),
                        Jack::Interfaces(interfaces) => {
                            let interfaces = interfaces
                                .iter()
                                .filter(|&&interface| self.takes(interface, &left));
                            found.extend(interfaces.map(|&interface| self.segment(interface)));
                        }
                        Jack::Dead => {}
                    }
                }
            }
        }
        found
    }

    fn aware(&self, spot: Spot) -> Option<&PortVlans> {
        let switch = &self.site.switches[switch_of(spot)?];
        switch.vlan_aware.then(|| self.settings(spot))
    }
}

fn switch_of(spot: Spot) -> Option<usize> {
    match spot {
        Spot::Port(switch, _) | Spot::Lag(switch, _) | Spot::Assumed(switch, _) => Some(switch),
        _ => None,
    }
}

/// The VLAN of a plain device at a port: that of the PVID without a tag; with one, a VLAN that the port is in,
/// unless it needs no tag for it.
fn plain(port: &PortVlans, tags: &[u16]) -> Option<VlanId> {
    let native = ingress(port, &[]).map(|(vlan, _)| vlan);
    match tags {
        [] => native,
        [_] => {
            let (vlan, _) = ingress(port, tags)?;
            (member(port, vlan) && native != Some(vlan)).then_some(vlan)
        }
        _ => None,
    }
}
