//! What one device does with one packet: routes, rules, translations.

use std::net::IpAddr;

use boundwalk::model::{
    Action, Filter, Forwards, Host, Role, Router, Rule, RuleParty, SegmentId, Site, SourceCheck,
    Translation, TranslationTarget, Via,
};
use ipnet::IpNet;

use super::matching::{holds, is_active, serves};
use super::{Probe, Simulator, never_forwarded, same_family};

/// What decided at a device with rules.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Decision {
    Rule(usize),
    Default,
}

/// Where a packet is going when the rules see it.
#[derive(Clone, Copy)]
pub enum Target {
    /// Out of an interface.
    Port(usize),
    /// To the device itself.
    Itself,
}

/// An interface.
pub struct Port {
    /// The segment that the file says it is on: what rules call it.
    pub segment: SegmentId,
    /// The segment whose wire it is on.
    pub wire: SegmentId,
    pub addresses: Vec<IpNet>,
    pub check: SourceCheck,
}

/// A gateway, a router or a host.
pub struct Device<'s> {
    pub ports: Vec<Port>,
    pub is_host: bool,
    /// Whether it passes on what is not for itself.
    pub forwards: bool,
    routes: Vec<(IpNet, Exit)>,
    filter: Option<&'s Filter>,
}

/// How a packet leaves a device.
#[derive(Clone, Copy)]
pub enum Exit {
    OnLink(usize),
    NextHop(IpAddr, usize),
    /// By what the plain devices on the segment of this interface use.
    AsNeighbours(usize),
    Discard,
}

impl Exit {
    /// The interface it leaves by; `None` where it is discarded.
    pub fn port(self) -> Option<usize> {
        match self {
            Exit::OnLink(port) | Exit::NextHop(_, port) | Exit::AsNeighbours(port) => Some(port),
            Exit::Discard => None,
        }
    }
}

/// Gateways and routers in the order of the site, then hosts.
pub fn of(site: &Site) -> Vec<Device<'_>> {
    site.routers
        .iter()
        .map(of_router)
        .chain(site.hosts.iter().map(of_host))
        .collect()
}

fn of_router(router: &Router) -> Device<'_> {
    let ports = router.interfaces.iter().map(|interface| Port {
        segment: interface.segment,
        wire: interface.segment,
        addresses: interface
            .addresses
            .iter()
            .map(|address| address.value.0)
            .collect(),
        check: interface.source_check,
    });
    let filter = match &router.role {
        Role::Gateway(filter) => Some(filter.as_ref()),
        Role::Router => None,
    };
    let routes = router
        .routes
        .iter()
        .map(|route| (route.destination.net(), exit_of(&route.via)));
    Device {
        ports: ports.collect(),
        is_host: false,
        forwards: true,
        routes: routes.collect(),
        filter,
    }
}

fn of_host(host: &Host) -> Device<'_> {
    let ports: Vec<Port> = host
        .interfaces
        .iter()
        .map(|interface| Port {
            segment: interface.segment,
            wire: interface.segment,
            addresses: interface
                .addresses
                .iter()
                .map(|address| address.value.0)
                .collect(),
            check: SourceCheck::Off,
        })
        .collect();
    let stated = host
        .routes
        .iter()
        .map(|route| (route.destination.net(), exit_of(&route.via)));
    let mut routes: Vec<(IpNet, Exit)> = stated.collect();
    for everything in ["0.0.0.0/0", "::/0"] {
        let everything: IpNet = everything.parse().expect("a prefix");
        // A default route of its own stands for both (a host may say it either way).
        if routes
            .iter()
            .all(|&(destination, _)| destination != everything)
        {
            let exits = default_exits(host, &ports, everything.addr());
            routes.extend(exits.into_iter().map(|exit| (everything, exit)));
        }
    }
    let forwards = host.forwards.value == Forwards::Routes;
    Device {
        ports,
        is_host: true,
        forwards,
        routes,
        filter: None,
    }
}

/// A host sends by its own default gateway, the first that it names of the family; else by what the segment of its first
/// interface with an address of the family uses.
fn default_exits(host: &Host, ports: &[Port], example: IpAddr) -> Vec<Exit> {
    let stated: Vec<IpAddr> = host
        .default_gateway
        .iter()
        .map(|address| address.value)
        .filter(|&gateway| same_family(gateway, example))
        .collect();
    if stated.is_empty() {
        let has = |port: &Port| {
            let mut addresses = port.addresses.iter();
            addresses.any(|net| same_family(net.addr(), example))
        };
        let first = ports.iter().position(has);
        return first.map(Exit::AsNeighbours).into_iter().collect();
    }
    let exits = stated.into_iter().filter_map(|gateway| {
        let near = |port: &Port| port.addresses.iter().any(|net| net.contains(&gateway));
        let port = ports.iter().position(near)?;
        Some(Exit::NextHop(gateway, port))
    });
    // The others stand by for when the first is gone (common practice, no source).
    exits.take(1).collect()
}

fn exit_of(via: &Via) -> Exit {
    match *via {
        Via::NextHop { address, interface } => Exit::NextHop(address, interface),
        Via::Discard => Exit::Discard,
    }
}

impl Port {
    pub fn has(&self, address: IpAddr) -> bool {
        self.addresses.iter().any(|net| net.addr() == address)
    }

    /// The address that a translation to this interface takes for packets that leave to a target: of those that are
    /// valid beyond the link, the one whose subnet holds the target, else the first of the family.
    fn address_toward(&self, target: IpAddr) -> Option<IpAddr> {
        let own = self.addresses.iter();
        let mut fitting =
            own.filter(|net| same_family(net.addr(), target) && !never_forwarded(net.addr()));
        let first = fitting.clone().next();
        let near = fitting.find(|net| net.contains(&target));
        near.or(first).map(|net| net.addr())
    }
}

impl Device<'_> {
    /// The interface that has an address.
    pub fn port_of(&self, address: IpAddr) -> Option<usize> {
        self.ports.iter().position(|port| port.has(address))
    }

    /// Whether an address is one of the device's own, on whichever interface.
    pub fn owns(&self, address: IpAddr) -> bool {
        self.port_of(address).is_some()
    }

    /// The longest match among what is on-link and the static routes; on-link first where they tie, else the
    /// first of them.
    pub fn exits(&self, address: IpAddr) -> Vec<Exit> {
        let on_link = self.ports.iter().enumerate().flat_map(|(index, port)| {
            port.addresses
                .iter()
                .map(move |net| (net.trunc(), Exit::OnLink(index)))
        });
        let matching: Vec<(IpNet, Exit)> = on_link
            .chain(self.routes.iter().copied())
            .filter(|(net, _)| net.contains(&address))
            .collect();
        let longest = matching.iter().map(|(net, _)| net.prefix_len()).max();
        let mut best = matching
            .into_iter()
            .filter(|(net, _)| Some(net.prefix_len()) == longest)
            .map(|(_, exit)| exit);
        let Some(first) = best.next() else {
            return Vec::new();
        };
        vec![first]
    }

    /// The line that decides and what it does; `None` where there are no rules.
    pub fn decides(
        &self,
        simulator: &Simulator<'_>,
        entry: usize,
        target: Target,
        probe: Probe,
    ) -> Option<(Decision, Action)> {
        let filter = self.filter?;
        for (index, rule) in filter.rules.iter().enumerate() {
            if is_active(rule, simulator.today)
                && self.matches(rule, simulator.site, entry, target, probe)
            {
                return Some((Decision::Rule(index), rule.action.value));
            }
        }
        Some((Decision::Default, filter.default.value))
    }

    /// `None`: the rules stop the packet. Else what let it pass.
    pub fn permits(
        &self,
        simulator: &Simulator<'_>,
        entry: usize,
        target: Target,
        probe: Probe,
    ) -> Option<Option<Decision>> {
        match self.decides(simulator, entry, target, probe) {
            Some((decision, Action::Permit)) => Some(Some(decision)),
            Some((_, Action::Deny | Action::Reject)) => None,
            None => Some(None),
        }
    }

    /// Whether it keeps state; a device without rules keeps none.
    pub fn is_stateful(&self) -> bool {
        self.filter.is_some_and(|filter| filter.stateful)
    }

    fn matches(
        &self,
        rule: &Rule,
        site: &Site,
        entry: usize,
        target: Target,
        probe: Probe,
    ) -> bool {
        let leaves = rule.to.as_ref().is_none_or(|to| match target {
            Target::Itself => to.contains(&RuleParty::Gateway),
            Target::Port(port) => self.on_one_of(to, site, port),
        });
        let arrives = rule
            .from
            .as_ref()
            .is_none_or(|from| self.on_one_of(from, site, entry));
        let addresses =
            holds(&rule.source, probe.source) && holds(&rule.destination, probe.destination);
        leaves && arrives && addresses && serves(&rule.services, probe)
    }

    /// Whether an interface is on a segment or in a zone of a list.
    fn on_one_of(&self, parties: &[RuleParty], site: &Site, port: usize) -> bool {
        let segment = self.ports[port].segment;
        parties.iter().any(|party| match *party {
            RuleParty::Zone(zone) => site.segment(segment).zone == zone,
            RuleParty::Segment(wanted) => wanted == segment,
            RuleParty::Gateway => false,
        })
    }

    /// The packet as the first matching line of the destination translations leaves it, and the line where
    /// that is another packet.
    pub fn translate_destination(
        &self,
        site: &Site,
        entry: usize,
        probe: Probe,
    ) -> (Probe, Option<usize>) {
        let lines = self
            .filter
            .map_or(&[][..], |filter| &filter.destination_translations);
        let mut numbered = lines.iter().enumerate();
        let Some((number, line)) =
            numbered.find(|(_, line)| self.translates(line, site, entry, probe))
        else {
            return (probe, None);
        };
        let written = match line.target {
            TranslationTarget::Address(address) => Probe {
                destination: address,
                destination_port: line.port.unwrap_or(probe.destination_port),
                ..probe
            },
            TranslationTarget::Interface | TranslationTarget::Unchanged => probe,
        };
        (written, (written != probe).then_some(number))
    }

    /// The same for source translations; `None` where the line wants the address of an interface that has
    /// none of the family. What is sent to a next hop has that one as its target, what is on-link its destination.
    pub fn translate_source(
        &self,
        site: &Site,
        exit: Exit,
        probe: Probe,
    ) -> Option<(Probe, Option<usize>)> {
        let leaves = exit.port()?;
        let lines = self
            .filter
            .map_or(&[][..], |filter| &filter.source_translations);
        let mut numbered = lines.iter().enumerate();
        let Some((number, line)) =
            numbered.find(|(_, line)| self.translates(line, site, leaves, probe))
        else {
            return Some((probe, None));
        };
        let source = match line.target {
            TranslationTarget::Address(address) => address,
            TranslationTarget::Unchanged => probe.source,
            TranslationTarget::Interface => {
                let target = match exit {
                    Exit::NextHop(hop, _) => hop,
                    _ => probe.destination,
                };
                self.ports[leaves].address_toward(target)?
            }
        };
        let line = (source != probe.source).then_some(number);
        Some((Probe { source, ..probe }, line))
    }

    fn translates(&self, line: &Translation, site: &Site, port: usize, probe: Probe) -> bool {
        let family = match line.target {
            TranslationTarget::Address(address) => same_family(address, probe.destination),
            TranslationTarget::Interface | TranslationTarget::Unchanged => true,
        };
        let parties = line.parties.as_ref();
        let place = parties.is_none_or(|parties| self.on_one_of(parties, site, port));
        let addresses =
            holds(&line.source, probe.source) && holds(&line.destination, probe.destination);
        line.enabled && family && place && addresses && serves(&line.services, probe)
    }
}
