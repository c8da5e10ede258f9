//! Which cables there are: LAGs that form are one, all others each their own.

use boundwalk::diagnostic::Spanned;
use boundwalk::model::{Lacp, Lag, LinkEnd, Site, Switch};

/// A device, by number within its kind.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Device {
    Switch(usize),
    Router(usize),
    Host(usize),
}

/// One end of a cable: a port or interface by name, or a LAG that forms.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Plug {
    pub device: Device,
    pub name: String,
    /// Whether the port is disabled, or the cable pulled out.
    pub dead: bool,
}

/// A cable, or all cables of a LAG that forms.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Cable {
    pub ends: [Plug; 2],
    /// The line of the site that describes it.
    pub link: usize,
}

/// A LAG: its device and name, how it negotiates, its ports.
struct Bundle<'s> {
    device: Device,
    name: &'s str,
    lacp: Lacp,
    ports: Vec<&'s str>,
}

/// Name of a port or LAG of a device.
type Name<'s> = (Device, &'s str);

pub fn cables(site: &Site) -> Vec<Cable> {
    let bundles = bundles(site);
    let links: Vec<[Name<'_>; 2]> = site
        .links
        .iter()
        .map(|link| [&link.ends[0], &link.ends[1]].map(name))
        .collect();
    let mut cables: Vec<Cable> = Vec::new();
    for (number, &[one, other]) in links.iter().enumerate() {
        let whole =
            [one, other].map(|end| bundles.iter().find(|lag| (lag.device, lag.name) == end));
        let found: Vec<[Plug; 2]> = match whole {
            [Some(one), Some(other)] => both_whole(site, one, other),
            [Some(lag), None] => vec![[plug(site, lag.device, lag.ports[0]), plug_of(site, other)]],
            [None, Some(lag)] => vec![[plug_of(site, one), plug(site, lag.device, lag.ports[0])]],
            [None, None] => match partners(site, &bundles, &links, one, other) {
                Some(pair) => first_of_bundle(&links, number, pair),
                None => vec![[plug_of(site, one), plug_of(site, other)]],
            },
        };
        cables.extend(found.into_iter().map(|mut ends| {
            let pulled = site.links[number].pulled;
            ends.iter_mut().for_each(|end| end.dead |= pulled);
            Cable { ends, link: number }
        }));
    }
    cables
}

/// Whether a port of a switch is part of a LAG that forms. A member without a cable is not: it is a place to
/// plug in like any other.
pub fn bundled(site: &Site, cables: &[Cable], switch: usize, port: &str) -> bool {
    let here = &site.switches[switch];
    let mut lags = here.lags.iter();
    let lag = lags.find(|lag| lag.ports.iter().any(|member| member.value == port));
    lag.is_some_and(|lag| {
        let whole = (Device::Switch(switch), lag.name.value.as_str());
        let mut names = cables
            .iter()
            .flat_map(|cable| &cable.ends)
            .map(|end| (end.device, end.name.as_str()));
        names.any(|name| name == whole) && has_cable(site, whole, lag, port)
    })
}

/// Whether a member port of a LAG has a cable. Of a bundle there are as many as the shorter LAG has ports.
fn has_cable(site: &Site, whole: Name<'_>, lag: &Lag, port: &str) -> bool {
    let bundles = bundles(site);
    let at = lag.ports.iter().position(|member| member.value == port);
    site.links.iter().any(|link| {
        let ends = [&link.ends[0], &link.ends[1]].map(name);
        let other = match ends {
            [one, other] if one == whole => other,
            [one, other] if other == whole => one,
            ends => return ends.contains(&(whole.0, port)),
        };
        let far = bundles.iter().find(|far| (far.device, far.name) == other);
        at < far.map(|far| far.ports.len())
    })
}

/// The LAG that a port of a switch is a member of.
pub fn lag_of(switch: &Switch, port: usize) -> Option<&Lag> {
    let name = &switch.ports[port].name.value;
    let mut lags = switch.lags.iter();
    lags.find(|lag| lag.ports.iter().any(|member| member.value == *name))
}

fn bundles(site: &Site) -> Vec<Bundle<'_>> {
    fn names(ports: &[Spanned<String>]) -> Vec<&str> {
        ports.iter().map(|port| port.value.as_str()).collect()
    }
    let mut bundles = Vec::new();
    for (number, switch) in site.switches.iter().enumerate() {
        bundles.extend(switch.lags.iter().map(|lag| Bundle {
            device: Device::Switch(number),
            name: &lag.name.value,
            lacp: lag.lacp,
            ports: names(&lag.ports),
        }));
    }
    for (number, router) in site.routers.iter().enumerate() {
        bundles.extend(router.lags.iter().map(|lag| Bundle {
            device: Device::Router(number),
            name: &lag.name.value,
            lacp: lag.lacp,
            ports: names(&lag.ports),
        }));
    }
    bundles
}

fn name(end: &Spanned<LinkEnd>) -> Name<'_> {
    match &end.value {
        LinkEnd::Switch(switch, name) => (Device::Switch(switch.0), name),
        LinkEnd::Router(router, name) => (Device::Router(router.0), name),
        LinkEnd::Host(host, name) => (Device::Host(host.0), name),
    }
}

/// IEEE 802.1AXdz-2025, module ieee802-dot1ax-types: a passive end waits for an active one. LACP needs LACP at the
/// other end.
fn agree(one: Lacp, other: Lacp) -> bool {
    let speaks = |lacp| lacp != Lacp::Static;
    let active = [one, other].contains(&Lacp::Active);
    speaks(one) == speaks(other) && (active || !speaks(one))
}

fn plug_of(site: &Site, (device, name): Name<'_>) -> Plug {
    plug(site, device, name)
}

fn plug(site: &Site, device: Device, name: &str) -> Plug {
    let dead = match device {
        Device::Switch(number) => !live(&site.switches[number], name),
        _ => false,
    };
    let name = name.to_owned();
    Plug { device, name, dead }
}

/// Whether a port is not disabled, or any port of a LAG.
fn live(switch: &Switch, name: &str) -> bool {
    let mut lags = switch.lags.iter();
    let ports = match lags.find(|lag| lag.name.value == name) {
        Some(lag) => lag.ports.iter().map(|port| port.value.as_str()).collect(),
        None => vec![name],
    };
    let mut known = switch.ports.iter();
    known.any(|port| port.enabled && ports.contains(&port.name.value.as_str()))
}

/// Two LAGs with a link between them: one cable if they form, else the first port to the first and so on.
fn both_whole(site: &Site, one: &Bundle<'_>, other: &Bundle<'_>) -> Vec<[Plug; 2]> {
    if agree(one.lacp, other.lacp) {
        let [one, other] = [one, other].map(|lag| plug(site, lag.device, lag.name));
        return vec![[one, other]];
    }
    let pairs = one.ports.iter().zip(&other.ports);
    let ends =
        |(near, far): (&&str, &&str)| [plug(site, one.device, near), plug(site, other.device, far)];
    pairs.map(ends).collect()
}

/// The LAGs that two ports are in, where these form one: all cables of either lead to the other,
/// and one of them carries.
fn partners<'b, 's>(
    site: &Site,
    bundles: &'b [Bundle<'s>],
    links: &[[Name<'s>; 2]],
    one: Name<'s>,
    other: Name<'s>,
) -> Option<[&'b Bundle<'s>; 2]> {
    let holds = |lag: &Bundle<'s>, end: Name<'s>| lag.device == end.0 && lag.ports.contains(&end.1);
    let near = bundles.iter().find(|lag| holds(lag, one))?;
    let far = bundles.iter().find(|lag| holds(lag, other))?;
    let apart = (near.device, near.name) != (far.device, far.name);
    let mut alive = false;
    for &[one, other] in links {
        match [
            holds(near, one),
            holds(near, other),
            holds(far, one),
            holds(far, other),
        ] {
            [false, false, false, false] => {}
            [true, false, false, true] | [false, true, true, false] => {
                alive |= !plug_of(site, one).dead && !plug_of(site, other).dead;
            }
            _ => return None,
        }
    }
    (apart && alive && agree(near.lacp, far.lacp)).then_some([near, far])
}

/// A LAG that forms, at the first of its cables.
fn first_of_bundle(
    links: &[[Name<'_>; 2]],
    number: usize,
    pair: [&Bundle<'_>; 2],
) -> Vec<[Plug; 2]> {
    let ours = |&end: &Name<'_>| {
        let mut lags = pair.iter();
        lags.any(|lag| lag.device == end.0 && lag.ports.contains(&end.1))
    };
    if links[..number].iter().flatten().any(ours) {
        return Vec::new();
    }
    vec![pair.map(|lag| Plug {
        device: lag.device,
        name: lag.name.to_owned(),
        dead: false,
    })]
}
