//! Cells of the product held against those of the simulator.

use std::collections::BTreeSet;

use boundwalk::analysis::{Cell, Endpoint, Extent, HostileReach, Reading};
use boundwalk::forwarding::Packet;
use boundwalk::model::SegmentId;

use crate::engine::probe;
use crate::pairs::{Expected, Pairs};
use crate::simulator::{Probe, Stance};

/// One cell under test.
pub struct Checked<'a> {
    pub pairs: &'a Pairs<'a>,
    pub from: Endpoint,
    pub to: Endpoint,
    pub cell: &'a Cell,
    pub expected: &'a Expected,
}

impl Checked<'_> {
    /// What differs.
    pub fn problems(&self) -> Vec<String> {
        let mut problems = cell_differences(self.cell, self.expected);
        problems.extend(self.witness());
        if let HostileReach::Larger(packet) = self.cell.hostile {
            problems.extend(self.larger(probe(&packet)));
        }
        problems
    }

    /// The witness arrives, and is answered where anything is.
    fn witness(&self) -> Option<String> {
        let Some(packet) = self.cell.witness.as_ref().map(probe) else {
            let wanted = !self.expected.some.is_empty();
            return wanted.then(|| "there is no witness".to_owned());
        };
        let answered = matches!(self.cell.two_way, Extent::Some | Extent::All);
        let ends = self.pairs.send(self.from, packet);
        let mut here = ends.iter().filter(|end| self.pairs.takes(self.to, end));
        let shown = is_canonical(packet)
            && self.pairs.may_send(self.from, packet)
            && here.any(|end| end.came_back || !answered);
        (!shown).then(|| format!("the witness shows nothing: {packet:?} {ends:#?}"))
    }

    /// The hostile witness arrives, and nothing of its destination and service does from a plain device.
    fn larger(&self, packet: Probe) -> Option<String> {
        let segments = segments_of(self.pairs, self.from);
        let arrives = segments.iter().any(|&segment| {
            let ends = self.pairs.simulator.send(segment, packet, Stance::Hostile);
            ends.iter().any(|end| self.pairs.takes(self.to, end))
        });
        let plainly = self.pairs.sources(self.from).any(|source| {
            let ends = self.pairs.send(self.from, Probe { source, ..packet });
            ends.iter().any(|end| self.pairs.takes(self.to, end))
        });
        let right = arrives && !plainly && is_canonical(packet);
        (!right).then(|| format!("hostile: arrives {arrives}, plainly {plainly}: {packet:?}"))
    }

    /// A hostile packet that came to the column of this cell is no news where hostile reach is the same.
    pub fn hostile_arrival(&self, packet: Probe, class: usize) -> Option<String> {
        let news = self.cell.reading != Reading::Within
            && !self.expected.reached.contains(&(packet.destination, class));
        let known = matches!(self.cell.hostile, HostileReach::Larger(_));
        (news && !known).then(|| format!("hostile only, and unsaid: {packet:?}"))
    }
}

/// The segments where a hostile device in a sender's place may be.
pub fn segments_of(pairs: &Pairs<'_>, from: Endpoint) -> BTreeSet<SegmentId> {
    match from {
        Endpoint::Segment(segment) => [segment].into(),
        Endpoint::Host(host) => pairs.segments(host),
        Endpoint::Zone(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..) => BTreeSet::new(),
    }
}

/// Everything but the packets shown.
pub fn cell_differences(cell: &Cell, expected: &Expected) -> Vec<String> {
    let mut problems = Vec::new();
    let mut compare = |what: &str, found: String, wanted: String| {
        if found != wanted {
            problems.push(format!("{what}: {found}, should be {wanted}"));
        }
    };
    let text = |set: &BTreeSet<usize>| format!("{set:?}");
    let classes = |set: &boundwalk::packet::ClassSet| text(&set.iter().collect());
    compare(
        "reading",
        format!("{:?}", cell.reading),
        format!("{:?}", expected.reading),
    );
    compare("some", classes(&cell.some), text(&expected.some));
    compare("every", classes(&cell.every), text(&expected.every));
    let extents = |two_way: Extent, filtered: Extent| format!("{two_way:?}, {filtered:?}");
    compare(
        "two-way, filtered",
        extents(cell.two_way, cell.filtered),
        extents(expected.two_way, expected.filtered),
    );
    compare(
        "crossed",
        format!("{:?}", cell.crossed),
        format!("{:?}", Vec::from_iter(&expected.crossed)),
    );
    compare(
        "rules",
        format!("{:?}", cell.rules),
        format!("{:?}", Vec::from_iter(&expected.rules)),
    );
    compare("complete", cell.complete().to_string(), true.to_string());
    problems
}

/// Fields that a protocol does not have are 0.
fn is_canonical(packet: Probe) -> bool {
    match packet.protocol {
        6 | 17 | 33 | 132 | 136 => true,
        1 | 58 => packet.source_port == 0,
        _ => packet.source_port == 0 && packet.destination_port == 0,
    }
}

/// The packet that a hostile cell shows, if it does.
pub fn larger(cell: &Cell) -> Option<Packet> {
    match cell.hostile {
        HostileReach::Larger(packet) => Some(packet),
        _ => None,
    }
}
