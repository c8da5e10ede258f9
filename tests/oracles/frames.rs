//! Where single frames go, the slow and obvious way.
//!
//! One concrete frame at a time, with the tags that it really carries, from port to port with a work list.
//! Written from the definitions (IEEE 802.1Q: ingress, relay, egress; IEEE 802.1AX: a LAG is one port), not
//! from the code it judges: it shares the model and nothing else. Interfaces without a cable stay outside.

#[path = "frame_cables.rs"]
mod frame_cables;
#[path = "frame_seats.rs"]
mod frame_seats;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use boundwalk::model::{
    Forwards, FrameTypes, HostInterface, PortVlans, SegmentId, Site, Switch, VlanId,
};

pub use frame_cables::Device;
use frame_cables::{Cable, Plug};
pub use frame_seats::Sitting;

/// Tags of a frame, outermost first; 0 is a priority tag.
pub type Tags = Vec<u16>;

/// A frame with more is dropped: two from the sender and one from a host that bridges are followed.
const MOST_TAGS: usize = 3;

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
    Wire(usize, usize),
}

/// An interface that frames begin and end at.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Foot {
    /// Of a gateway or router.
    Router(usize, usize),
    /// Of a host.
    Host(usize, usize),
}

/// What stands at an end of a cable.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Jack {
    Spot(Spot),
    Feet(Vec<Foot>),
    Dead,
}

/// What one device did with one frame: where it came in, with what, where it went out, with what.
pub type Step = (Spot, Tags, Spot, Tags);

/// Everything that one frame led to.
#[derive(Clone, Default, Debug)]
pub struct Trip {
    /// Interfaces that took it, and over how many devices and cables it came at least.
    pub feet: BTreeMap<Foot, usize>,
    /// Frames that left by a place without a cable, or with devices there.
    pub left: BTreeMap<(Spot, Tags), usize>,
    /// All that was done with it.
    pub steps: BTreeSet<Step>,
    /// Which frame each interface took, and where that left.
    pub took: BTreeSet<(Spot, Tags, Foot)>,
}

/// Who is plugged into what.
pub struct Frames<'s> {
    pub site: &'s Site,
    cables: Vec<Cable>,
    /// What is plugged into each place that has a cable.
    plugged: BTreeMap<Spot, Vec<Jack>>,
}

impl<'s> Frames<'s> {
    pub fn new(site: &'s Site) -> Self {
        let mut frames = Self {
            site,
            cables: frame_cables::cables(site),
            plugged: BTreeMap::new(),
        };
        for number in 0..frames.cables.len() {
            let [one, other] = frames.cables[number].ends.clone().map(|p| frames.jack(&p));
            frames.connect(number, one, other);
        }
        for (number, host) in site.hosts.iter().enumerate() {
            if host.forwards.value == Forwards::Bridges {
                let own = (0..host.interfaces.len()).map(|at| Foot::Host(number, at));
                frames.plug(Spot::Inside(number), Jack::Feet(own.collect()));
            }
        }
        frames
    }

    fn plug(&mut self, spot: Spot, jack: Jack) {
        self.plugged.entry(spot).or_default().push(jack);
    }

    fn connect(&mut self, number: usize, one: Jack, other: Jack) {
        match (one, other) {
            (Jack::Feet(one), Jack::Feet(other)) => {
                self.plug(Spot::Wire(number, 0), Jack::Feet(one));
                self.plug(Spot::Wire(number, 1), Jack::Feet(other));
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
                let router = &self.site.routers[number];
                let mut lags = router.lags.iter();
                let holds = |port: &str| port == name;
                let lag = lags.find(|lag| lag.ports.iter().any(|port| holds(&port.value)));
                let stands = lag.map_or(name, |lag| lag.name.value.as_str());
                let on = |port: Option<&str>| port == Some(stands);
                let feet = router.interfaces.iter().enumerate();
                let feet = feet.filter(|(_, interface)| {
                    on(interface.port.as_ref().map(|port| port.value.as_str()))
                });
                Jack::Feet(feet.map(|(at, _)| Foot::Router(number, at)).collect())
            }
            Device::Host(number) => {
                let host = &self.site.hosts[number];
                let named = |interface: &HostInterface| interface.name.value == name;
                let at = host.interfaces.iter().position(named).expect("it is named");
                match host.forwards.value {
                    Forwards::Bridges => Jack::Spot(Spot::Interface(number, at)),
                    _ => Jack::Feet(vec![Foot::Host(number, at)]),
                }
            }
        }
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
        let switches = 0..self.site.switches.len();
        let mut spots: Vec<Spot> = switches.flat_map(|number| self.spots_of(number)).collect();
        spots.extend(self.plugged.keys());
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
    pub fn send_from(&self, foot: Foot) -> Trip {
        let tags: Tags = self.tag(foot).map(VlanId::get).into_iter().collect();
        let here = |jack: &Jack| matches!(jack, Jack::Feet(feet) if feet.contains(&foot));
        let spots = self.plugged.iter();
        let spots = spots.filter(|(_, jacks)| jacks.iter().any(here));
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
                        Jack::Feet(feet) => {
                            for &foot in feet.iter().filter(|&&foot| self.takes(foot, &left)) {
                                trip.feet.entry(foot).or_insert(far);
                                trip.took.insert((out, left.clone(), foot));
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
        jacks.is_empty() || jacks.iter().any(bridging) || self.feet_at(spot).is_some()
    }

    /// The interfaces at a place where nothing else is.
    pub fn feet_at(&self, spot: Spot) -> Option<Vec<Foot>> {
        let feet = self.at(spot).iter().map(|jack| match jack {
            Jack::Feet(feet) => Some(feet.clone()),
            _ => None,
        });
        let feet: Option<Vec<Vec<Foot>>> = feet.collect();
        feet.filter(|feet| !feet.is_empty())
            .map(|feet| feet.concat())
    }

    /// Tag that an interface sends with. The addresses of a host that bridges have none: its bridge's
    /// interfaces tag.
    pub fn tag(&self, foot: Foot) -> Option<VlanId> {
        match foot {
            Foot::Router(router, at) => self.site.routers[router].interfaces[at].vlan,
            Foot::Host(host, at) => match self.site.hosts[host].forwards.value {
                Forwards::Bridges => None,
                _ => self.site.hosts[host].interfaces[at].vlan,
            },
        }
    }

    /// The segment that the file puts an interface on.
    pub fn segment(&self, foot: Foot) -> SegmentId {
        match foot {
            Foot::Router(router, at) => self.site.routers[router].interfaces[at].segment,
            Foot::Host(host, at) => self.site.hosts[host].interfaces[at].segment,
        }
    }

    /// An interface takes frames with its tag and without any other; a priority tag says nothing.
    pub fn takes(&self, foot: Foot, tags: &[u16]) -> bool {
        let inner = match (self.tag(foot), tags) {
            (None, tags) => tags,
            (Some(tag), [outer, inner @ ..]) if *outer == tag.get() => inner,
            _ => return false,
        };
        matches!(inner, [] | [0])
    }

    /// Copies of a frame that came in at a place: where they leave, with which tags.
    pub fn passes(&self, spot: Spot, tags: &[u16]) -> Vec<(Spot, Tags)> {
        let mut copies = match spot {
            Spot::Port(number, _) | Spot::Lag(number, _) => self.switched(number, spot, tags),
            Spot::Interface(host, at) => match (self.site.hosts[host].interfaces[at].vlan, tags) {
                (None, tags) => self.bridged(host, spot, tags),
                (Some(tag), [outer, rest @ ..]) if *outer == tag.get() => {
                    self.bridged(host, spot, rest)
                }
                (Some(_), _) => Vec::new(),
            },
            Spot::Inside(host) => self.bridged(host, spot, tags),
            Spot::Wire(cable, end) => vec![(Spot::Wire(cable, 1 - end), tags.to_vec())],
        };
        copies.retain(|(_, tags)| tags.len() <= MOST_TAGS);
        copies
    }

    /// What a host that bridges puts out: by every interface but the one of arrival, and to itself.
    fn bridged(&self, host: usize, from: Spot, tags: &[u16]) -> Vec<(Spot, Tags)> {
        let interfaces = self.site.hosts[host].interfaces.iter().enumerate();
        let mut copies: Vec<(Spot, Tags)> = interfaces
            .map(|(at, interface)| {
                let tag = interface.vlan.map(VlanId::get);
                let tags = tag.into_iter().chain(tags.iter().copied()).collect();
                (Spot::Interface(host, at), tags)
            })
            .collect();
        copies.push((Spot::Inside(host), tags.to_vec()));
        copies.retain(|(spot, _)| *spot != from);
        copies
    }

    fn switched(&self, number: usize, from: Spot, tags: &[u16]) -> Vec<(Spot, Tags)> {
        let switch = &self.site.switches[number];
        let others = self
            .spots_of(number)
            .into_iter()
            .filter(|&to| to != from && !(isolated(switch, from) && isolated(switch, to)));
        if !switch.vlan_aware {
            return others.map(|to| (to, tags.to_vec())).collect();
        }
        let Some((vlan, inner)) = ingress(settings(switch, from), tags) else {
            return Vec::new();
        };
        let egress = |to| {
            let port = settings(switch, to);
            let keeps = port.tagged.contains(vlan).then(|| vlan.get());
            let member = keeps.is_some() || port.untagged.contains(vlan);
            member.then(|| (to, keeps.into_iter().chain(inner.iter().copied()).collect()))
        };
        others.filter_map(egress).collect()
    }
}

/// The VLAN that a frame takes at a port of a switch, and the tags below that of the VLAN.
pub fn ingress<'t>(port: &PortVlans, tags: &'t [u16]) -> Option<(VlanId, &'t [u16])> {
    let outer = tags.first().copied().and_then(VlanId::new);
    let accepted = match port.accept {
        FrameTypes::All => true,
        FrameTypes::Tagged => outer.is_some(),
        FrameTypes::Untagged => outer.is_none(),
    };
    let vlan = outer.or(port.pvid).filter(|_| accepted)?;
    let member = port.tagged.contains(vlan) || port.untagged.contains(vlan);
    (member || !port.ingress_filter).then(|| (vlan, tags.get(1..).unwrap_or_default()))
}

/// VLANs of a place of a switch; the member of a LAG that does not form has those of the LAG.
pub fn settings(switch: &Switch, spot: Spot) -> &PortVlans {
    match spot {
        Spot::Lag(_, lag) => &switch.lags[lag].vlans,
        Spot::Port(_, port) => match frame_cables::lag_of(switch, port) {
            Some(lag) => &lag.vlans,
            None => switch.ports[port].vlans.as_ref().expect("it has its own"),
        },
        _ => unreachable!("no place of a switch"),
    }
}

fn isolated(switch: &Switch, spot: Spot) -> bool {
    match spot {
        Spot::Lag(_, lag) => switch.lags[lag].isolated,
        Spot::Port(_, port) => match frame_cables::lag_of(switch, port) {
            Some(lag) => lag.isolated,
            None => switch.ports[port].isolated,
        },
        _ => unreachable!("no place of a switch"),
    }
}
