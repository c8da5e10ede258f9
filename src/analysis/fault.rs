//! Single faults of a configuration: what may go wrong, or be changed by mistake.

use boundwalk_diagnostic::Span;
use boundwalk_model::{Action, Forwards, HostId, LinkEnd, Role, RouterId, Site, VlanId};

use super::deciders::rule_span;
use super::setting::{PortKey, end_name, vlan_name};

/// One thing that may go wrong, or be changed by mistake.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Fault {
    /// A host with several interfaces begins to route or to bridge.
    Forwards(HostId, Forwarding),
    /// The end of a cable, by number of link and end, is moved to another port.
    Moved(usize, usize, PortKey),
    /// A port gets another PVID.
    Pvid(PortKey, VlanId),
    /// A port gets one VLAN more, untagged or tagged.
    Joins(PortKey, VlanId, Form),
    /// Ingress filtering is turned off at a port.
    FilterOff(PortKey),
    /// The action of a rule (by number; `None`: the default) of a gateway is flipped.
    Flipped(RouterId, Option<usize>),
}

/// What a host begins to do.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Forwarding {
    /// Routes packets.
    Routes,
    /// Bridges frames.
    Bridges,
}

/// How a port is a member of a VLAN.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Form {
    /// In the untagged set.
    Untagged,
    /// Tagged.
    Tagged,
}

impl Fault {
    /// What happens, as a clause: `the host jump starts to route`.
    pub fn clause(self, site: &Site) -> String {
        match self {
            Self::Forwards(host, what) => {
                let verb = match what {
                    Forwarding::Routes => "route",
                    Forwarding::Bridges => "bridge",
                };
                format!("{} starts to {verb}", site.host(host).name.value)
            }
            Self::Moved(link, end, to) => {
                let far = &site.links[link].ends[1 - end].value;
                format!(
                    "the cable of {} is moved from {} to {}",
                    end_name(site, far),
                    end_name(site, &site.links[link].ends[end].value),
                    to.name(site)
                )
            }
            Self::Pvid(port, vlan) => {
                format!(
                    "{} gets the PVID of {}",
                    port.name(site),
                    vlan_name(site, vlan)
                )
            }
            Self::Joins(port, vlan, form) => {
                let form = match form {
                    Form::Untagged => "untagged",
                    Form::Tagged => "tagged",
                };
                format!(
                    "{} carries {} {form} as well",
                    port.name(site),
                    vlan_name(site, vlan)
                )
            }
            Self::FilterOff(port) => format!("{} stops filtering on arrival", port.name(site)),
            Self::Flipped(router, rule) => {
                let router = site.router(router);
                let rules = router.filter().map_or(&[][..], |filter| &filter.rules);
                match rule.and_then(|rule| rules.get(rule)) {
                    Some(rule) => format!("the rule \"{}\" permits", rule.name.value),
                    None => format!("the default of {} permits", router.name.value),
                }
            }
        }
    }

    /// Where the setting stands.
    pub fn place(self, site: &Site) -> Span {
        match self {
            Self::Forwards(host, _) => site.host(host).forwards.span,
            Self::Moved(link, ..) => site.links[link].place,
            Self::Pvid(port, _) | Self::Joins(port, ..) | Self::FilterOff(port) => port.place(site),
            Self::Flipped(router, rule) => rule_span(site, router, rule).unwrap_or_default(),
        }
    }

    /// Makes it happen.
    pub fn apply(self, site: &mut Site) {
        match self {
            Self::Forwards(host, Forwarding::Routes) => {
                site.hosts[host.0].forwards.value = Forwards::Routes;
            }
            Self::Forwards(host, Forwarding::Bridges) => {
                site.hosts[host.0].forwards.value = Forwards::Bridges;
            }
            Self::Moved(link, end, to) => site.links[link].ends[end].value = link_end(site, to),
            Self::Pvid(port, vlan) => {
                if let Some(vlans) = port.vlans_mut(site) {
                    vlans.pvid = Some(vlan);
                }
            }
            Self::Joins(port, vlan, form) => {
                if let Some(vlans) = port.vlans_mut(site) {
                    match form {
                        Form::Untagged => vlans.untagged.insert(vlan),
                        Form::Tagged => vlans.tagged.insert(vlan),
                    };
                }
            }
            Self::FilterOff(port) => {
                if let Some(vlans) = port.vlans_mut(site) {
                    vlans.ingress_filter = false;
                }
            }
            Self::Flipped(router, rule) => flip(site, router, rule),
        }
    }
}

fn link_end(site: &Site, port: PortKey) -> LinkEnd {
    match port {
        PortKey::Port(switch, port) => {
            let name = &site.switches[switch.0].ports[port].name;
            LinkEnd::Switch(switch, name.value.clone())
        }
        PortKey::Lag(switch, lag) => {
            let name = &site.switches[switch.0].lags[lag].name;
            LinkEnd::Switch(switch, name.value.clone())
        }
    }
}

fn flip(site: &mut Site, router: RouterId, rule: Option<usize>) {
    let Role::Gateway(filter) = &mut site.routers[router.0].role else {
        return;
    };
    match rule.and_then(|rule| filter.rules.get_mut(rule)) {
        Some(rule) => rule.action.value = Action::Permit,
        None => filter.default.value = Action::Permit,
    }
}

/// Whether two faults set the same thing twice.
pub(super) fn excludes(one: Fault, other: Fault) -> bool {
    match (one, other) {
        (Fault::Forwards(one, _), Fault::Forwards(other, _)) => one == other,
        (Fault::Pvid(one, _), Fault::Pvid(other, _)) => one == other,
        (Fault::Moved(one, _, to), Fault::Moved(other, _, there)) => one == other || to == there,
        (Fault::Joins(one, vlan, _), Fault::Joins(other, other_vlan, _)) => {
            one == other && vlan == other_vlan
        }
        _ => false,
    }
}
