//! What one device does with one frame: interfaces, switches, hosts that bridge.

use boundwalk::model::{Forwards, FrameTypes, PortVlans, SegmentId, Switch, VlanId};

use super::frame_cables;
use super::{Frames, Spot, Tags, WiredInterface};

/// A frame with more is dropped: two from the sender and one from a host that bridges are followed.
const MOST_TAGS: usize = 3;

impl Frames<'_> {
    /// Tag that an interface sends with. The addresses of a host that bridges have none: its bridge's
    /// interfaces tag. Where no cable is described, the tag is nobody's business.
    pub fn tag(&self, interface: WiredInterface) -> Option<VlanId> {
        match interface {
            WiredInterface::Router(router, at) => {
                let tag = self.site.routers[router].interfaces[at].vlan;
                tag.filter(|_| self.is_cabled(interface))
            }
            WiredInterface::Host(host, at) => match self.site.hosts[host].forwards.value {
                Forwards::Bridges => None,
                _ => self.host_tag(host, at),
            },
        }
    }

    /// Tag that an interface of a host puts on, also one of a bridge.
    pub fn host_tag(&self, host: usize, at: usize) -> Option<VlanId> {
        let tag = self.site.hosts[host].interfaces[at].vlan;
        tag.filter(|_| self.is_cabled(WiredInterface::Host(host, at)))
    }

    /// The segment that the file puts an interface on.
    pub fn segment(&self, interface: WiredInterface) -> SegmentId {
        match interface {
            WiredInterface::Router(router, at) => self.site.routers[router].interfaces[at].segment,
            WiredInterface::Host(host, at) => self.site.hosts[host].interfaces[at].segment,
        }
    }

    /// An interface takes frames with its tag and without any other; a priority tag says nothing.
    pub fn takes(&self, interface: WiredInterface, tags: &[u16]) -> bool {
        let inner = match (self.tag(interface), tags) {
            (None, tags) => tags,
            (Some(tag), [outer, inner @ ..]) if *outer == tag.get() => inner,
            _ => return false,
        };
        matches!(inner, [] | [0])
    }

    /// Copies of a frame that came in at a place: where they leave, with which tags.
    pub fn passes(&self, spot: Spot, tags: &[u16]) -> Vec<(Spot, Tags)> {
        let mut copies = match spot {
            Spot::Port(number, _) | Spot::Lag(number, _) | Spot::Assumed(number, _) => {
                self.switched(number, spot, tags)
            }
            Spot::Interface(host, at) => match (self.host_tag(host, at), tags) {
                (None, tags) => self.bridged(host, spot, tags),
                (Some(tag), [outer, rest @ ..]) if *outer == tag.get() => {
                    self.bridged(host, spot, rest)
                }
                (Some(_), _) => Vec::new(),
            },
            Spot::Inside(host) => self.bridged(host, spot, tags),
            Spot::Neighbours(cable, end) => vec![(Spot::Neighbours(cable, 1 - end), tags.to_vec())],
            Spot::Tap(segment, _) => self.taps[&segment]
                .iter()
                .filter(|&&other| other != spot)
                .map(|&other| (other, tags.to_vec()))
                .collect(),
        };
        copies.retain(|(_, tags)| tags.len() <= MOST_TAGS);
        copies
    }

    /// What a host that bridges puts out: by every interface but the one of arrival, and to itself.
    fn bridged(&self, host: usize, from: Spot, tags: &[u16]) -> Vec<(Spot, Tags)> {
        let mut copies: Vec<(Spot, Tags)> = (0..self.site.hosts[host].interfaces.len())
            .map(|at| {
                let tags = self
                    .host_tag(host, at)
                    .map(VlanId::get)
                    .into_iter()
                    .chain(tags.iter().copied())
                    .collect();
                (Spot::Interface(host, at), tags)
            })
            .collect();
        copies.push((Spot::Inside(host), tags.to_vec()));
        copies.retain(|(spot, _)| *spot != from);
        copies
    }

    fn switched(&self, number: usize, from: Spot, tags: &[u16]) -> Vec<(Spot, Tags)> {
        let switch = &self.site.switches[number];
        let others = self.live[number].iter().copied();
        let others =
            others.filter(|&to| to != from && !(isolated(switch, from) && isolated(switch, to)));
        if !switch.vlan_aware {
            return others.map(|to| (to, tags.to_vec())).collect();
        }
        let Some((vlan, inner)) = ingress(self.settings(from), tags) else {
            return Vec::new();
        };
        let egress = |to| {
            let port = self.settings(to);
            let keeps = port.tagged.contains(vlan).then(|| vlan.get());
            let member = keeps.is_some() || port.untagged.contains(vlan);
            member.then(|| (to, keeps.into_iter().chain(inner.iter().copied()).collect()))
        };
        others.filter_map(egress).collect()
    }

    /// VLANs of a place of a switch; the member of a LAG that does not form has those of the LAG.
    pub fn settings(&self, spot: Spot) -> &PortVlans {
        match spot {
            Spot::Assumed(..) => &self.assumed[&spot],
            Spot::Lag(switch, lag) => &self.site.switches[switch].lags[lag].vlans,
            Spot::Port(switch, port) => {
                let switch = &self.site.switches[switch];
                match frame_cables::lag_of(switch, port) {
                    Some(lag) => &lag.vlans,
                    None => switch.ports[port].vlans.as_ref().expect("it has its own"),
                }
            }
            _ => unreachable!("no place of a switch"),
        }
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

fn isolated(switch: &Switch, spot: Spot) -> bool {
    match spot {
        Spot::Lag(_, lag) => switch.lags[lag].isolated,
        Spot::Port(_, port) => match frame_cables::lag_of(switch, port) {
            Some(lag) => lag.isolated,
            None => switch.ports[port].isolated,
        },
        Spot::Assumed(..) => false,
        _ => unreachable!("no place of a switch"),
    }
}
