//! What random fabrics show, counted as the simulator of single frames has it, so that none of it is drawn in vain.

use std::collections::BTreeSet;

use boundwalk::model::{Forwards, SegmentId, VlanId};

use crate::frames::{Frames, Spot, Stance, WiredInterface};

/// On how many sites each thing is seen.
#[derive(Default, Debug)]
pub struct Features(Vec<(&'static str, usize)>);

impl Features {
    pub fn count(&mut self, frames: &Frames<'_>) {
        let seen = [
            ("an unused port with PVID 1", unclaimed_in(frames, Some(1))),
            (
                "one in another VLAN of no segment",
                unclaimed_elsewhere(frames),
            ),
            ("one that drops untagged frames", unclaimed_in(frames, None)),
            (
                "one that sends into a segment",
                sends_into_a_segment(frames),
            ),
            ("one that hears a segment", hears_a_segment(frames)),
            (
                "one that reaches another group",
                reaches_another_group(frames),
            ),
            ("a segment that no unclaimed port touches", apart(frames)),
            ("an ingress filter that is off", filter_off(frames)),
            (
                "one number, two segments, two parts",
                matched_pairs(frames, false),
            ),
            (
                "one number, two segments, one part",
                matched_pairs(frames, true),
            ),
            ("a port that two segments share", shared_place(frames)),
            (
                "a switch without VLANs that joins two segments",
                joins_two(frames),
            ),
            ("an isolated port", isolated(frames)),
            ("a host that bridges two segments", bridges(frames)),
            (
                "two interfaces of a host on one wire",
                two_on_one_wire(frames),
            ),
            ("a host at a wrong port", wrong_port(frames)),
            ("a host at a right port", right_port(frames)),
        ];
        if self.0.is_empty() {
            self.0 = seen.iter().map(|&(what, _)| (what, 0)).collect();
        }
        for (known, (_, there)) in self.0.iter_mut().zip(seen) {
            known.1 += usize::from(there);
        }
    }

    /// Each is seen on one site of fifty at least.
    pub fn assert_all(&self, sites: usize) {
        let seldom: Vec<_> = self
            .0
            .iter()
            .filter(|(_, count)| *count < sites.div_ceil(50))
            .collect();
        assert!(
            seldom.is_empty() && !self.0.is_empty(),
            "seldom: {seldom:?} of {:?}",
            self.0
        );
    }
}

fn unclaimed_in(frames: &Frames<'_>, vlan: Option<u16>) -> bool {
    let vlan = vlan.and_then(VlanId::new);
    frames
        .unclaimed()
        .keys()
        .any(|group| frames.site.switches[group.0].vlan_aware && group.1 == vlan)
}

fn unclaimed_elsewhere(frames: &Frames<'_>) -> bool {
    let groups = frames.unclaimed().into_keys();
    groups
        .filter_map(|group| group.1)
        .any(|vlan| vlan.get() != 1)
}

fn sends_into_a_segment(frames: &Frames<'_>) -> bool {
    let mut groups = frames.unclaimed().into_values();
    groups.any(|places| {
        !frames
            .segments_that_take(&frames.hostile_at(&places))
            .is_empty()
    })
}

fn hears_a_segment(frames: &Frames<'_>) -> bool {
    frames.site.segment_ids().any(|id| {
        let out = frames.reach_of_segment(id, Stance::Configured);
        !frames.unclaimed_that_hear(&out).is_empty()
    })
}

fn reaches_another_group(frames: &Frames<'_>) -> bool {
    let groups = frames.unclaimed();
    groups.iter().any(|(group, places)| {
        let mut heard = frames
            .unclaimed_that_hear(&frames.hostile_at(places))
            .into_keys();
        heard.any(|other| other != *group)
    })
}

fn apart(frames: &Frames<'_>) -> bool {
    let mut ids = frames.site.segment_ids();
    !frames.unclaimed().is_empty()
        && ids.any(|id| !frames.seats_of(id).is_empty() && frames.apart_from_unclaimed(id))
}

fn filter_off(frames: &Frames<'_>) -> bool {
    let mut switches = frames
        .site
        .switches
        .iter()
        .filter(|switch| switch.vlan_aware);
    switches.any(|switch| {
        let mut own = switch.ports.iter().filter_map(|port| port.vlans.as_ref());
        own.any(|vlans| !vlans.ingress_filter)
    })
}

/// Whether two segments with one number are where one switch has both, or where two have one each.
fn matched_pairs(frames: &Frames<'_>, together: bool) -> bool {
    let vlans: BTreeSet<VlanId> = frames
        .site
        .segments
        .iter()
        .filter_map(|segment| segment.vlan)
        .map(|vlan| vlan.value)
        .collect();
    vlans.into_iter().any(|vlan| {
        let owners: BTreeSet<BTreeSet<SegmentId>> = (0..frames.site.switches.len())
            .map(|switch| frames.segments_of(switch, vlan))
            .collect();
        if together {
            owners.iter().any(|owners| 1 < owners.len())
        } else {
            1 < owners.iter().filter(|owners| owners.len() == 1).count()
        }
    })
}

fn shared_place(frames: &Frames<'_>) -> bool {
    let attach_points = frames.all_seats();
    let mut pairs = attach_points
        .iter()
        .flat_map(|one| attach_points.iter().map(move |other| (one, other)));
    pairs.any(|(one, other)| one.1 == other.1 && one.0 != other.0 && one.3.is_none())
}

/// Whether an untagged frame passes a switch without VLANs from a VLAN of one segment into that of another.
fn joins_two(frames: &Frames<'_>) -> bool {
    let mut unaware = frames
        .site
        .switches
        .iter()
        .enumerate()
        .filter(|(_, switch)| !switch.vlan_aware);
    unaware.any(|(number, _)| {
        let here = frames.all_seats().iter().filter(|attach_point| {
            matches!(attach_point.1, Spot::Port(at, _) if at == number)
                && attach_point.2.is_none()
                && attach_point.3.is_none()
        });
        let segments: BTreeSet<SegmentId> = here.map(|attach_point| attach_point.0).collect();
        1 < segments.len()
    })
}

fn isolated(frames: &Frames<'_>) -> bool {
    let mut switches = frames.site.switches.iter();
    switches.any(|switch| {
        1 < switch
            .ports
            .iter()
            .filter(|port| port.enabled && port.isolated)
            .count()
    })
}

fn bridges(frames: &Frames<'_>) -> bool {
    let mut hosts = frames.site.hosts.iter();
    hosts.any(|host| {
        let segments: BTreeSet<SegmentId> = host
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        host.forwards.value == Forwards::Bridges && 1 < segments.len()
    })
}

/// Whether frames of one interface of a host come in by another one of it.
fn two_on_one_wire(frames: &Frames<'_>) -> bool {
    hosts(frames).into_iter().any(|(host, at)| {
        let trip = frames.send_from(WiredInterface::Host(host, at));
        let mut taken = trip.interfaces.keys();
        taken.any(|interface| matches!(interface, WiredInterface::Host(other, there) if *other == host && *there != at))
    })
}

/// Interfaces of hosts that do not bridge.
fn hosts(frames: &Frames<'_>) -> Vec<(usize, usize)> {
    let plain = frames
        .site
        .hosts
        .iter()
        .enumerate()
        .filter(|(_, host)| host.forwards.value != Forwards::Bridges);
    let interfaces =
        plain.flat_map(|(number, host)| (0..host.interfaces.len()).map(move |at| (number, at)));
    interfaces.collect()
}

/// Segments that the port of each host's interface is in for a device with its tag; with that of the file.
fn ports_of_hosts(frames: &Frames<'_>) -> Vec<(SegmentId, BTreeSet<SegmentId>)> {
    let at_ports = hosts(frames)
        .into_iter()
        .map(|(host, at)| WiredInterface::Host(host, at))
        .filter_map(|interface| {
            let mut there = frames.spots().into_iter().filter(|&spot| {
                let interfaces = frames.interfaces_at(spot);
                matches!(spot, Spot::Port(..))
                    && interfaces.is_some_and(|interfaces| interfaces.contains(&interface))
            });
            let spot = there.next()?;
            Some((
                frames.segment(interface),
                frames.belongs(spot, frames.tag(interface)),
            ))
        });
    at_ports.collect()
}

fn wrong_port(frames: &Frames<'_>) -> bool {
    let mut ports = ports_of_hosts(frames).into_iter();
    ports.any(|(own, found)| !found.contains(&own))
}

fn right_port(frames: &Frames<'_>) -> bool {
    let mut ports = ports_of_hosts(frames).into_iter();
    ports.any(|(own, found)| found.contains(&own))
}
