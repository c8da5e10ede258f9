//! What devices reach from where they stand, and what comes out where they are.
//!
//! A hostile device at a place sends any frame: without a tag, with one, with two (design of the model, 3.1). Tags
//! that nothing on the site names do all the same, so one of them stands for the rest. A plain device sends with
//! the tag that its place asks for, or none.

use std::collections::{BTreeMap, BTreeSet};

use boundwalk::model::{SegmentId, VlanId};

use super::frame_seats::{Group, Sitting};
use super::{Frames, Spot, Tags, WiredInterface};

/// How the devices that send behave.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Stance {
    /// As they are set up.
    Configured,
    /// One of them sends whatever it likes.
    Hostile,
}

/// Where frames of somebody come to.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Reach {
    /// Interfaces that take one.
    pub interfaces: BTreeSet<WiredInterface>,
    /// Places to stand where one comes out, with its tags there.
    pub out: BTreeSet<(Spot, Tags)>,
}

impl Frames<'_> {
    /// 0, each VLAN that anything on the site names, and one that nothing names.
    pub fn known_tags(&self) -> Vec<u16> {
        let mut known: BTreeSet<u16> = BTreeSet::new();
        let mut add = |vlan: Option<VlanId>| known.extend(vlan.map(VlanId::get));
        for switch in &self.site.switches {
            let ports = switch.ports.iter().filter_map(|port| port.vlans.as_ref());
            for vlans in ports.chain(switch.lags.iter().map(|lag| &lag.vlans)) {
                add(vlans.pvid);
                vlans
                    .untagged
                    .iter()
                    .chain(vlans.tagged.iter())
                    .for_each(|vlan| add(Some(vlan)));
            }
        }
        self.site
            .segments
            .iter()
            .for_each(|segment| add(segment.vlan.map(|vlan| vlan.value)));
        self.site
            .routers
            .iter()
            .flat_map(|router| &router.interfaces)
            .for_each(|interface| add(interface.vlan));
        self.site
            .hosts
            .iter()
            .flat_map(|host| &host.interfaces)
            .for_each(|interface| add(interface.vlan));
        let spare = (1..).find(|vlan| !known.contains(vlan));
        known.extend(spare);
        known.insert(0);
        known.into_iter().collect()
    }

    /// Every stack of two tags at most.
    pub fn stacks(&self) -> Vec<Tags> {
        let tags = self.known_tags();
        let mut stacks = vec![Vec::new()];
        stacks.extend(tags.iter().map(|&tag| vec![tag]));
        for &outer in &tags {
            stacks.extend(tags.iter().map(|&inner| vec![outer, inner]));
        }
        stacks
    }

    /// Where the frames of a hostile device at any of these places come to.
    pub fn hostile_at(&self, spots: &BTreeSet<Spot>) -> Reach {
        let stacks = self.stacks();
        let first = spots
            .iter()
            .flat_map(|&spot| stacks.iter().map(move |tags| (spot, tags.clone())));
        self.reach(first.collect())
    }

    /// Where frames of an unclaimed group come to.
    pub fn reach_of_group(&self, group: Group) -> Reach {
        self.hostile_at(self.unclaimed().get(&group).unwrap_or(&BTreeSet::new()))
    }

    /// Where frames of a segment come to: those of devices at its places, and those that interfaces on it send as
    /// they are set up, gateways and routers included.
    pub fn reach_of_segment(&self, segment: SegmentId, stance: Stance) -> Reach {
        let attach_points: Vec<Sitting> = self.seats_of(segment);
        let mut reach = match stance {
            Stance::Hostile => self.hostile_at(
                &attach_points
                    .iter()
                    .map(|attach_point| attach_point.1)
                    .collect(),
            ),
            Stance::Configured => {
                let plain = attach_points
                    .iter()
                    .filter(|attach_point| attach_point.3.is_none());
                let tags = |tag: Option<VlanId>| tag.map(VlanId::get).into_iter().collect();
                self.reach(plain.map(|&(_, spot, tag, _)| (spot, tags(tag))).collect())
            }
        };
        for interface in self.interfaces_on(segment) {
            let trip = self.send_from(interface);
            reach.interfaces.extend(trip.interfaces.into_keys());
            reach.out.extend(self.at_places(trip.left.into_keys()));
        }
        reach
    }

    /// Segments a device of which takes one of the frames: at a place where it comes out, with the tag of such
    /// devices there, or by an interface on it.
    pub fn segments_that_take(&self, reach: &Reach) -> BTreeSet<SegmentId> {
        let mut segments: BTreeSet<SegmentId> = reach
            .interfaces
            .iter()
            .map(|&interface| self.segment(interface))
            .collect();
        for &(segment, spot, tag, interface) in self.all_seats() {
            let mut out = reach.out.iter().filter(|(at, _)| *at == spot);
            if interface.is_none() && out.any(|(_, tags)| plain_takes(tag, tags)) {
                segments.insert(segment);
            }
        }
        segments
    }

    /// Segments at a place of which one of the frames comes out, whoever can make use of it.
    pub fn segments_that_hear(&self, reach: &Reach) -> BTreeSet<SegmentId> {
        let spots: BTreeSet<Spot> = reach.out.iter().map(|(spot, _)| *spot).collect();
        let there = self
            .all_seats()
            .iter()
            .filter(|attach_point| spots.contains(&attach_point.1));
        let by_interface = reach
            .interfaces
            .iter()
            .map(|&interface| self.segment(interface));
        there
            .map(|attach_point| attach_point.0)
            .chain(by_interface)
            .collect()
    }

    /// Unclaimed places, by group, at which one of the frames comes out.
    pub fn unclaimed_that_hear(&self, reach: &Reach) -> BTreeMap<Group, BTreeSet<Spot>> {
        let spots: BTreeSet<Spot> = reach.out.iter().map(|(spot, _)| *spot).collect();
        let heard = self.unclaimed().into_iter().map(|(group, places)| {
            let here: BTreeSet<Spot> = places.intersection(&spots).copied().collect();
            (group, here)
        });
        heard.filter(|(_, here)| !here.is_empty()).collect()
    }

    /// Whether no frame passes between a segment and an unclaimed place, either way: none of a device of the
    /// segment, hostile or not, comes out at one, and none that a hostile device sends there comes out at a place of
    /// the segment or is taken by an interface on it.
    pub fn apart_from_unclaimed(&self, segment: SegmentId) -> bool {
        let out = self.reach_of_segment(segment, Stance::Hostile);
        let mut groups = self.unclaimed().into_values();
        self.unclaimed_that_hear(&out).is_empty()
            && !groups.any(|places| {
                self.segments_that_hear(&self.hostile_at(&places))
                    .contains(&segment)
            })
    }

    /// Places of a segment.
    pub fn seats_of(&self, segment: SegmentId) -> Vec<Sitting> {
        self.all_seats()
            .iter()
            .filter(|attach_point| attach_point.0 == segment)
            .copied()
            .collect()
    }

    fn reach(&self, first: Vec<(Spot, Tags)>) -> Reach {
        let trip = self.follow(first);
        Reach {
            interfaces: trip.interfaces.into_keys().collect(),
            out: self.at_places(trip.left.into_keys()).collect(),
        }
    }

    fn at_places(
        &self,
        left: impl Iterator<Item = (Spot, Tags)>,
    ) -> impl Iterator<Item = (Spot, Tags)> {
        let places = self.places();
        left.filter(move |(spot, _)| places.contains(spot))
    }
}

/// A plain device takes what has its tag and no other; a priority tag says nothing.
fn plain_takes(tag: Option<VlanId>, tags: &[u16]) -> bool {
    let inner = match (tag, tags) {
        (None, tags) => tags,
        (Some(tag), [outer, inner @ ..]) if *outer == tag.get() => inner,
        (Some(_), _) => return false,
    };
    matches!(inner, [] | [0])
}
