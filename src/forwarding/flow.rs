//! A set of packets under way: what was sent, what it looks like now, which devices it crossed.

use smallvec::SmallVec;

use crate::packet::{ClassSet, IntervalSet, Region, ServiceClasses};

use super::network::DeviceIndex;

/// One device that a flow crossed or ended at.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hop {
    /// The device.
    pub device: DeviceIndex,
    /// Interface of arrival.
    pub ingress: usize,
    /// Interface of departure; `None`: for the device itself.
    pub egress: Option<usize>,
    /// Whether a filter decided here.
    pub filtered: bool,
    /// Number of the deciding rule in the gateway's list; `None`: the default, or no filter.
    pub rule: Option<usize>,
    /// Number of the destination translation applied, and the destinations before it.
    pub destination_before: Option<(usize, IntervalSet)>,
    /// Services before that translation and the port it wrote.
    pub services_before: Option<(ClassSet, u16)>,
    /// Number of the source translation applied, and the sources before it.
    pub source_before: Option<(usize, IntervalSet)>,
    /// Whether a reply has passed here and its translations are undone.
    pub undone: bool,
}

impl Hop {
    /// Arrival at a device.
    pub fn arriving(device: DeviceIndex, ingress: usize) -> Self {
        Self {
            device,
            ingress,
            egress: None,
            filtered: false,
            rule: None,
            destination_before: None,
            services_before: None,
            source_before: None,
            undone: false,
        }
    }

    /// Whether an address or port was rewritten here and is not undone.
    pub fn translates(&self) -> bool {
        !self.undone && (self.source_before.is_some() || self.destination_before.is_some())
    }
}

/// A set of packets under way.
///
/// Invariant: every packet of `sent` becomes one of `now` by the translations of `hops`, and every packet of
/// `now` comes from one of `sent`. A field that no hop has rewritten is the same set in both.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Flow {
    /// As the sender sent it.
    pub sent: Region,
    /// As it is now.
    pub now: Region,
    /// Devices crossed, in order.
    pub hops: SmallVec<[Hop; 1]>,
}

impl Flow {
    /// A flow that has just been sent.
    pub fn new(region: Region) -> Self {
        Self {
            now: region.clone(),
            sent: region,
            hops: SmallVec::new(),
        }
    }

    /// The part of the flow that now lies in `part`, which must be a part of `now`.
    pub fn restricted(&self, part: Region, classes: &ServiceClasses) -> Self {
        Self {
            sent: self.sent_part(part.clone(), classes),
            now: part,
            hops: self.hops.clone(),
        }
    }

    /// What was sent of the part of `now` given.
    pub fn sent_part(&self, part: Region, classes: &ServiceClasses) -> Region {
        if !self.hops.iter().any(Hop::translates) {
            return part;
        }
        let pending = || self.hops.iter().filter(|hop| !hop.undone);
        let source = match pending().any(|hop| hop.source_before.is_some()) {
            true => self.sent.source.clone(),
            false => part.source,
        };
        let destination = match pending().any(|hop| hop.destination_before.is_some()) {
            true => self.sent.destination.clone(),
            false => part.destination,
        };
        // Undo the written ports, latest first.
        let written = self.hops.iter().rev().filter(|hop| !hop.undone);
        let services = written
            .filter_map(|hop| hop.services_before.as_ref())
            .fold(part.services, |services, (before, port)| {
                classes.before_destination_port(&services, before, *port)
            });
        Region {
            source,
            destination,
            services,
        }
    }

    /// Whether a filtering gateway decided on the way.
    pub fn filtered(&self) -> bool {
        self.hops.iter().any(|hop| hop.filtered)
    }
}
