//! Compares a fabric with the simulator of single frames.

use std::collections::{BTreeMap, BTreeSet};

use boundwalk::forwarding::layer2::{
    Fabric, Far, Frame, FrameWay, InterfaceId, InterfaceOf, NodeKind, PortId, PortName, Start,
    Taken, flood,
};
use boundwalk::model::{HostId, RouterId, SegmentId, Site, VlanId};

use crate::fabric_growth::tags_of;
use crate::fabric_seen::Seen;
use crate::frames::{Frames, Group, Jack, Sitting, Spot, Tags, Trip, WiredInterface};

/// One site, both ways.
pub struct Checks<'s> {
    frames: Frames<'s>,
    fabric: Fabric,
    spot_of: BTreeMap<PortId, Spot>,
    port_of: BTreeMap<Spot, PortId>,
    /// Tags worth trying: none of a VLAN, each VLAN in use, and one that is not.
    tags: Vec<u16>,
    pub seen: Seen,
    pub wrong: Vec<String>,
}

impl<'s> Checks<'s> {
    pub fn new(site: &'s Site) -> Self {
        let fabric = Fabric::new(site);
        let frames = Frames::new(site);
        let spot_of = spots(&fabric, &frames);
        let port_of = spot_of.iter().map(|(&port, &spot)| (spot, port)).collect();
        let mut checks = Self {
            tags: tags_of(site),
            frames,
            fabric,
            spot_of,
            port_of,
            seen: Seen::default(),
            wrong: Vec::new(),
        };
        let known: Vec<Spot> = checks.port_of.keys().copied().collect();
        let spots = checks.frames.spots();
        checks.equal("live places", &known, &spots);
        for interface in checks.fabric.interface_ids() {
            let mut ports = checks.fabric.interface(interface).ports.to_vec();
            let all = ports.len();
            ports.sort_unstable();
            ports.dedup();
            checks.equal("places of an interface, each once", &all, &ports.len());
        }
        checks
    }

    fn equal<T: PartialEq + std::fmt::Debug>(&mut self, what: &str, found: &T, expected: &T) {
        if found != expected {
            self.wrong.push(format!(
                "{what}\ncode:      {found:?}\nsimulator: {expected:?}"
            ));
        }
    }

    /// Frames of every interface, and at every place every stack of tags.
    pub fn single_frames(&mut self) {
        for interface in self.fabric.interface_ids().collect::<Vec<_>>() {
            let trip = self.frames.send_from(self.simulated(interface));
            self.compare("an interface", &[Start::WiredInterface(interface)], &[trip]);
        }
        for (spot, port) in self.port_of.clone() {
            for tags in stacks(&self.tags) {
                let trip = self.frames.send(spot, &tags);
                let start = Start::AttachPoint(port, Frame::with_tags(&tags));
                self.compare("a place", &[start], &[trip]);
            }
        }
    }

    /// Hostile devices at every place, and at all places at once.
    pub fn hostile_frames(&mut self) {
        let mut starts = Vec::new();
        let mut all = Vec::new();
        for (spot, port) in self.port_of.clone() {
            let trips: Vec<Trip> = stacks(&self.tags)
                .into_iter()
                .map(|tags| self.frames.send(spot, &tags))
                .collect();
            let start = Start::AttachPoint(port, Frame::HOSTILE);
            self.compare("a hostile device", &[start], &trips);
            starts.push(start);
            all.extend(trips);
        }
        self.compare("hostile devices everywhere", &starts, &all);
    }

    /// What a flood brought, against all that the simulator did with its frames.
    fn compare(&mut self, what: &str, starts: &[Start], trips: &[Trip]) {
        let what = format!("{what}: {starts:?}");
        let flood = flood(&self.fabric, starts);
        let found: Vec<WiredInterface> = flood
            .interfaces()
            .map(|interface| self.simulated(interface))
            .collect();
        let set: BTreeSet<WiredInterface> = found.iter().copied().collect();
        self.equal(&format!("{what}: each once"), &set.len(), &found.len());
        let nearest = nearest(trips);
        let expected: BTreeSet<WiredInterface> = nearest.keys().copied().collect();
        self.equal(&format!("{what}: who takes it"), &set, &expected);
        let left: BTreeSet<(Spot, Tags)> = flood
            .taken
            .iter()
            .filter(|taken| taken.interface.is_none())
            .flat_map(|taken| {
                let spot = self.spot_of[&taken.port];
                let tags = meant(&taken.frame, &self.tags).into_iter();
                tags.map(move |tags| (spot, tags))
            })
            .collect();
        let away: BTreeSet<(Spot, Tags)> = trips
            .iter()
            .flat_map(|trip| trip.left.keys().cloned())
            .collect();
        self.equal(&format!("{what}: where it leaves"), &left, &away);
        self.seen.count(self.frames.site, trips);
        for taken in &flood.taken {
            let way = flood.way(&self.fabric, taken);
            if let Err(reason) = self.replay(taken, &way, starts, &nearest) {
                self.wrong
                    .push(format!("{what}\n{taken:?}\n{way:?}\n{reason}"));
            }
        }
    }

    /// Whether a frame with the tags that a way tells really goes that way, and nothing goes a shorter one.
    fn replay(
        &self,
        taken: &Taken,
        way: &FrameWay,
        starts: &[Start],
        nearest: &BTreeMap<WiredInterface, usize>,
    ) -> Result<(), String> {
        let claim = |true_so: bool, what: &str| true_so.then_some(()).ok_or(what.to_owned());
        claim(starts.contains(&way.start), "another start")?;
        claim(way.sent.len() <= 2, "more tags than a device puts on")?;
        let first = way.steps.first().ok_or("no step")?;
        let trip = self.resend(way, first.ingress)?;
        let mut tags = &way.sent;
        for (number, step) in way.steps.iter().enumerate() {
            claim(step.arrived == *tags, "tags change on a cable")?;
            let [here, out] = [step.ingress, step.egress].map(|port| self.spot_of[&port]);
            let done = (here, step.arrived.clone(), out, step.left.clone());
            claim(trip.steps.contains(&done), &format!("nobody does {done:?}"))?;
            let next = way.steps.get(number + 1);
            let next = next.map(|next| Jack::Spot(self.spot_of[&next.ingress]));
            claim(
                next.is_none_or(|next| self.frames.at(out).contains(&next)),
                "no cable leads there",
            )?;
            tags = &step.left;
        }
        self.replay_end(taken, way, &trip, nearest)
    }

    /// The trip of the frame that a way says was sent, if its start may send it there.
    fn resend(&self, way: &FrameWay, at: PortId) -> Result<Trip, String> {
        let claim = |true_so: bool, what: &str| true_so.then_some(()).ok_or(what.to_owned());
        let spot = self.spot_of[&at];
        if let Start::WiredInterface(interface) = way.start {
            let interface = self.simulated(interface);
            let tag: Tags = self
                .frames
                .tag(interface)
                .map(VlanId::get)
                .into_iter()
                .collect();
            claim(way.sent == tag, "not the tag of the interface")?;
            let interfaces = self.frames.interfaces_at(spot);
            let there = interfaces.is_some_and(|interfaces| interfaces.contains(&interface));
            claim(there, "it is not there")?;
            return Ok(self.frames.send_from(interface));
        }
        if let Start::AttachPoint(port, frame) = way.start {
            claim(at == port, "it begins elsewhere")?;
            // Where a priority tag was sent, none or that of the PVID does the same.
            let choice = meant(&frame, &self.tags).contains(&way.sent);
            claim(choice || frame.tags().contains(&0), "not its choice")?;
            return Ok(self.frames.send(spot, &way.sent));
        }
        Err("a start that was not asked for".to_owned())
    }

    fn replay_end(
        &self,
        taken: &Taken,
        way: &FrameWay,
        trip: &Trip,
        nearest: &BTreeMap<WiredInterface, usize>,
    ) -> Result<(), String> {
        let last = way.steps.last().ok_or("no step")?;
        let end = (self.spot_of[&last.egress], last.left.clone());
        let arrives = match taken.interface {
            None => trip.left.contains_key(&end),
            Some(interface) => trip
                .took
                .contains(&(end.0, end.1, self.simulated(interface))),
        };
        let shortest = taken
            .interface
            .map(|interface| nearest.get(&self.simulated(interface)));
        let length = way.steps.len();
        match (arrives, shortest) {
            _ if last.egress != taken.port || way.interface != taken.interface => {
                Err("another end".into())
            }
            (false, _) => Err("it does not arrive".into()),
            (true, Some(shortest)) if shortest != Some(&length) => {
                Err(format!("{length} steps, where {shortest:?} are enough"))
            }
            (true, _) => Ok(()),
        }
    }

    pub fn attach_points(&mut self) {
        let mut found: BTreeSet<Sitting> = BTreeSet::new();
        let mut twice = 0;
        for segment in self.frames.site.segment_ids() {
            for attach_point in self.fabric.attach_points(segment) {
                let interface = attach_point
                    .interface
                    .map(|interface| self.simulated(interface));
                let spot = self.spot_of[&attach_point.port];
                twice += usize::from(!found.insert((segment, spot, attach_point.tag, interface)));
            }
        }
        let expected = self.frames.attach_points(&self.tags);
        let [missing, spare] = [(&expected, &found), (&found, &expected)]
            .map(|(these, those)| these.difference(those).copied().collect::<Vec<_>>());
        self.equal(
            "attachment points too many / missing",
            &(spare, twice),
            &(missing, 0),
        );
        let named = expected
            .iter()
            .filter(|attach_point| attach_point.3.is_some())
            .count();
        self.seen.named += named;
        self.seen.vacant += expected.len() - named;
        let mut forms: BTreeMap<Spot, BTreeSet<(SegmentId, Option<VlanId>)>> = BTreeMap::new();
        for (segment, spot, tag, interface) in expected {
            // A device that uses another tag than the file tells is a hostile one.
            if tag.is_none() || interface.is_some() {
                forms.entry(spot).or_default().insert((segment, tag));
            }
        }
        for (spot, port) in self.port_of.clone() {
            let expected = forms.remove(&spot).unwrap_or_default();
            let seated = self.fabric.seated(port).iter().copied().collect();
            self.equal(&format!("who sits at {spot:?}"), &seated, &expected);
        }
    }

    /// Groups of unclaimed ports as a fabric lists them, each with its places and with what a hostile device there
    /// starts from: the same places in the same groups, and all their frames go the same ways.
    #[allow(dead_code, reason = "for fabrics that list them")]
    pub fn unclaimed(&mut self, listed: &[(Group, Vec<PortId>, Vec<Start>)]) {
        let found = listed.iter().map(|(group, ports, _)| {
            let spots = ports.iter().map(|port| self.spot_of[port]);
            (*group, spots.collect::<BTreeSet<Spot>>())
        });
        let found: BTreeMap<Group, BTreeSet<Spot>> = found.collect();
        let expected = self.frames.unclaimed();
        self.equal("each group once", &found.len(), &listed.len());
        self.equal("unclaimed ports", &found, &expected);
        for (group, _, starts) in listed {
            let trips: Vec<Trip> = expected
                .get(group)
                .into_iter()
                .flatten()
                .flat_map(|&spot| stacks(&self.tags).into_iter().map(move |tags| (spot, tags)))
                .map(|(spot, tags)| self.frames.send(spot, &tags))
                .collect();
            self.compare("a hostile device at an unclaimed port", starts, &trips);
        }
    }

    fn simulated(&self, interface: InterfaceId) -> WiredInterface {
        simulated(&self.fabric, interface)
    }
}

/// The place that each port stands for.
fn spots(fabric: &Fabric, frames: &Frames<'_>) -> BTreeMap<PortId, Spot> {
    let mut spots = BTreeMap::new();
    let mut named: BTreeSet<Spot> = BTreeSet::new();
    for id in fabric.port_ids() {
        let port = fabric.port(id);
        let spot = match (port.name, fabric.node(port.node).kind) {
            (PortName::Port(switch, port), _) => Spot::Port(switch.0, port),
            (PortName::Lag(switch, lag), _) => Spot::Lag(switch.0, lag),
            (PortName::Interface(host, at), _) => Spot::Interface(host.0, at),
            (PortName::Unnamed, NodeKind::Bridge(host)) => Spot::Inside(host.0),
            (PortName::Unnamed, NodeKind::Neighbours(link)) => {
                let Far::Interfaces(interfaces) = &port.far else {
                    panic!("a cable between devices that ends elsewhere")
                };
                let interfaces: Vec<WiredInterface> = interfaces
                    .iter()
                    .map(|&interface| simulated(fabric, interface))
                    .collect();
                let alike = |spot: &Spot| match *spot {
                    Spot::Neighbours(cable, _) => {
                        frames.link(cable) == link
                            && frames.interfaces_at(*spot) == Some(interfaces.clone())
                    }
                    _ => false,
                };
                let mut ends = frames.spots().into_iter().filter(alike);
                ends.find(|end| !named.contains(end))
                    .expect("the simulator has this cable too")
            }
            (PortName::Unnamed, kind) => panic!("{kind:?} where all is described"),
        };
        assert!(named.insert(spot), "two sockets for {spot:?}");
        spots.insert(id, spot);
    }
    spots
}

fn simulated(fabric: &Fabric, interface: InterfaceId) -> WiredInterface {
    match fabric.interface(interface).of {
        InterfaceOf::Router(RouterId(router), at) => WiredInterface::Router(router, at),
        InterfaceOf::Host(HostId(host), at) => WiredInterface::Host(host, at),
    }
}

/// Every stack of two tags at most.
fn stacks(tags: &[u16]) -> Vec<Tags> {
    let mut stacks = vec![Vec::new()];
    stacks.extend(tags.iter().map(|&tag| vec![tag]));
    let pairs = tags
        .iter()
        .flat_map(|&outer| tags.iter().map(move |&inner| vec![outer, inner]));
    stacks.extend(pairs);
    stacks
}

/// All the frames that one of the model stands for.
fn meant(frame: &Frame, tags: &[u16]) -> Vec<Tags> {
    let free = usize::from(frame.free());
    let below = stacks(tags).into_iter().filter(|below| below.len() <= free);
    below.map(|below| [frame.tags(), &below].concat()).collect()
}

/// Over how many devices each interface is reached at least.
fn nearest(trips: &[Trip]) -> BTreeMap<WiredInterface, usize> {
    let mut nearest: BTreeMap<WiredInterface, usize> = BTreeMap::new();
    for (&interface, &far) in trips.iter().flat_map(|trip| &trip.interfaces) {
        let known = nearest.entry(interface).or_insert(far);
        *known = far.min(*known);
    }
    nearest
}
