//! Where devices of a segment sit, found by sending frames.

use std::collections::BTreeSet;

use boundwalk::model::{PortVlans, SegmentId, VlanId};

use super::{Foot, Frames, Jack, Spot, Tags, ingress, settings};

/// A segment, a place, the tag that its plain devices use there, and the interface that the file names.
pub type Sitting = (SegmentId, Spot, Option<VlanId>, Option<Foot>);

impl Frames<'_> {
    /// Every live place to plug in that puts frames of plain devices into a segment's VLAN, and every
    /// interface of a host that the file puts on the segment, wherever that is plugged in.
    pub fn seats(&self, vlans: &[u16]) -> BTreeSet<Sitting> {
        let mut seats = BTreeSet::new();
        for spot in self.spots() {
            let Some(sitting) = self.hosts_at(spot) else {
                continue;
            };
            let named = sitting
                .iter()
                .map(|&(foot, tag)| (self.segment(foot), tag, Some(foot)));
            let named: Vec<_> = named.collect();
            let known = |segment, tag| named.iter().any(|seat| (seat.0, seat.1) == (segment, tag));
            let tags = std::iter::once(None).chain(vlans.iter().map(|&vlan| VlanId::new(vlan)));
            let mut free = Vec::new();
            for tag in tags {
                let segments = self.belongs(spot, tag).into_iter();
                let segments = segments.filter(|&segment| !known(segment, tag));
                free.extend(segments.map(|segment| (segment, tag, None)));
            }
            let all = named.into_iter().chain(free);
            seats.extend(all.map(|(segment, tag, foot)| (segment, spot, tag, foot)));
        }
        seats
    }

    /// The interfaces of hosts at a place, with the tag that each uses; `None` where something else is: a
    /// gateway, router or switch behaves as configured.
    fn hosts_at(&self, spot: Spot) -> Option<Vec<(Foot, Option<VlanId>)>> {
        if let Spot::Inside(_) = spot {
            return None;
        }
        let mut hosts = Vec::new();
        for jack in self.at(spot) {
            match jack {
                Jack::Feet(feet) => {
                    for &foot in feet {
                        matches!(foot, Foot::Host(..)).then_some(())?;
                        hosts.push((foot, self.tag(foot)));
                    }
                }
                &Jack::Spot(Spot::Interface(host, at)) => {
                    let tag = self.site.hosts[host].interfaces[at].vlan;
                    hosts.push((Foot::Host(host, at), tag));
                }
                Jack::Spot(_) | Jack::Dead => return None,
            }
        }
        Some(hosts)
    }

    /// Segments that a plain device with this tag, or none, is a part of at a place: its frames come into
    /// their VLAN at the first switch that knows VLANs, or to one of their interfaces before.
    fn belongs(&self, spot: Spot, tag: Option<VlanId>) -> BTreeSet<SegmentId> {
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
            if let Some(port) = self.aware(spot) {
                let vlan = plain(port, &tags);
                found.extend(vlan.and_then(|vlan| self.segment_of(vlan)));
                continue;
            }
            for (out, left) in self.passes(spot, &tags) {
                for jack in self.at(out) {
                    match jack {
                        Jack::Spot(next) => work.push((*next, left.clone())),
                        Jack::Feet(feet) => {
                            let feet = feet.iter().filter(|&&foot| self.takes(foot, &left));
                            found.extend(feet.map(|&foot| self.segment(foot)));
                        }
                        Jack::Dead => {}
                    }
                }
            }
        }
        found
    }

    fn aware(&self, spot: Spot) -> Option<&PortVlans> {
        match spot {
            Spot::Port(number, _) | Spot::Lag(number, _) => {
                let switch = &self.site.switches[number];
                switch.vlan_aware.then(|| settings(switch, spot))
            }
            _ => None,
        }
    }

    fn segment_of(&self, vlan: VlanId) -> Option<SegmentId> {
        let mut segments = self.site.segment_ids();
        segments.find(|&id| {
            let known = self.site.segment(id).vlan.as_ref();
            known.is_some_and(|known| known.value == vlan)
        })
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
            let member = port.tagged.contains(vlan) || port.untagged.contains(vlan);
            (member && native != Some(vlan)).then_some(vlan)
        }
        _ => None,
    }
}
