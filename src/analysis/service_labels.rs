//! Sets of services and addresses in the words of the site.

use boundwalk_forwarding::{Network, Plan};
use boundwalk_model::{Family, Protocol, Service, Site, show_interval};
use boundwalk_packet::{ClassSet, Interval, IntervalSet, ServiceBox};

use super::port_names::{PortNames, Ports};

/// Finds names for what the analysis found. Built once for a site and a family.
#[derive(Debug)]
pub struct ServiceLabels<'n> {
    network: &'n Network<'n>,
    plan: &'n Plan,
    family: Family,
    services: PortNames,
    addresses: Vec<(String, IntervalSet)>,
}

impl<'n> ServiceLabels<'n> {
    /// Prepares the names of a site.
    pub fn new(network: &'n Network<'n>, family: Family) -> Self {
        let plan = network.plan(family);
        Self {
            network,
            plan,
            family,
            services: PortNames::new(service_names(network.site, family)),
            addresses: address_names(network.site, plan, family),
        }
    }

    /// Services in as few words as possible: `nothing`, `everything`, names of the site and of IANA, and
    /// `tcp/8000-8010` where there is no name.
    pub fn services(&self, set: &ClassSet) -> String {
        if set.is_empty() {
            return "nothing".to_owned();
        }
        if *set == self.network.classes.all() {
            return "everything".to_owned();
        }
        let missing = self.network.classes.all().difference(set);
        let held = self.list(set);
        if held.len() > 4 {
            let except = self.list(&missing);
            if except.len() * 2 < held.len() {
                return format!("everything but {}", except.join(", "));
            }
        }
        held.join(", ")
    }

    /// The same as a list of items.
    pub fn list(&self, set: &ClassSet) -> Vec<String> {
        let mut items = Vec::new();
        let mut left: Ports = Vec::new();
        let full = IntervalSet::range(0, 65_535);
        for shape in self.network.classes.boxes(set) {
            if shape.source_ports != full {
                items.extend(show_with_sources(&shape));
            } else if shape.protocols.size() > num_bigint::BigUint::from(16u8) {
                items.push(show_many(&shape));
            } else {
                spread(&shape, &mut left);
            }
        }
        // Wide names come first, so that a group stands for its parts.
        let named = self.services.take(&mut left);
        let rest = left.iter().filter(|(_, ports)| !ports.is_empty());
        named
            .into_iter()
            .chain(rest.flat_map(|(protocol, ports)| show_ports(Protocol(*protocol), ports)))
            .chain(items)
            .collect()
    }

    /// Addresses in as few words as possible: the segment's name where all of its are held, hosts and groups
    /// by name, else prefixes and ranges.
    pub fn addresses(&self, set: &IntervalSet) -> String {
        if set.is_empty() {
            return "nothing".to_owned();
        }
        let world = self
            .family
            .full()
            .difference(&self.family.never_forwarded());
        if world.is_subset(set) {
            return "any".to_owned();
        }
        let items = self.items(set);
        let mut around = self.segments();
        let most_of = around.find_map(|(name, addresses)| {
            let missing = addresses.difference(set);
            if missing.is_empty() || !set.is_subset(addresses) {
                return None;
            }
            let missing = self.items(&missing);
            let shorter = missing.len() < items.len();
            shorter.then(|| format!("{name} but not {}", shorten(missing)))
        });
        most_of.unwrap_or_else(|| shorten(items))
    }

    /// The same for senders who may use any address: what is missing is named where that is shorter.
    pub fn senders(&self, set: &IntervalSet) -> String {
        let world = self
            .family
            .full()
            .difference(&self.family.never_forwarded());
        let missing = self.items(&world.difference(set));
        if missing.is_empty() {
            return "any".to_owned();
        }
        if missing.len() < self.items(set).len() {
            format!("any but {}", shorten(missing))
        } else {
            self.addresses(set)
        }
    }

    /// Names for parts of a set, then prefixes and ranges for what has none.
    fn items(&self, set: &IntervalSet) -> Vec<String> {
        let mut left = set.clone();
        let mut items = Vec::new();
        for (name, addresses) in &self.addresses {
            if addresses.is_subset(&left) {
                left = left.difference(addresses);
                items.push(name.clone());
            }
        }
        let rest = left.intervals().iter();
        items.extend(rest.map(|&part| show_interval(self.family, part)));
        items
    }

    /// Segments of the site with their addresses; the world beyond is none: nobody thinks of it as a list.
    fn segments(&self) -> impl Iterator<Item = (&str, &IntervalSet)> {
        self.network
            .site
            .segments
            .iter()
            .zip(&self.plan.segments)
            .filter(|(segment, _)| !segment.external)
            .map(|(segment, plan)| (segment.name.value.as_str(), &plan.addresses))
    }

    /// Named services of which some packet is of one of these classes. O(names and boxes of the set).
    pub fn carried(&self, set: &ClassSet) -> Vec<&str> {
        let shapes = self.network.classes.boxes(set);
        let passes = |(protocol, wanted): &(u8, IntervalSet)| {
            let mut meeting = shapes
                .iter()
                .filter(|shape| shape.protocols.contains(u128::from(*protocol)));
            meeting.any(|shape| shape.destination_ports.overlaps(wanted))
        };
        self.services
            .iter()
            .filter(|(_, ports)| ports.iter().any(passes))
            .map(|(name, _)| name)
            .collect()
    }

    /// The plan that the names are of.
    pub fn plan(&self) -> &Plan {
        self.plan
    }
}

/// A long list is cut: nobody reads two hundred ranges on one line.
fn shorten(mut items: Vec<String>) -> String {
    const SHOWN: usize = 12;
    if items.len() > SHOWN {
        let more = items.len() - SHOWN;
        items.truncate(SHOWN);
        items.push(format!("and {more} more"));
    }
    items.join(", ")
}

fn service_names(site: &Site, family: Family) -> Vec<(String, Ports)> {
    let mut names: Vec<(String, Ports)> = Vec::new();
    for group in &site.service_names {
        let mut ports = Ports::new();
        let simple = group.services.iter().all(|service| {
            let Some(shape) = service.packets(family) else {
                return true;
            };
            let full = IntervalSet::range(0, 65_535);
            let simple = shape.source_ports == full && !matches!(service, Service::Any);
            spread(&shape, &mut ports);
            simple
        });
        if simple && !ports.is_empty() {
            names.push((group.name.value.clone(), ports));
        }
    }
    // Own groups come first in the site's list; of those and of the others, the larger first.
    let own = site.services.len().min(names.len());
    let weight = |(_, ports): &(String, Ports)| {
        let sizes = ports.iter().flat_map(|(_, set)| set.intervals());
        std::cmp::Reverse(sizes.map(|part| part.high() - part.low() + 1).sum::<u128>())
    };
    names[..own].sort_by_key(weight);
    names[own..].sort_by_key(weight);
    names
}

fn address_names(site: &Site, plan: &Plan, family: Family) -> Vec<(String, IntervalSet)> {
    let mut names = Vec::new();
    for (segment, here) in site.segments.iter().zip(&plan.segments) {
        names.push((segment.name.value.clone(), here.addresses.clone()));
    }
    for group in &site.addresses {
        names.push((group.name.value.clone(), group.set.of(family).clone()));
    }
    for host in &site.hosts {
        let points = host
            .interfaces
            .iter()
            .flat_map(|interface| &interface.addresses)
            .filter(|address| address.value.family() == family)
            .map(|address| Interval::point(Family::value(address.value.address())));
        names.push((host.name.value.clone(), points.collect()));
    }
    for router in &site.routers {
        names.push((
            format!("{} itself", router.name.value),
            router.own_addresses().of(family).clone(),
        ));
    }
    names.retain(|(_, set): &(String, IntervalSet)| !set.is_empty());
    names
}

/// Adds the ports of each protocol of a box.
fn spread(shape: &ServiceBox, into: &mut Ports) {
    let protocols = shape.protocols.intervals().iter();
    for protocol in protocols.flat_map(|part| part.low()..=part.high()) {
        let protocol = protocol as u8;
        match into.iter_mut().find(|(known, _)| *known == protocol) {
            Some((_, ports)) => *ports = ports.union(&shape.destination_ports),
            None => into.push((protocol, shape.destination_ports.clone())),
        }
    }
}

/// One protocol with its ports, or its messages one by one, in the spelling of the site file.
fn show_ports(protocol: Protocol, ports: &IntervalSet) -> Vec<String> {
    let full = IntervalSet::range(0, 65_535);
    let name = match Protocol::names().find(|name| Protocol::named(name) == Some(protocol)) {
        Some(name) => name.to_owned(),
        None => format!("protocol/{}", protocol.0),
    };
    if *ports == full {
        return vec![name];
    }
    if protocol.has_messages() {
        return ports
            .intervals()
            .iter()
            .flat_map(|&part| messages(&name, part))
            .collect();
    }
    vec![format!("{name}/{}", numbers(ports))]
}

/// Messages `type * 256 + code` as `icmp/3`, `icmp/3/4` or `icmp/0-7`.
fn messages(name: &str, part: Interval) -> Vec<String> {
    let whole = |value: u128| value.is_multiple_of(256);
    if whole(part.low()) && whole(part.high() + 1) {
        let (first, last) = (part.low() / 256, part.high() / 256);
        return if first == last {
            vec![format!("{name}/{first}")]
        } else {
            vec![format!("{name}/{first}-{last}")]
        };
    }
    let code = |value: u128| format!("{name}/{}/{}", value / 256, value % 256);
    if part.low() == part.high() {
        vec![code(part.low())]
    } else {
        vec![format!("{} to {}", code(part.low()), code(part.high()))]
    }
}

fn numbers(set: &IntervalSet) -> String {
    let shown = set.intervals().iter().map(|part| {
        if part.low() == part.high() {
            part.low().to_string()
        } else {
            format!("{}-{}", part.low(), part.high())
        }
    });
    shown.collect::<Vec<_>>().join(",")
}

fn show_with_sources(shape: &ServiceBox) -> Vec<String> {
    let mut ports = Ports::new();
    let whole = ServiceBox {
        source_ports: IntervalSet::range(0, 65_535),
        ..shape.clone()
    };
    spread(&whole, &mut ports);
    let from = numbers(&shape.source_ports);
    ports
        .iter()
        .flat_map(|(protocol, ports)| show_ports(Protocol(*protocol), ports))
        .map(|item| format!("{item} from {from}"))
        .collect()
}

/// Many protocols at once, as left over by rules that name a few.
fn show_many(shape: &ServiceBox) -> String {
    let protocols = format!("protocols {}", numbers(&shape.protocols));
    if shape.destination_ports == IntervalSet::range(0, 65_535) {
        protocols
    } else {
        format!("{protocols} ports {}", numbers(&shape.destination_ports))
    }
}
