//! What is plugged into what, as it is described: cables by the ports and LAGs that they end at.
//!
//! Where frames go is no question for these: that is what [`Cabling::fabric`] is for.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::Spanned;
use boundwalk_forwarding::layer2::Fabric;
use boundwalk_model::{HostId, Lacp, LinkEnd, RouterId, Site, Speed, SwitchId};

/// A device that a cable ends at.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Equipment {
    /// A gateway or router.
    Router(RouterId),
    /// A switch.
    Switch(SwitchId),
    /// A host.
    Host(HostId),
}

impl Equipment {
    /// Its name.
    pub fn name(self, site: &Site) -> &str {
        match self {
            Equipment::Router(id) => &site.router(id).name.value,
            Equipment::Switch(id) => &site.switches[id.0].name.value,
            Equipment::Host(id) => &site.host(id).name.value,
        }
    }
}

/// A port, a LAG or a host's interface of a device, by name.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct CableEnd<'s> {
    /// Whose.
    pub device: Equipment,
    /// Its name on that device.
    pub port: &'s str,
}

impl<'s> CableEnd<'s> {
    /// The end of a cable as the site has it.
    pub fn of(end: &'s LinkEnd) -> Self {
        let (device, port) = match end {
            LinkEnd::Switch(id, port) => (Equipment::Switch(*id), port),
            LinkEnd::Router(id, port) => (Equipment::Router(*id), port),
            LinkEnd::Host(id, port) => (Equipment::Host(*id), port),
        };
        Self { device, port }
    }

    /// `device:port`.
    pub fn name(self, site: &Site) -> String {
        format!("{}:{}", self.device.name(site), self.port)
    }
}

/// A LAG of a switch, gateway or router: what both kinds have in common.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Bundle<'s> {
    /// Its member ports.
    pub ports: &'s [Spanned<String>],
    /// How it negotiates.
    pub lacp: Lacp,
    /// Speed of each member; `None` where nothing tells.
    pub speed: Option<Speed>,
}

/// One cable, or the bundle of a LAG where the file describes it as one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Cable<'s> {
    /// Where it is plugged in, as described: a member port by its own name.
    pub ends: [CableEnd<'s>; 2],
    /// What is written on it.
    pub label: Option<&'s str>,
}

/// The cables of a site, found by their ends.
#[derive(Clone, Debug)]
pub struct Cabling<'s> {
    site: &'s Site,
    /// The same switches, ports and cables as frames meet them.
    pub fabric: &'s Fabric,
    /// In the order of the file.
    pub cables: Vec<Cable<'s>>,
    /// Cable and side by end.
    at: FxHashMap<CableEnd<'s>, Vec<(usize, usize)>>,
    /// LAG by member port.
    lag_of: FxHashMap<CableEnd<'s>, &'s str>,
    lags: FxHashMap<CableEnd<'s>, Bundle<'s>>,
}

impl<'s> Cabling<'s> {
    /// Reads the cables of a site. O(ports + cables).
    pub fn new(site: &'s Site, fabric: &'s Fabric) -> Self {
        let mut cabling = Self {
            site,
            fabric,
            cables: site.links.iter().map(cable).collect(),
            at: FxHashMap::default(),
            lag_of: FxHashMap::default(),
            lags: FxHashMap::default(),
        };
        for (number, cable) in cabling.cables.iter().enumerate() {
            for (side, &end) in cable.ends.iter().enumerate() {
                cabling.at.entry(end).or_default().push((number, side));
            }
        }
        cabling.add_lags();
        cabling
    }

    fn add_lags(&mut self) {
        for (number, switch) in self.site.switches.iter().enumerate() {
            let device = Equipment::Switch(SwitchId(number));
            let own: FxHashMap<&str, Option<Speed>> = switch
                .ports
                .iter()
                .map(|port| (port.name.value.as_str(), port.speed))
                .collect();
            for lag in &switch.lags {
                let mut speeds = lag.ports.iter();
                let member = |port: &Spanned<String>| own.get(port.value.as_str()).copied()?;
                let bundle = Bundle {
                    ports: &lag.ports,
                    lacp: lag.lacp,
                    speed: lag.speed.or_else(|| speeds.find_map(member)),
                };
                self.add_lag(device, &lag.name.value, bundle);
            }
        }
        for (number, router) in self.site.routers.iter().enumerate() {
            let device = Equipment::Router(RouterId(number));
            for lag in &router.lags {
                let bundle = Bundle {
                    ports: &lag.ports,
                    lacp: lag.lacp,
                    speed: lag.speed,
                };
                self.add_lag(device, &lag.name.value, bundle);
            }
        }
    }

    fn add_lag(&mut self, device: Equipment, name: &'s str, bundle: Bundle<'s>) {
        for port in bundle.ports {
            let port = port.value.as_str();
            self.lag_of.insert(CableEnd { device, port }, name);
        }
        self.lags.insert(CableEnd { device, port: name }, bundle);
    }

    /// The LAG that an end is.
    pub fn lag(&self, end: CableEnd<'s>) -> Option<Bundle<'s>> {
        self.lags.get(&end).copied()
    }

    /// The LAG that a port is a member of, else the end itself.
    pub fn whole(&self, end: CableEnd<'s>) -> CableEnd<'s> {
        let lag = self.lag_of.get(&end).copied();
        CableEnd {
            port: lag.unwrap_or(end.port),
            ..end
        }
    }

    /// Cables plugged into exactly this end, seen from it: cable number and far end.
    pub fn plugged(&self, end: CableEnd<'s>) -> impl Iterator<Item = (usize, CableEnd<'s>)> + '_ {
        self.at
            .get(&end)
            .into_iter()
            .flatten()
            .map(|&(number, side)| (number, self.cables[number].ends[1 - side]))
    }

    /// Cables plugged into this end or, where it is a LAG, into a member of it.
    pub fn of_whole(&self, end: CableEnd<'s>) -> Vec<(usize, CableEnd<'s>)> {
        let mut found: Vec<(usize, CableEnd<'s>)> = self.plugged(end).collect();
        for port in self.lag(end).map_or(&[][..], |lag| lag.ports) {
            let port = port.value.as_str();
            found.extend(self.plugged(CableEnd { port, ..end }));
        }
        found
    }
}

fn cable(link: &boundwalk_model::Link) -> Cable<'_> {
    Cable {
        ends: [&link.ends[0], &link.ends[1]].map(|end| CableEnd::of(&end.value)),
        label: link.label.as_deref(),
    }
}

/// Positions of names in the order in which they stand on a front: names that differ only in their last number
/// by that number, wherever the file first has such a name.
pub fn front_order(names: &[&str]) -> Vec<usize> {
    let mut first: FxHashMap<(&str, &str), usize> = FxHashMap::default();
    let mut keys = Vec::with_capacity(names.len());
    for (at, name) in names.iter().enumerate() {
        let (before, number, behind) = last_number(name);
        let group = *first.entry((before, behind)).or_insert(at);
        keys.push((group, number, at));
    }
    keys.sort_unstable();
    keys.into_iter().map(|(_, _, at)| at).collect()
}

/// A name cut before and behind its last number. Numbers too large to count with all count alike.
fn last_number(name: &str) -> (&str, u64, &str) {
    let digit = |c: char| c.is_ascii_digit();
    let Some(last) = name.rfind(digit) else {
        return (name, 0, "");
    };
    let start = name[..last].rfind(|c: char| !digit(c));
    let start = start.map_or(0, |at| {
        at + name[at..].chars().next().map_or(1, char::len_utf8)
    });
    let number = name[start..=last].parse().unwrap_or(u64::MAX);
    (&name[..start], number, &name[last + 1..])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(names: &[&str]) -> Vec<String> {
        let order = front_order(names);
        order.into_iter().map(|at| names[at].to_owned()).collect()
    }

    #[test]
    fn ports_stand_in_the_order_of_their_numbers() {
        let names = ["3", "4", "10", "1", "2"];
        assert_eq!(sorted(&names), ["1", "2", "3", "4", "10"]);
        let names = ["p1/0/10", "p1/0/9", "q1/1/2", "q1/1/1"];
        let front = ["p1/0/9", "p1/0/10", "q1/1/1", "q1/1/2"];
        assert_eq!(sorted(&names), front);
    }

    #[test]
    fn other_names_stand_as_the_file_has_them() {
        let names = ["lan", "guests", "größe", "99999999999999999999999", "ä1ä"];
        assert_eq!(sorted(&names), names);
    }
}
