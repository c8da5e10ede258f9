//! Where single frames go, the slow and obvious way.
//!
//! One concrete frame at a time, with the tags that it really carries, from port to port with a work list.
//! Written from the definitions, not from the code it judges: it shares the model and nothing else. Each part
//! states the definition that it follows:
//!
//! - `frame_cables`: which cables there are (IEEE 802.1AX: a LAG is one port);
//! - `frame_devices`: what a device does with a frame (IEEE 802.1Q: ingress, relay, egress);
//! - `frame_parts`: which segment a VLAN number means in which part of layer 2;
//! - `frame_wires`: where interfaces are of which no cable is described;
//! - `frame_seats`: where devices may stand, and of which segment they are there, if of any;
//! - `frame_reach`: what devices there reach, and what comes out where they are.

#[path = "frame_cables.rs"]
mod frame_cables;
#[path = "frame_devices.rs"]
mod frame_devices;
#[path = "frame_parts.rs"]
mod frame_parts;
#[path = "frame_reach.rs"]
mod frame_reach;
#[path = "frame_seats.rs"]
mod frame_seats;
#[path = "frame_wires.rs"]
mod frame_wires;

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use boundwalk::model::{Forwards, HostInterface, PortVlans, Site, VlanId};

pub use frame_cables::Device;
use frame_cables::{Cable, Plug};
pub use frame_reach::{Reach, Stance};
pub use frame_seats::{Group, Sitting};

/// Tags of a frame, outermost first; 0 is a priority tag.
pub type Tags = Vec<u16>;

/// A place that frames come in and go out by.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Spot {
    /// A port of a switch, both by number.
    Port(usize, usize),
    /// A LAG of a switch that forms.
    Lag(usize, usize),
    /// An interface of a host that bridges.
    Interface(usize, usize),
    /// Where the addresses of a host that bridges sit.
    Inside(usize),
    /// One end of a cable between two devices that pass no frames on: cable and end.
    Neighbours(usize, usize),
    /// A port that a switch, the first, is assumed to have for a segment, the second, some of whose interfaces
    /// have no cable.
    Assumed(usize, usize),
    /// Where something is joined to the assumed wire of a segment: segment and number.
    Tap(usize, usize),
}

/// An interface that frames begin and end at.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum WiredInterface {
    /// Of a gateway or router.
    Router(usize, usize),
    /// Of a host.
    Host(usize, usize),
}

/// What stands at an end of a cable.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Jack {
    Spot(Spot),
    Interfaces(Vec<WiredInterface>),
    Dead,
}

/// What one device did with one frame: where it came in, with what, where it went out, with what.
pub type Step = (Spot, Tags, Spot, Tags);

/// Everything that one frame led to.
#[derive(Clone, Default, Debug)]
pub struct Trip {
    /// Interfaces that took it, and over how many devices and cables it came at least.
    pub interfaces: BTreeMap<WiredInterface, usize>,
    /// Frames that left by a place without a cable, or with devices there.
    pub left: BTreeMap<(Spot, Tags), usize>,
    /// All that was done with it.
    pub steps: BTreeSet<Step>,
    /// Which frame each interface took, and where that left.
    pub took: BTreeSet<(Spot, Tags, WiredInterface)>,
}

/// Who is plugged into what.
pub struct Frames<'s> {
    pub site: &'s Site,
    cables: Vec<Cable>,
    /// What is plugged into each place that has a cable.
    plugged: BTreeMap<Spot, Vec<Jack>>,
    /// Live places of each switch.
    live: Vec<Vec<Spot>>,
    /// The part that each switch and each host that bridges is in.
    parts: BTreeMap<Device, usize>,
    /// Settings of the ports that switches are assumed to have.
    assumed: BTreeMap<Spot, PortVlans>,
    /// Places on the assumed wire of each segment that has one.
    taps: BTreeMap<usize, Vec<Spot>>,
    /// Interfaces that a cable is described for.
    cabled: BTreeSet<WiredInterface>,
    /// Where devices stand, once somebody has asked.
    attach_points: OnceCell<BTreeSet<Sitting>>,
}

impl<'s> Frames<'s> {
    pub fn new(site: &'s Site) -> Self {
        let mut frames = Self {
            site,
            cables: frame_cables::cables(site),
            plugged: BTreeMap::new(),
            live: Vec::new(),
            parts: BTreeMap::new(),
            assumed: BTreeMap::new(),
            taps: BTreeMap::new(),
            cabled: BTreeSet::new(),
            attach_points: OnceCell::new(),
        };
        frames.cabled = frames.interfaces_with_cables();
        for number in 0..frames.cables.len() {
            let [one, other] = frames.cables[number].ends.clone().map(|p| frames.jack(&p));
            frames.connect(number, one, other);
        }
        for (number, host) in site.hosts.iter().enumerate() {
            if host.forwards.value == Forwards::Bridges {
                let own = (0..host.interfaces.len()).map(|at| WiredInterface::Host(number, at));
                frames.plug(Spot::Inside(number), Jack::Interfaces(own.collect()));
            }
        }
        let switches = 0..site.switches.len();
        frames.live = switches.map(|number| frames.spots_of(number)).collect();
        frames.parts = frames.find_parts();
        frames.join_wires();
        frames
    }

    fn plug(&mut self, spot: Spot, jack: Jack) {
        self.plugged.entry(spot).or_default().push(jack);
    }

    fn connect(&mut self, number: usize, one: Jack, other: Jack) {
        match (one, other) {
            (Jack::Interfaces(one), Jack::Interfaces(other)) => {
                self.plug(Spot::Neighbours(number, 0), Jack::Interfaces(one));
                self.plug(Spot::Neighbours(number, 1), Jack::Interfaces(other));
            }
            (one, other) => {
                if let Jack::Spot(spot) = one {
                    self.plug(spot, other.clone());
                }
                if let Jack::Spot(spot) = other {
                    self.plug(spot, one);
                }
            }
        }
    }

    /// What a plug is: a place of a device that passes frames on, or the interfaces there.
    fn jack(&self, plug: &Plug) -> Jack {
        let name = plug.name.as_str();
        match plug.device {
            _ if plug.dead => Jack::Dead,
            Device::Switch(number) => Jack::Spot(self.switch_spot(number, name)),
            Device::Router(number) => {
                let at = self.on_port(number, name).into_iter();
                Jack::Interfaces(at.map(|at| WiredInterface::Router(number, at)).collect())
            }
            Device::Host(number) => {
                let host = &self.site.hosts[number];
                let named = |interface: &HostInterface| interface.name.value == name;
                let at = host.interfaces.iter().position(named).expect("it is named");
                match host.forwards.value {
                    Forwards::Bridges => Jack::Spot(Spot::Interface(number, at)),
                    _ => Jack::Interfaces(vec![WiredInterface::Host(number, at)]),
                }
            }
        }
    }

    /// Interfaces of a gateway or router that stand on a port, or on the LAG that it is in.
    fn on_port(&self, number: usize, name: &str) -> Vec<usize> {
        let router = &self.site.routers[number];
        let mut lags = router.lags.iter();
        let holds = |port: &str| port == name;
        let lag = lags.find(|lag| lag.ports.iter().any(|port| holds(&port.value)));
        let send_points = lag.map_or(name, |lag| lag.name.value.as_str());
        let there = router
            .interfaces
            .iter()
            .enumerate()
            .filter(|(_, interface)| {
                let port = interface.port.as_ref();
                port.is_some_and(|port| port.value == send_points)
            });
        there.map(|(at, _)| at).collect()
    }

    fn switch_spot(&self, number: usize, name: &str) -> Spot {
        let switch = &self.site.switches[number];
        let port = switch.ports.iter().position(|port| port.name.value == name);
        let lag = switch.lags.iter().position(|lag| lag.name.value == name);
        match (port, lag) {
            (Some(port), _) => Spot::Port(number, port),
            (_, Some(lag)) => Spot::Lag(number, lag),
            (None, None) => unreachable!("links name what there is"),
        }
    }

    /// Live places of a switch: LAGs that form, and every other port that is not disabled.
    fn spots_of(&self, number: usize) -> Vec<Spot> {
        let switch = &self.site.switches[number];
        let ports = switch.ports.iter().enumerate().filter(|(_, port)| {
            port.enabled
                && !frame_cables::bundled(self.site, &self.cables, number, &port.name.value)
        });
        let mut spots: Vec<Spot> = ports.map(|(at, _)| Spot::Port(number, at)).collect();
        let lags = (0..switch.lags.len()).map(|lag| Spot::Lag(number, lag));
        spots.extend(lags.filter(|spot| self.plugged.contains_key(spot)));
        spots
    }

    /// All live places.
    pub fn spots(&self) -> Vec<Spot> {
        let mut spots: Vec<Spot> = self.live.iter().flatten().copied().collect();
        spots.extend(self.plugged.keys());
        spots.extend(self.taps.values().flatten());
        spots.sort_unstable();
        spots.dedup();
        spots
    }

    /// What is plugged in.
    pub fn at(&self, spot: Spot) -> &[Jack] {
        self.plugged.get(&spot).map_or(&[], Vec::as_slice)
    }

    /// The number of a cable's line in the site.
    pub fn link(&self, cable: usize) -> usize {
        self.cables[cable].link
    }

    /// A frame with these tags that comes in at a place.
    pub fn send(&self, spot: Spot, tags: &[u16]) -> Trip {
        self.follow(vec![(spot, tags.to_vec())])
    }

    /// A frame that an interface sends, with its tag or without.
    pub fn send_from(&self, interface: WiredInterface) -> Trip {
        let tags: Tags = self.tag(interface).map(VlanId::get).into_iter().collect();
        let here = |jack: &Jack| matches!(jack, Jack::Interfaces(interfaces) if interfaces.contains(&interface));
        let spots = self
            .plugged
            .iter()
            .filter(|(_, jacks)| jacks.iter().any(here));
        self.follow(spots.map(|(&spot, _)| (spot, tags.clone())).collect())
    }

    fn follow(&self, first: Vec<(Spot, Tags)>) -> Trip {
        let mut trip = Trip::default();
        let mut seen: BTreeSet<(Spot, Tags)> = first.iter().cloned().collect();
        let mut work: VecDeque<(Spot, Tags, usize)> = VecDeque::new();
        work.extend(first.into_iter().map(|(spot, tags)| (spot, tags, 1)));
        while let Some((spot, tags, far)) = work.pop_front() {
            for (out, left) in self.passes(spot, &tags) {
                trip.steps.insert((spot, tags.clone(), out, left.clone()));
                if self.is_end(out) {
                    trip.left.entry((out, left.clone())).or_insert(far);
                }
                for jack in self.at(out) {
                    match jack {
                        Jack::Spot(next) if seen.insert((*next, left.clone())) => {
                            work.push_back((*next, left.clone(), far + 1));
                        }
                        Jack::Interfaces(interfaces) => {
                            for &interface in interfaces
                                .iter()
                                .filter(|&&interface| self.takes(interface, &left))
                            {
                                trip.interfaces.entry(interface).or_insert(far);
                                trip.took.insert((out, left.clone(), interface));
                            }
                        }
                        Jack::Spot(_) | Jack::Dead => {}
                    }
                }
            }
        }
        trip
    }

    /// Whether nothing is plugged in at a place, or devices whose place another may take: no switch.
    pub fn is_end(&self, spot: Spot) -> bool {
        let bridging = |jack: &Jack| matches!(jack, Jack::Spot(Spot::Interface(..)));
        let jacks = self.at(spot);
        jacks.is_empty() || jacks.iter().any(bridging) || self.interfaces_at(spot).is_some()
    }

    /// The interfaces at a place where nothing else is.
    pub fn interfaces_at(&self, spot: Spot) -> Option<Vec<WiredInterface>> {
        let interfaces = self.at(spot).iter().map(|jack| match jack {
            Jack::Interfaces(interfaces) => Some(interfaces.clone()),
            _ => None,
        });
        let interfaces: Option<Vec<Vec<WiredInterface>>> = interfaces.collect();
        interfaces
            .filter(|interfaces| !interfaces.is_empty())
            .map(|interfaces| interfaces.concat())
    }
}
