//! Isolation of a segment as the simulator of single frames has it, for comparison with a verdict.
//!
//! *Isolated by design* means no path at all (design of the model, section 4). A hostile device may stand at any place
//! (section 3.1), and hears whatever comes out there. So, as far as frames decide: no frame of a hostile device at a
//! place of the segment is taken by a gateway, a router or a host of another segment, or comes out at a place of another
//! segment or at an unclaimed one; and none of a hostile device at any of those is taken by a host of the segment or
//! comes out at a place of it.

use std::collections::BTreeSet;

use boundwalk::model::SegmentId;

use crate::frames::{Frames, Reach, Spot, WiredInterface};

/// What passes frames to or from devices of a segment, each as a sentence.
pub fn exchanges(frames: &Frames<'_>, segment: SegmentId) -> Vec<String> {
    let mut found = Vec::new();
    let out = frames.hostile_at(&places(frames, segment));
    for interface in &out.interfaces {
        if is_router(interface) || frames.segment(*interface) != segment {
            found.push(format!("{interface:?} takes its frames"));
        }
    }
    for other in heard_by(frames, &out) {
        if other != segment {
            found.push(format!("its frames come out at a place of {other:?}"));
        }
    }
    let groups = frames.unclaimed_that_hear(&out).into_iter();
    found.extend(groups.map(|group| format!("its frames come out at unclaimed {group:?}")));
    for (group, there) in frames.unclaimed() {
        if heard_by(frames, &frames.hostile_at(&there)).contains(&segment) {
            found.push(format!("it hears unclaimed {group:?}"));
        }
    }
    for other in frames.site.segment_ids().filter(|&other| other != segment) {
        let reach = frames.hostile_at(&places(frames, other));
        if heard_by(frames, &reach).contains(&segment) {
            found.push(format!("it hears {other:?}"));
        }
    }
    found
}

/// Whether a gateway or router, or a host on another segment too, may carry packets where no frame goes: one has an
/// interface on the segment, or its frames come to devices of it.
pub fn carried(frames: &Frames<'_>, segment: SegmentId) -> bool {
    let here = places(frames, segment);
    let mut ids = frames.site.segment_ids();
    let own = |interface: &WiredInterface| frames.segment(*interface) == segment;
    let mut interfaces = ids.by_ref().flat_map(|id| frames.interfaces_on(id));
    interfaces.any(|interface| {
        let trip = frames.send_from(interface);
        let comes = trip.left.keys().any(|(spot, _)| here.contains(spot));
        let hosts = trip
            .interfaces
            .keys()
            .any(|interface| own(interface) && !is_router(interface));
        match interface {
            WiredInterface::Router(..) => own(&interface) || comes || hosts,
            WiredInterface::Host(host, _) => {
                own(&interface) && 1 < frames.site.hosts[host].interfaces.len()
            }
        }
    })
}

fn places(frames: &Frames<'_>, segment: SegmentId) -> BTreeSet<Spot> {
    frames
        .seats_of(segment)
        .iter()
        .map(|attach_point| attach_point.1)
        .collect()
}

/// Segments at a place of which a frame comes out, or a host on which takes it.
fn heard_by(frames: &Frames<'_>, reach: &Reach) -> BTreeSet<SegmentId> {
    let mut devices = reach.clone();
    devices.interfaces.retain(|interface| !is_router(interface));
    frames.segments_that_hear(&devices)
}

fn is_router(interface: &WiredInterface) -> bool {
    matches!(interface, WiredInterface::Router(..))
}
