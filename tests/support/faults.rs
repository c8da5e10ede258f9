//! Good sites made faulty, and what each fault may mean.

use std::net::IpAddr;

use boundwalk::diagnostic::Spanned;
use boundwalk::model::{Family, Forwards, InterfaceAddress, Prefix, Route, SegmentId, Site, Via};
use ipnet::IpNet;

use crate::random::Random;
use crate::simulator::Simulator;

/// What is wrong.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Fault {
    /// Two devices have one address by mistake.
    Twice,
    /// Two devices share one address on purpose.
    Cluster,
    /// A segment names a default gateway that nobody is.
    SegmentGateway,
    /// A host does.
    HostGateway,
    /// Prefixes of two segments overlap.
    Overlap,
    /// Two routes to one destination, none better.
    EqualRoutes,
    /// Two routes to one destination, the second a backup.
    Backup,
}

impl Fault {
    pub const ALL: [Self; 7] = [
        Self::Twice,
        Self::Cluster,
        Self::SegmentGateway,
        Self::HostGateway,
        Self::Overlap,
        Self::EqualRoutes,
        Self::Backup,
    ];
}

/// One thing that a fault may mean: a site, and a device that does not answer for an address.
pub struct Reading {
    pub site: Site,
    mute: Option<(usize, IpAddr)>,
    /// Whether what must pass must pass here too: not while a backup route is used.
    pub usual: bool,
    /// An address of a gateway or router that it does not have here: nobody else need have it.
    pub absent: Option<IpAddr>,
}

impl Reading {
    fn of(site: &Site) -> Self {
        Self {
            site: site.clone(),
            mute: None,
            usual: true,
            absent: None,
        }
    }

    pub fn simulator(&self, today: boundwalk::model::Date) -> Simulator<'_> {
        let simulator = Simulator::new(&self.site, today);
        match self.mute {
            Some((device, address)) => simulator.muted(device, address),
            None => simulator,
        }
    }
}

/// An interface: the device, gateways and routers first, and its number there.
type At = (usize, usize);

/// Puts a fault into a site, and says what it may mean; `None` where the site has no place for it.
pub fn broken(random: &mut Random, good: &Site, fault: Fault) -> Option<(Site, Vec<Reading>)> {
    let mut site = good.clone();
    match fault {
        Fault::Twice | Fault::Cluster => {
            twice(random, &mut site, fault == Fault::Cluster).map(|readings| (site, readings))
        }
        Fault::SegmentGateway => segment_gateway(random, site),
        Fault::HostGateway => host_gateway(random, site),
        Fault::Overlap => overlap(random, site),
        Fault::EqualRoutes | Fault::Backup => two_routes(random, site, fault == Fault::Backup),
    }
}

fn interfaces(site: &Site) -> Vec<At> {
    let routers = site.routers.iter().map(|router| router.interfaces.len());
    let hosts = site.hosts.iter().map(|host| host.interfaces.len());
    routers
        .chain(hosts)
        .enumerate()
        .flat_map(|(device, count)| (0..count).map(move |at| (device, at)))
        .collect()
}

fn segment(site: &Site, (device, at): At) -> SegmentId {
    match device.checked_sub(site.routers.len()) {
        Some(host) => site.hosts[host].interfaces[at].segment,
        None => site.routers[device].interfaces[at].segment,
    }
}

fn addresses(site: &Site, (device, at): At) -> &Vec<Spanned<InterfaceAddress>> {
    match device.checked_sub(site.routers.len()) {
        Some(host) => &site.hosts[host].interfaces[at].addresses,
        None => &site.routers[device].interfaces[at].addresses,
    }
}

fn addresses_mut(site: &mut Site, (device, at): At) -> &mut Vec<Spanned<InterfaceAddress>> {
    match device.checked_sub(site.routers.len()) {
        Some(host) => &mut site.hosts[host].interfaces[at].addresses,
        None => &mut site.routers[device].interfaces[at].addresses,
    }
}

fn share(site: &mut Site, (device, at): At, address: IpAddr) {
    match device.checked_sub(site.routers.len()) {
        Some(host) => site.hosts[host].interfaces[at].shared.push(address),
        None => site.routers[device].interfaces[at].shared.push(address),
    }
}

/// Whether an address is valid beyond its link.
fn goes_far(address: IpAddr) -> bool {
    !Family::of(address)
        .never_forwarded()
        .contains(Family::value(address))
}

/// One device gets an address of another beside it instead of its own.
fn twice(random: &mut Random, site: &mut Site, shared: bool) -> Option<Vec<Reading>> {
    let all = interfaces(site);
    let mut pairs = Vec::new();
    for &one in &all {
        for &other in &all {
            let there = segment(site, one);
            if one.0 == other.0 || there != segment(site, other) {
                continue;
            }
            for (number, own) in addresses(site, other).iter().enumerate() {
                let wanted = addresses(site, one).iter();
                let wanted = wanted.filter(|wanted| {
                    wanted.value.family() == own.value.family() && goes_far(wanted.value.address())
                });
                pairs.extend(wanted.map(|wanted| (one, other, number, *wanted)));
            }
        }
    }
    let &(one, other, number, address) = (!pairs.is_empty()).then(|| random.pick(&pairs))?;
    addresses_mut(site, other)[number] = address;
    let value = address.value.address();
    if shared {
        share(site, one, value);
        share(site, other, value);
    }
    let without = |device: usize| Reading {
        mute: Some((device, value)),
        ..Reading::of(site)
    };
    Some(vec![without(one.0), without(other.0)])
}

/// An address in a prefix that nobody has, neither a device of the site nor its default gateway.
fn free(site: &Site, net: IpNet) -> Option<IpAddr> {
    let mut hosts = net.hosts().take(64);
    hosts.find(|&address| {
        let has = |at: At| {
            let mut own = addresses(site, at).iter();
            own.any(|own| own.value.address() == address)
        };
        !interfaces(site).into_iter().any(has)
    })
}

fn segment_gateway(random: &mut Random, mut site: Site) -> Option<(Site, Vec<Reading>)> {
    let mut places = Vec::new();
    for id in site.segment_ids().filter(|&id| !site.segment(id).external) {
        let free =
            site.segment(id).prefixes.iter().filter_map(|prefix| {
                Some(Spanned::new(free(&site, prefix.value.net())?, prefix.span))
            });
        places.extend(free.map(|address| (id, address)));
    }
    let &(id, address) = (!places.is_empty()).then(|| random.pick(&places))?;
    let family = Family::of(address.value);
    let gateways = &mut site.segments[id.0].default_gateway;
    gateways.retain(|one| Family::of(one.value) != family);
    let any = Reading::of(&site);
    site.segments[id.0].default_gateway.push(address);
    Some((site.clone(), vec![any, Reading::of(&site)]))
}

fn host_gateway(random: &mut Random, mut site: Site) -> Option<(Site, Vec<Reading>)> {
    let mut places = Vec::new();
    for (number, host) in site.hosts.iter().enumerate() {
        for address in host.interfaces.iter().flat_map(|at| &at.addresses) {
            if goes_far(address.value.address())
                && let Some(free) = free(&site, address.value.prefix().net())
            {
                places.push((number, Spanned::new(free, address.span)));
            }
        }
    }
    let &(number, address) = (!places.is_empty()).then(|| random.pick(&places))?;
    let family = Family::of(address.value);
    let gateways = &mut site.hosts[number].default_gateway;
    gateways.retain(|one| Family::of(one.value) != family);
    let any = Reading::of(&site);
    site.hosts[number].default_gateway.push(address);
    Some((site.clone(), vec![any, Reading::of(&site)]))
}

/// A segment gets a prefix that is another's, or a half of it, and perhaps a router has an address in it there.
fn overlap(random: &mut Random, good: Site) -> Option<(Site, Vec<Reading>)> {
    let inside: Vec<SegmentId> = good
        .segment_ids()
        .filter(|&id| !good.segment(id).external)
        .collect();
    let [one, other] = random.some(&inside, 2)[..] else {
        return None;
    };
    let prefixes = &good.segment(one).prefixes;
    if prefixes.is_empty() {
        return None;
    }
    let prefix = *random.pick(prefixes);
    let net = prefix.value.net();
    let half = random.percent(60) && net.prefix_len() < net.max_prefix_len() - 1;
    let net = if half {
        let upper = random.percent(50);
        let mut halves = net.subnets(net.prefix_len() + 1).ok()?;
        if upper {
            halves.nth(1)?
        } else {
            halves.next()?
        }
    } else {
        net
    };
    let mut site = good.clone();
    let wrong = Spanned::new(Prefix::truncated(net), prefix.span);
    site.segments[other.0].prefixes.push(wrong);
    let there: Vec<At> = interfaces(&site)
        .into_iter()
        .filter(|&at| segment(&site, at) == other)
        .collect();
    let mut absent = None;
    if random.percent(70)
        && !there.is_empty()
        && let Some(address) = free(&site, net)
    {
        absent = Some(address);
        let address = IpNet::new(address, net.prefix_len()).ok()?;
        let at = *random.pick(&there);
        let address = Spanned::new(InterfaceAddress(address), prefix.span);
        addresses_mut(&mut site, at).push(address);
    }
    let without = Reading {
        absent,
        ..Reading::of(&good)
    };
    Some((site.clone(), vec![Reading::of(&site), without]))
}

/// The routes of a device.
fn routes_mut(site: &mut Site, device: usize) -> &mut Vec<Route> {
    match device.checked_sub(site.routers.len()) {
        Some(host) => &mut site.hosts[host].routes,
        None => &mut site.routers[device].routes,
    }
}

/// A second route of a device to one of its destinations, by any device that forwards beside it.
fn two_routes(random: &mut Random, good: Site, backup: bool) -> Option<(Site, Vec<Reading>)> {
    let devices = good.routers.len() + good.hosts.len();
    let mut site = good;
    let mut places: Vec<(usize, usize, Route)> = Vec::new();
    for device in 0..devices {
        let routes = routes_mut(&mut site, device).clone();
        for (number, route) in routes.into_iter().enumerate() {
            let hops = beside(&site, device, route.destination.family());
            let hops = hops.into_iter().filter(|hop| *hop != route.via);
            places.extend(hops.map(|via| {
                let preference = if backup { 10 } else { route.preference };
                let second = Route {
                    via,
                    preference,
                    ..route.clone()
                };
                (device, number, second)
            }));
        }
    }
    let (device, number, second) = (!places.is_empty()).then(|| random.pick(&places))?.clone();
    let first = Reading::of(&site);
    let mut other = Reading {
        usual: !backup,
        ..Reading::of(&site)
    };
    routes_mut(&mut other.site, device)[number] = second.clone();
    routes_mut(&mut site, device).push(second);
    Some((site, vec![first, other]))
}

/// Next hops of a family that a device can name.
fn beside(site: &Site, device: usize, family: Family) -> Vec<Via> {
    let own: Vec<At> = interfaces(site)
        .into_iter()
        .filter(|at| at.0 == device)
        .collect();
    let forwards = |at: &At| match at.0.checked_sub(site.routers.len()) {
        Some(host) => site.hosts[host].forwards.value == Forwards::Routes,
        None => true,
    };
    let mut hops = Vec::new();
    for at in interfaces(site).into_iter().filter(forwards) {
        for address in addresses(site, at).iter().filter(|_| at.0 != device) {
            let address = address.value.address();
            let near = |own: &&At| {
                let mut subnets = addresses(site, **own).iter();
                segment(site, **own) == segment(site, at)
                    && subnets.any(|own| own.value.prefix().contains(address))
            };
            if Family::of(address) == family
                && goes_far(address)
                && let Some(&(_, interface)) = own.iter().find(near)
            {
                hops.push(Via::NextHop { address, interface });
            }
        }
    }
    hops
}
