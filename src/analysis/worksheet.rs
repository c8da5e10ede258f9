//! The worksheet of a switch: what each port is to be set to, and what is plugged in.

use rustc_hash::FxHashMap;

use boundwalk_model::{
    FrameTypes, Interface, Lacp, Lag, Port, PortVlans, Site, Speed, Switch, SwitchId, VlanId,
    VlanSet,
};

use super::cabling::{CableEnd, Cabling, Equipment, front_order};
use super::vlan_names::segment_name_at;

/// How a port treats VLANs, in one word.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Mode {
    /// One untagged VLAN and no tagged one.
    Access,
    /// Tagged VLANs only.
    Tagged,
    /// Untagged and tagged VLANs, or several untagged ones.
    Mixed,
    /// No VLAN.
    NoVlan,
    /// Disabled.
    Off,
    /// As the LAG that it is a member of.
    Member,
    /// The switch knows no VLANs.
    Unaware,
}

impl Mode {
    /// The mode of a live port by its VLANs.
    pub fn of(vlans: &PortVlans) -> Self {
        let mut untagged = vlans.untagged.iter();
        let (one, more) = (untagged.next().is_some(), untagged.next().is_some());
        match (one, more, vlans.tagged.is_empty()) {
            (false, _, true) => Mode::NoVlan,
            (false, _, false) => Mode::Tagged,
            (true, false, true) => Mode::Access,
            (true, ..) => Mode::Mixed,
        }
    }

    /// `access`, `tagged`, `mixed`, `none`, `off`, `member` or `-`.
    pub fn word(self) -> &'static str {
        match self {
            Mode::Access => "access",
            Mode::Tagged => "tagged",
            Mode::Mixed => "mixed",
            Mode::NoVlan => "none",
            Mode::Off => "off",
            Mode::Member => "member",
            Mode::Unaware => "-",
        }
    }
}

/// What is plugged into a port.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Attached<'s> {
    /// The far end of the cable.
    pub end: CableEnd<'s>,
    /// Interfaces on that end, where it is a gateway's or router's.
    pub interfaces: Vec<&'s str>,
    /// What is written on the cable.
    pub label: Option<&'s str>,
}

/// What a LAG has beyond a port.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct LagFacts<'s> {
    /// Names of its member ports.
    pub members: Vec<&'s str>,
    /// How it negotiates.
    pub lacp: Lacp,
}

/// A line: a port, a LAG, or a member port below its LAG.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PortLine<'s> {
    /// Name of the port or LAG.
    pub name: &'s str,
    /// What is plugged in. Of a LAG all that its cables lead to; of a member only what a cable of its own does.
    pub attached: Vec<Attached<'s>>,
    /// How it treats VLANs.
    pub mode: Mode,
    /// Its VLANs; `None` for a member and on a switch that knows no VLANs.
    pub vlans: Option<&'s PortVlans>,
    /// Whether it reaches only ports that are not isolated.
    pub isolated: bool,
    /// Where it is a LAG, what LAG.
    pub lag: Option<LagFacts<'s>>,
    /// Where it is a member, of which LAG.
    pub member_of: Option<&'s str>,
    /// Speed, where the file tells.
    pub speed: Option<Speed>,
    /// A line for people; may be empty.
    pub description: &'s str,
}

/// The ports of one switch in the order of its front, each LAG where its first member would stand.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Worksheet<'s> {
    /// Which switch.
    pub switch: SwitchId,
    /// Its lines.
    pub lines: Vec<PortLine<'s>>,
    /// VLANs that any line carries, with the segment that each is at this switch.
    pub vlans: Vec<(VlanId, Option<String>)>,
}

impl<'s> Worksheet<'s> {
    /// The worksheet of a switch. O(ports + their cables).
    #[must_use]
    pub fn new(site: &'s Site, cabling: &Cabling<'s>, id: SwitchId) -> Self {
        let switch = &site.switches[id.0];
        let ports = front_ports(switch);
        let at: FxHashMap<&str, &Port> = ports
            .iter()
            .map(|port| (port.name.value.as_str(), *port))
            .collect();
        let lags: FxHashMap<&str, &Lag> = switch
            .lags
            .iter()
            .flat_map(|lag| lag.ports.iter().map(move |port| (port.value.as_str(), lag)))
            .collect();
        let sheet = Sheet { site, cabling, id };
        let mut lines = Vec::with_capacity(ports.len() + switch.lags.len());
        let mut done: Vec<&str> = Vec::new();
        for port in &ports {
            let Some(lag) = lags.get(port.name.value.as_str()) else {
                lines.push(sheet.port(port, None));
                continue;
            };
            if done.contains(&lag.name.value.as_str()) {
                continue;
            }
            done.push(&lag.name.value);
            let members: Vec<&Port> = lag
                .ports
                .iter()
                .filter_map(|port| at.get(port.value.as_str()).copied())
                .collect();
            lines.push(sheet.lag(lag, &members));
            lines.extend(members.iter().map(|port| sheet.port(port, Some(lag))));
        }
        let mut sheet = Self {
            switch: id,
            lines,
            vlans: Vec::new(),
        };
        let name = |vlan| segment_name_at(site, cabling.fabric, id, vlan);
        sheet.vlans = sheet
            .carried()
            .iter()
            .map(|vlan| (vlan, name(vlan)))
            .collect();
        sheet
    }

    /// A VLAN with the segment that it is at this switch.
    pub fn named(&self, vlan: VlanId) -> (VlanId, Option<String>) {
        let known = self.vlans.iter().find(|(known, _)| *known == vlan);
        (vlan, known.and_then(|(_, name)| name.clone()))
    }

    fn carried(&self) -> VlanSet {
        let mut all = VlanSet::default();
        for vlans in self.lines.iter().filter_map(|line| line.vlans) {
            for vlan in vlans.members().iter() {
                all.insert(vlan);
            }
        }
        all
    }
}

/// The ports of a switch as its front has them.
pub fn front_ports(switch: &Switch) -> Vec<&Port> {
    let names: Vec<&str> = switch
        .ports
        .iter()
        .map(|port| port.name.value.as_str())
        .collect();
    front_order(&names)
        .into_iter()
        .map(|at| &switch.ports[at])
        .collect()
}

/// Interfaces of a gateway or router on a port or LAG; of a member port those on its LAG.
fn interfaces_on<'s>(
    site: &'s Site,
    cabling: &Cabling<'s>,
    end: CableEnd<'s>,
) -> Vec<&'s Interface> {
    let Equipment::Router(router) = end.device else {
        return Vec::new();
    };
    // An interface on a member port of a LAG is a problem of loading.
    let whole = cabling.whole(end).port;
    let here = site.router(router).interfaces_on(whole);
    here.map(|(_, interface)| interface).collect()
}

/// What the lines of one worksheet are made from.
struct Sheet<'s, 'c> {
    site: &'s Site,
    cabling: &'c Cabling<'s>,
    id: SwitchId,
}

impl<'s> Sheet<'s, '_> {
    fn end(&self, port: &'s str) -> CableEnd<'s> {
        CableEnd {
            device: Equipment::Switch(self.id),
            port,
        }
    }

    fn attached(
        &self,
        found: impl IntoIterator<Item = (usize, CableEnd<'s>)>,
    ) -> Vec<Attached<'s>> {
        let one = |(cable, end): (usize, CableEnd<'s>)| Attached {
            end,
            interfaces: interfaces_on(self.site, self.cabling, end)
                .into_iter()
                .map(|interface| interface.name.value.as_str())
                .collect(),
            label: self.cabling.cables[cable].label,
        };
        found.into_iter().map(one).collect()
    }

    fn aware(&self) -> bool {
        self.site.switches[self.id.0].vlan_aware
    }

    fn port(&self, port: &'s Port, lag: Option<&'s Lag>) -> PortLine<'s> {
        let vlans = port.vlans.as_ref().filter(|_| self.aware());
        PortLine {
            name: &port.name.value,
            attached: self.attached(self.cabling.plugged(self.end(&port.name.value))),
            mode: match (port.enabled, lag, vlans) {
                (false, ..) => Mode::Off,
                (true, Some(_), _) => Mode::Member,
                (true, None, Some(vlans)) => Mode::of(vlans),
                (true, None, None) => Mode::Unaware,
            },
            vlans,
            isolated: port.isolated,
            lag: None,
            member_of: lag.map(|lag| lag.name.value.as_str()),
            speed: port.speed.or(lag.and_then(|lag| lag.speed)),
            description: &port.description,
        }
    }

    fn lag(&self, lag: &'s Lag, members: &[&'s Port]) -> PortLine<'s> {
        let vlans = Some(&lag.vlans).filter(|_| self.aware());
        let end = self.end(&lag.name.value);
        PortLine {
            name: &lag.name.value,
            attached: self.attached(self.cabling.of_whole(end)),
            mode: match (members.iter().any(|port| port.enabled), vlans) {
                (false, _) => Mode::Off,
                (true, Some(vlans)) => Mode::of(vlans),
                (true, None) => Mode::Unaware,
            },
            vlans,
            isolated: lag.isolated,
            lag: Some(LagFacts {
                members: members
                    .iter()
                    .map(|port| port.name.value.as_str())
                    .collect(),
                lacp: lag.lacp,
            }),
            member_of: None,
            speed: self.cabling.lag(end).and_then(|lag| lag.speed),
            description: "",
        }
    }
}

/// VLANs in the text form of the standard: ascending, runs as ranges, `1,10-100,250`
/// (IEEE 802.1Q types, `vid-range-type`).
pub fn vlan_ranges(vlans: impl IntoIterator<Item = VlanId>) -> Vec<String> {
    let mut runs: Vec<(u16, u16)> = Vec::new();
    for vlan in vlans {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == vlan.get() => *last = vlan.get(),
            _ => runs.push((vlan.get(), vlan.get())),
        }
    }
    let text = |(first, last): (u16, u16)| match last - first {
        0 => first.to_string(),
        _ => format!("{first}-{last}"),
    };
    runs.into_iter().map(text).collect()
}

/// Acceptable frame types in one word: `all`, `tagged` or `untagged` (with priority-tagged).
pub fn accept_word(accept: FrameTypes) -> &'static str {
    match accept {
        FrameTypes::All => "all",
        FrameTypes::Tagged => "tagged",
        FrameTypes::Untagged => "untagged",
    }
}

/// How a LAG negotiates, in one word.
pub fn lacp_word(lacp: Lacp) -> &'static str {
    match lacp {
        Lacp::Active => "active",
        Lacp::Passive => "passive",
        Lacp::Static => "static",
    }
}

#[cfg(test)]
mod tests {
    use boundwalk_forwarding::layer2::Fabric;

    use super::*;

    fn ranges(numbers: &[u16]) -> String {
        vlan_ranges(numbers.iter().copied().filter_map(VlanId::new)).join(",")
    }

    /// The example of `vid-range-type` in the IEEE 802.1Q types module (ieee802-dot1q-types).
    #[test]
    fn vlans_are_listed_as_the_standard_lists_them() {
        let all: Vec<u16> = [1]
            .into_iter()
            .chain(10..=100)
            .chain([250])
            .chain(500..=1000)
            .collect();
        assert_eq!(ranges(&all), "1,10-100,250,500-1000");
        assert_eq!(ranges(&[]), "");
        assert_eq!(ranges(&[7, 8, 4094]), "7-8,4094");
    }

    #[test]
    fn the_mode_of_a_port_follows_from_its_vlans() {
        let mode = |untagged: &[u16], tagged: &[u16]| {
            let set = |list: &[u16]| list.iter().copied().filter_map(VlanId::new).collect();
            Mode::of(&PortVlans {
                untagged: set(untagged),
                tagged: set(tagged),
                ..PortVlans::default()
            })
        };
        assert_eq!(mode(&[10], &[]), Mode::Access);
        assert_eq!(mode(&[], &[10]), Mode::Tagged);
        assert_eq!(mode(&[10], &[20]), Mode::Mixed);
        assert_eq!(mode(&[10, 20], &[]), Mode::Mixed);
        assert_eq!(mode(&[], &[]), Mode::NoVlan);
    }

    #[test]
    fn a_lag_stands_before_its_members_where_the_first_of_them_is() {
        let text = "[zones.inside]\ntrust = 50\n[segments.office]\nzone = \"inside\"\nvlan = 10\n\
            prefixes = [\"10.44.10.0/24\"]\n[switches.a.lags.up]\nports = [\"2\", \"3\"]\nlacp = \"active\"\n\
            [switches.a.ports]\n\"up\" = { tagged = 10 }\n\"4\" = { access = 10 }\n\"1\" = { }\n\
            \"3\" = { enabled = false, description = \"spare\" }\n";
        let loaded = boundwalk_load::load_text("site.toml", text);
        let problems: Vec<_> = loaded.problems.iter().map(|found| &found.message).collect();
        let site = loaded.site.unwrap_or_else(|| panic!("{problems:?}"));
        let fabric = Fabric::new(&site);
        let sheet = Worksheet::new(&site, &Cabling::new(&site, &fabric), SwitchId(0));
        let lines: Vec<(&str, &str)> = sheet
            .lines
            .iter()
            .map(|line| (line.name, line.mode.word()))
            .collect();
        let expected = [
            ("1", "none"),
            ("up", "tagged"),
            ("2", "member"),
            ("3", "off"),
            ("4", "access"),
        ];
        assert_eq!(lines, expected);
    }
}
