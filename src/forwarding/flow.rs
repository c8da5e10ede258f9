//! A set of packets under way: what was sent, what it looks like now, which devices it crossed.

use smallvec::SmallVec;

use boundwalk_packet::{ClassSet, IntervalSet, Region, ServiceClasses};

use super::device::DeviceIndex;
use super::doubt::Certainty;

/// What translations changed at a device.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct Translated {
    /// Number of the destination translation applied, and the destinations before it.
    pub destination: Option<(usize, IntervalSet)>,
    /// Services before that translation and the port it wrote.
    pub services: Option<(ClassSet, u16)>,
    /// Number of the source translation applied, and the sources before it.
    pub source: Option<(usize, IntervalSet)>,
}

/// One device that a flow crossed or ended at.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
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
    /// What was rewritten here; `None`: nothing. Boxed, because most hops rewrite nothing and flows are
    /// copied a lot.
    pub translated: Option<Box<Translated>>,
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
            translated: None,
            undone: false,
        }
    }

    /// Whether an address or port was rewritten here and is not undone.
    pub fn translates(&self) -> bool {
        !self.undone && self.translated.is_some()
    }
}

/// One of the two addresses of a packet.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Side {
    Source,
    Destination,
}

/// A set of packets under way.
///
/// Invariant: every packet sent becomes one of `now` by the translations of `hops`, and every packet of `now`
/// comes from one that was sent. A field that no hop has rewritten is the same set in both.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Flow {
    /// As it is now.
    pub now: Region,
    /// Devices crossed, in order.
    pub hops: SmallVec<[Hop; 1]>,
    /// The described host that sends it by its own routes; `None`: a plain device, or a hostile one.
    pub host: Option<DeviceIndex>,
    /// How sure it is that it goes this way.
    pub certainty: Certainty,
    /// As it was sent, where some hop has rewritten it; else it is as it is now.
    before: Option<Box<Region>>,
}

/// A part of a flow that stops, or goes elsewhere.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stopped {
    /// As the sender sent it.
    pub sent: Region,
    /// How sure it is that it went this way.
    pub certainty: Certainty,
    /// The described host that sent it by its own routes.
    pub host: Option<DeviceIndex>,
}

impl Flow {
    /// A part of it, as it was sent, that stops.
    pub(super) fn stopped(&self, sent: Region) -> Stopped {
        Stopped {
            sent,
            certainty: self.certainty,
            host: self.host,
        }
    }

    /// What of it did not come to somebody who got `mine` of it, as it was sent; `None`: nothing of it.
    #[must_use]
    pub fn elsewhere(&self, mine: Option<&Region>) -> Vec<Stopped> {
        let rest = match mine {
            None => vec![self.sent().clone()],
            Some(mine) if mine == self.sent() => Vec::new(),
            Some(mine) => self.sent().difference(mine),
        };
        rest.into_iter().map(|sent| self.stopped(sent)).collect()
    }

    /// A flow that has just been sent.
    pub fn new(region: Region) -> Self {
        Self {
            now: region,
            hops: SmallVec::new(),
            host: None,
            certainty: Certainty::Certain,
            before: None,
        }
    }

    /// The flow as the sender sent it.
    pub fn sent(&self) -> &Region {
        self.before.as_deref().unwrap_or(&self.now)
    }

    /// The same, for keeping.
    pub fn into_sent(self) -> Region {
        self.before.map_or(self.now, |before| *before)
    }

    /// The same, on a way that is no surer than this.
    pub(super) fn at_most(self, certainty: Certainty) -> Self {
        Self {
            certainty: self.certainty.max(certainty),
            ..self
        }
    }

    /// The part of the flow that now lies in `part`, which must be a part of `now`.
    #[must_use]
    pub fn restricted(&self, part: Region, classes: &ServiceClasses) -> Self {
        let before = self.before.as_ref();
        let before = before.map(|_| Box::new(self.sent_part(part.clone(), classes)));
        Self {
            now: part,
            hops: self.hops.clone(),
            host: self.host,
            certainty: self.certainty,
            before,
        }
    }

    /// The part that now has an address in `set`, and the other part; `None` where a part is empty.
    pub(super) fn split(
        &self,
        side: Side,
        set: &IntervalSet,
        classes: &ServiceClasses,
    ) -> (Option<Self>, Option<Self>) {
        let addresses = match side {
            Side::Source => &self.now.source,
            Side::Destination => &self.now.destination,
        };
        let inside = addresses.intersection(set);
        if inside.is_empty() {
            return (None, Some(self.clone()));
        }
        let outside = addresses.difference(set);
        if outside.is_empty() {
            return (Some(self.clone()), None);
        }
        let part = |addresses: IntervalSet| {
            let mut part = self.now.clone();
            match side {
                Side::Source => part.source = addresses,
                Side::Destination => part.destination = addresses,
            }
            Some(self.restricted(part, classes))
        };
        (part(inside), part(outside))
    }

    /// What was sent of the part of `now` given.
    #[must_use]
    pub fn sent_part(&self, part: Region, classes: &ServiceClasses) -> Region {
        let Some(before) = &self.before else {
            return part;
        };
        let pending = || self.hops.iter().filter(|hop| !hop.undone);
        let pending = || pending().filter_map(|hop| hop.translated.as_deref());
        let source = if pending().any(|hop| hop.source.is_some()) {
            before.source.clone()
        } else {
            part.source
        };
        let destination = if pending().any(|hop| hop.destination.is_some()) {
            before.destination.clone()
        } else {
            part.destination
        };
        // Undo the written ports, latest first.
        let mut written: Vec<_> = pending().filter_map(|hop| hop.services.as_ref()).collect();
        written.reverse();
        let undo = |services: ClassSet, (before, port): &(ClassSet, u16)| {
            classes.before_destination_port(&services, before, *port)
        };
        let services = written.into_iter().fold(part.services, undo);
        Region {
            source,
            destination,
            services,
        }
    }

    /// Writes another destination, and port, at the last hop, for the translation of a number.
    pub(super) fn write_destination(
        &mut self,
        line: usize,
        address: u128,
        port: Option<u16>,
        classes: &ServiceClasses,
    ) {
        self.keep_sent();
        let Some(hop) = self.hops.last_mut() else {
            return;
        };
        let written = hop.translated.get_or_insert_default();
        let before = std::mem::replace(&mut self.now.destination, IntervalSet::point(address));
        written.destination = Some((line, before));
        if let Some(port) = port {
            let after = classes.with_destination_port(&self.now.services, port);
            let before = std::mem::replace(&mut self.now.services, after);
            written.services = Some((before, port));
        }
    }

    /// Writes another source at the last hop, for the translation of a number.
    pub(super) fn write_source(&mut self, line: usize, address: u128) {
        self.keep_sent();
        if let Some(hop) = self.hops.last_mut() {
            let before = std::mem::replace(&mut self.now.source, IntervalSet::point(address));
            hop.translated.get_or_insert_default().source = Some((line, before));
        }
    }

    /// Undoes what was rewritten at a hop, for the way back.
    pub(super) fn undo(&mut self, at: usize, classes: &ServiceClasses) {
        let hop = &mut self.hops[at];
        hop.undone = true;
        let Some(written) = &hop.translated else {
            return;
        };
        if let Some((_, source)) = &written.source {
            self.now.source = source.clone();
        }
        if let Some((_, destination)) = &written.destination {
            self.now.destination = destination.clone();
        }
        if let Some((before, port)) = &written.services {
            // Only what really came through: the present services, taken back through the written port.
            let services = classes.before_destination_port(&self.now.services, before, *port);
            self.now.services = services;
        }
    }

    /// The headers that come to the same interface again: of the packets that arrived at hop `at`, those that are the
    /// same now. `None`: every one has other headers now.
    pub(super) fn repeated(&self, at: usize) -> Option<Region> {
        let later = self.hops[at..].iter().filter(|hop| !hop.undone);
        let mut before = self.now.clone();
        // Latest first, so that the earliest rewriting says what it was.
        for written in later.rev().filter_map(|hop| hop.translated.as_deref()) {
            if let Some((_, source)) = &written.source {
                before.source = source.clone();
            }
            if let Some((_, destination)) = &written.destination {
                before.destination = destination.clone();
            }
            if let Some((services, _)) = &written.services {
                before.services = services.clone();
            }
        }
        let same = Region {
            source: before.source.intersection(&self.now.source),
            destination: before.destination.intersection(&self.now.destination),
            services: before.services.intersection(&self.now.services),
        };
        (!same.is_empty()).then_some(same)
    }

    /// Whether a filtering gateway decided on the way.
    #[must_use]
    pub fn filtered(&self) -> bool {
        self.hops.iter().any(|hop| hop.filtered)
    }

    /// From the first translation on, what was sent is kept apart.
    fn keep_sent(&mut self) {
        if self.before.is_none() {
            self.before = Some(Box::new(self.now.clone()));
        }
    }
}
