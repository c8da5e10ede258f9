//! Which port is plugged into what, as checks need it.
//!
//! A LAG counts as one socket, whether its cables are described one by one or as a bundle.

use std::ops::Range;

use rustc_hash::FxHashMap;

use crate::diagnostic::Span;
use crate::forwarding::layer2::frame::{admit_tagged, admit_untagged};
use crate::model::{HostId, Lag, LinkEnd, PortVlans, RouterId, Site, Switch, SwitchId, VlanId};

/// A port of a switch that is in no LAG, or a LAG.
pub(super) struct Socket<'s> {
    pub(super) switch: SwitchId,
    /// Whether the switch knows VLANs.
    pub(super) aware: bool,
    /// Name of the port or LAG.
    name: &'s str,
    /// Where its settings are described.
    pub(super) place: Span,
    pub(super) vlans: &'s PortVlans,
    /// Whether anything may be plugged in.
    pub(super) live: bool,
    /// The LAG that it is.
    pub(super) lag: Option<&'s Lag>,
    description: &'s str,
    /// What is plugged in; several things where the cables of a LAG part ways or interfaces of a host share a
    /// cable.
    pub(super) far: Vec<Far<'s>>,
}

/// What a cable leads to.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Far<'s> {
    /// A socket, by number.
    Socket(usize),
    /// A port or LAG of a gateway or router.
    Router(RouterId, &'s str),
    /// An interface of a host.
    Host(HostId, usize),
}

impl<'s> Socket<'s> {
    /// Whether it is a port that somebody has described as open on purpose.
    pub(super) fn described(&self) -> bool {
        !self.description.is_empty()
    }

    /// Whether it is in the member set of a VLAN.
    pub(super) fn carries(&self, vlan: VlanId) -> bool {
        self.vlans.carries(vlan)
    }

    /// Its member set, ascending.
    pub(super) fn members(&self) -> Vec<VlanId> {
        self.vlans.members().iter().collect()
    }

    /// Whether it is a live port of a switch that knows VLANs.
    pub(super) fn counts(&self) -> bool {
        self.live && self.aware
    }

    /// VLAN of untagged frames; `None` where they are dropped (IEEE 802.1Q, acceptable frame types, PVID and
    /// ingress filtering).
    pub(super) fn untagged_into(&self) -> Option<VlanId> {
        admit_untagged(self.vlans).ok().map(|(vlan, _)| vlan)
    }

    /// Whether a frame with the tag of a VLAN gets in.
    pub(super) fn admits_tag(&self, vlan: VlanId) -> bool {
        admit_tagged(self.vlans, vlan).is_ok()
    }

    /// The sockets that it leads to.
    pub(super) fn peers(&self) -> impl Iterator<Item = usize> + '_ {
        self.far.iter().filter_map(|far| match *far {
            Far::Socket(peer) => Some(peer),
            Far::Router(..) | Far::Host(..) => None,
        })
    }

    /// Whether devices sit here or may be plugged in: nothing but hosts, or nothing.
    pub(super) fn is_seat(&self) -> bool {
        self.far.iter().all(|far| matches!(far, Far::Host(..)))
    }
}

/// All sockets of a site.
pub(super) struct Wiring<'s> {
    site: &'s Site,
    pub(super) sockets: Vec<Socket<'s>>,
    /// Socket of each port, of LAGs and of their members.
    numbers: FxHashMap<(SwitchId, &'s str), usize>,
    /// Numbers of the sockets of each switch.
    by_switch: Vec<Range<usize>>,
}

impl<'s> Wiring<'s> {
    /// O(ports + cables).
    pub(super) fn new(site: &'s Site) -> Self {
        let mut wiring = Self {
            site,
            sockets: Vec::new(),
            numbers: FxHashMap::default(),
            by_switch: Vec::new(),
        };
        for number in 0..site.switches.len() {
            let first = wiring.sockets.len();
            wiring.add_switch(SwitchId(number));
            wiring.by_switch.push(first..wiring.sockets.len());
        }
        for link in &site.links {
            let [one, other] = &link.ends;
            wiring.join(&one.value, &other.value);
            wiring.join(&other.value, &one.value);
        }
        wiring
    }

    fn add_switch(&mut self, id: SwitchId) {
        let switch = &self.site.switches[id.0];
        for lag in &switch.lags {
            self.add_lag(id, switch, lag);
        }
        for port in &switch.ports {
            let Some(vlans) = &port.vlans else {
                continue;
            };
            self.numbers
                .insert((id, &port.name.value), self.sockets.len());
            self.sockets.push(Socket {
                switch: id,
                aware: switch.vlan_aware,
                name: &port.name.value,
                place: port.name.span,
                vlans,
                live: port.enabled,
                lag: None,
                description: &port.description,
                far: Vec::new(),
            });
        }
    }

    fn add_lag(&mut self, id: SwitchId, switch: &'s Switch, lag: &'s Lag) {
        let number = self.sockets.len();
        let mut members = switch.ports.iter();
        let live = members.any(|port| port.enabled && lag.ports.contains(&port.name));
        self.sockets.push(Socket {
            switch: id,
            aware: switch.vlan_aware,
            name: &lag.name.value,
            place: lag.place,
            vlans: &lag.vlans,
            live,
            lag: Some(lag),
            description: "",
            far: Vec::new(),
        });
        self.numbers.insert((id, &lag.name.value), number);
        let members = lag.ports.iter();
        self.numbers
            .extend(members.map(|port| ((id, port.value.as_str()), number)));
    }

    fn join(&mut self, end: &'s LinkEnd, other: &'s LinkEnd) {
        let Some(number) = self.socket_at(end) else {
            return;
        };
        let Some(far) = self.far(other) else {
            return;
        };
        if !self.sockets[number].far.contains(&far) {
            self.sockets[number].far.push(far);
        }
    }

    fn far(&self, end: &'s LinkEnd) -> Option<Far<'s>> {
        match end {
            LinkEnd::Switch(..) => self.socket_at(end).map(Far::Socket),
            LinkEnd::Router(id, port) => {
                let router = self.site.router(*id);
                let lag = router.lag_of(port);
                let lag = lag.map(|lag| router.lags[lag].name.value.as_str());
                Some(Far::Router(*id, lag.unwrap_or(port)))
            }
            LinkEnd::Host(id, name) => {
                let mut names = self.site.host(*id).interfaces.iter();
                let at = names.position(|interface| interface.name.value == *name)?;
                Some(Far::Host(*id, at))
            }
        }
    }

    /// The socket at an end of a cable; `None` where it leads to no switch.
    pub(super) fn socket_at(&self, end: &LinkEnd) -> Option<usize> {
        match end {
            LinkEnd::Switch(id, name) => self.numbers.get(&(*id, name.as_str())).copied(),
            LinkEnd::Router(..) | LinkEnd::Host(..) => None,
        }
    }

    /// `SWITCH:PORT`.
    pub(super) fn name(&self, socket: usize) -> String {
        let socket = &self.sockets[socket];
        let switch = &self.site.switches[socket.switch.0];
        format!("{}:{}", switch.name.value, socket.name)
    }

    /// Live sockets of switches that know VLANs, with their numbers.
    pub(super) fn live(&self) -> impl Iterator<Item = (usize, &Socket<'s>)> {
        let numbered = self.sockets.iter().enumerate();
        numbered.filter(|(_, socket)| socket.counts())
    }

    /// Cables between two live sockets of switches that know VLANs, each once from either end.
    pub(super) fn trunks(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.live().flat_map(move |(number, socket)| {
            let peers = socket.peers();
            let counted = peers.filter(move |&peer| self.sockets[peer].counts());
            counted.map(move |peer| (number, peer))
        })
    }

    /// Other live sockets of the same switch.
    pub(super) fn neighbours(&self, socket: usize) -> impl Iterator<Item = usize> + '_ {
        let own = self.by_switch[self.sockets[socket].switch.0].clone();
        own.filter(move |&other| other != socket && self.sockets[other].live)
    }

    /// The VLAN that a frame of a VLAN is in behind the cable from one socket to another; `None` where it does
    /// not get there.
    pub(super) fn cross(&self, from: usize, to: usize, vlan: VlanId) -> Option<VlanId> {
        let (from, to) = (&self.sockets[from], &self.sockets[to]);
        if !from.live || !to.live {
            return None;
        }
        if from.aware && !from.carries(vlan) {
            return None;
        }
        match (to.aware, from.aware && from.vlans.untagged.contains(vlan)) {
            (false, _) => Some(vlan),
            (true, true) => to.untagged_into(),
            (true, false) => to.admits_tag(vlan).then_some(vlan),
        }
    }

    /// Live sockets, with the VLAN, by which frames that came in by a socket and took a VLAN there may leave:
    /// over all cables between switches, and without the socket itself.
    ///
    /// O(switches x ports) for each VLAN that the frame passes through.
    pub(super) fn behind(&self, socket: usize, vlan: VlanId) -> Vec<(usize, VlanId)> {
        let mut entered = vec![(socket, vlan)];
        let mut left = Vec::new();
        let mut at = 0;
        while let Some(&(here, vlan)) = entered.get(at) {
            at += 1;
            for out in self.neighbours(here) {
                let aware = self.sockets[out].aware;
                if out == socket || (aware && !self.sockets[out].carries(vlan)) {
                    continue;
                }
                if left.contains(&(out, vlan)) {
                    continue;
                }
                left.push((out, vlan));
                for peer in self.sockets[out].peers() {
                    if let Some(vlan) = self.cross(out, peer, vlan)
                        && !entered.contains(&(peer, vlan))
                    {
                        entered.push((peer, vlan));
                    }
                }
            }
        }
        left
    }
}
