//! Random sites for layer 2, as text: few switches and VLANs, many ways to set a port wrong.
//!
//! Every interface has a cable. Cables may loop, lead back to their own switch, or end at a disabled port;
//! LAGs form, do not form, are described at one end only, or are split to two devices.

use std::fmt::Write;

use crate::random::Random;

/// VLANs that ports are set to; all but the last have a segment as far as there are segments.
const VLANS: [u16; 5] = [1, 10, 20, 30, 40];
/// A VLAN of ports that no segment has.
const STRAY: u16 = 99;

/// A LAG that is being made, and the names by which its cables are described.
struct Lag {
    device: String,
    name: &'static str,
    ports: Vec<String>,
}

/// A site that is being made.
struct Plan {
    random: Random,
    vlans: Vec<u16>,
    text: String,
    lags: Vec<Lag>,
    /// Ends that may have a cable: of switches.
    free: Vec<String>,
    /// Ends that must have one: of gateways, routers and hosts, and what to say of the cable.
    needy: Vec<String>,
    links: Vec<[String; 2]>,
}

/// The text of a site; the same for the same seed.
pub fn random_fabric(seed: u64) -> String {
    let mut random = Random::new(seed);
    let segments = random.between(2, 4);
    let mut vlans = random.some(&VLANS, segments);
    let mut text = "[zones.z]\ntrust = 50\n".to_owned();
    for &vlan in &vlans {
        write!(
            text,
            "[segments.v{vlan}]\nzone = \"z\"\nvlan = {vlan}\nprefixes = [\"10.0.{vlan}.0/24\"]\n"
        )
        .expect("a string takes all");
    }
    if random.percent(30) {
        vlans.push(STRAY);
    }
    let mut plan = Plan {
        random,
        vlans,
        text,
        lags: Vec::new(),
        free: Vec::new(),
        needy: Vec::new(),
        links: Vec::new(),
    };
    for number in 0..plan.random.between(1, 4) {
        plan.add_switch(number);
    }
    plan.add_gateway();
    plan.join_lags();
    plan.add_router();
    plan.add_hosts();
    plan.cable();
    plan.text
}

impl Plan {
    fn add(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// A VLAN that has a segment.
    fn vlan(&mut self) -> u16 {
        let known: Vec<u16> = self.vlans.iter().copied().filter(|&v| v != STRAY).collect();
        *self.random.pick(&known)
    }

    fn add_switch(&mut self, number: usize) {
        let (name, aware) = (format!("s{number}"), self.random.percent(80));
        let count = self.random.between(2, 6);
        let mut ports: Vec<String> = (1..=count).map(|port| port.to_string()).collect();
        self.add(&format!("[switches.{name}]"));
        if !aware {
            self.add("vlan_aware = false");
        }
        let mut lags = Vec::new();
        for lag in ["up", "down"] {
            if 3 <= ports.len() && self.random.percent(45) {
                let size = if 4 <= ports.len() && self.random.percent(20) {
                    3
                } else {
                    2
                };
                let members: Vec<String> = ports.drain(..size).collect();
                self.add_lag("switches", &name, lag, members.clone());
                lags.push((lag, members));
            }
        }
        self.add(&format!("[switches.{name}.ports]"));
        for (lag, members) in lags {
            self.add_port(lag, aware, false);
            for member in members {
                if self.random.percent(10) {
                    self.add(&format!("\"{member}\" = {{ enabled = false }}"));
                }
            }
        }
        for port in ports {
            self.add_port(&port, aware, true);
            self.free.push(format!("{name}:{port}"));
        }
    }

    fn add_lag(&mut self, kind: &str, device: &str, name: &'static str, ports: Vec<String>) {
        let lacp = *self
            .random
            .pick(&["active", "active", "passive", "static", "static"]);
        self.add(&format!(
            "[{kind}.{device}.lags.{name}]\nports = {ports:?}\nlacp = \"{lacp}\""
        ));
        self.lags.push(Lag {
            device: device.to_owned(),
            name,
            ports,
        });
    }

    fn add_port(&mut self, name: &str, aware: bool, may_be_dead: bool) {
        let mut keys = if aware { self.vlan_keys() } else { Vec::new() };
        if self.random.percent(20) {
            keys.push("isolated = true".to_owned());
        }
        if may_be_dead && self.random.percent(8) {
            keys.push("enabled = false".to_owned());
        }
        self.add(&format!("\"{name}\" = {{ {} }}", keys.join(", ")));
    }

    /// What a port says about VLANs: nothing, `access`, the short form or the long one.
    fn vlan_keys(&mut self) -> Vec<String> {
        let vlans = self.vlans.clone();
        let kind = self.random.below(100);
        if kind < 5 {
            return Vec::new();
        }
        if kind < 20 {
            return vec![format!("access = {}", self.random.pick(&vlans))];
        }
        let short = kind < 45;
        let most = if short { 1 } else { 2 };
        let mut wanted = self.random.below(most + 1);
        let untagged = self.random.some(&vlans, wanted);
        wanted = self
            .random
            .between(usize::from(short && wanted == 0), vlans.len());
        let mut tagged = self.random.some(&vlans, wanted);
        tagged.retain(|vlan| !untagged.contains(vlan));
        let mut keys = vec![
            format!("untagged = {untagged:?}"),
            format!("tagged = {tagged:?}"),
        ];
        if short {
            return keys;
        }
        let mut pvids: Vec<String> = vlans.iter().map(u16::to_string).collect();
        pvids.extend(
            untagged
                .iter()
                .flat_map(|vlan| [vlan.to_string(), vlan.to_string()]),
        );
        pvids.extend(["\"none\"".to_owned(), String::new()]);
        let pvid = self.random.pick(&pvids).clone();
        let filter = *self.random.pick(&["", "true", "true", "false"]);
        let mut accept = *self
            .random
            .pick(&["", "\"all\"", "\"tagged\"", "\"untagged\""]);
        if pvid.is_empty() && filter.is_empty() && accept.is_empty() {
            accept = "\"all\"";
        }
        let said = [
            ("pvid", pvid.as_str()),
            ("ingress_filter", filter),
            ("accept", accept),
        ];
        let said = said.iter().filter(|(_, value)| !value.is_empty());
        keys.extend(said.map(|(key, value)| format!("{key} = {value}")));
        keys
    }

    /// A gateway with sub-interfaces on a LAG or on a port.
    fn add_gateway(&mut self) {
        if self.random.percent(15) {
            return;
        }
        self.add("[gateways.edge]\ndefault = \"deny\"");
        let lag = self.random.percent(60);
        if lag {
            let ports = vec!["a".to_owned(), "b".to_owned()];
            self.add_lag("gateways", "edge", "trunk", ports);
        } else {
            self.needy.push("edge:trunk".to_owned());
        }
        self.add_sub_interfaces("gateways.edge", "trunk");
    }

    /// Interfaces on one port: one for each segment at most, one of them perhaps without a tag.
    fn add_sub_interfaces(&mut self, device: &str, port: &str) {
        let known: Vec<u16> = self.vlans.iter().copied().filter(|&v| v != STRAY).collect();
        let wanted = self.random.between(1, known.len());
        let bare = self.random.below(known.len() + 1);
        for (at, vlan) in self.random.some(&known, wanted).into_iter().enumerate() {
            self.add(&format!(
                "[{device}.interfaces.e{vlan}]\nsegment = \"v{vlan}\"\nport = \"{port}\""
            ));
            if at != bare {
                self.add(&format!("vlan = {vlan}"));
            }
        }
    }

    fn add_router(&mut self) {
        let room = self
            .free
            .iter()
            .filter(|end| !end.starts_with("edge"))
            .count();
        if self.random.percent(60) || room < self.needy.len() + 1 {
            return;
        }
        self.add("[routers.r]");
        self.add_sub_interfaces("routers.r", "x");
        self.needy.push("r:x".to_owned());
    }

    /// LAG to LAG, as a whole or port by port; what is left over goes where single cables go.
    fn join_lags(&mut self) {
        while let Some(one) = self.lags.pop() {
            let chance = if one.device == "edge" { 85 } else { 65 };
            if self.lags.is_empty() || !self.random.percent(chance) {
                self.leave_lag(&one);
                continue;
            }
            let at = self.random.below(self.lags.len());
            let other = self.lags.swap_remove(at);
            if self.random.percent(40) {
                self.links.push([one.end(), other.end()]);
                continue;
            }
            // Port by port; now and then one of them somewhere else, or nowhere.
            let straight = self.random.percent(60);
            let most = one.ports.len().max(other.ports.len());
            for at in 0..most {
                let ends = [&one, &other].map(|lag| {
                    let port = lag.ports.get(at);
                    port.map(|port| format!("{}:{port}", lag.device))
                });
                match ends {
                    [Some(one), Some(other)] if at == 0 || straight || self.random.percent(40) => {
                        self.links.push([one, other]);
                    }
                    ends => ends.into_iter().flatten().for_each(|end| self.stray(end)),
                }
            }
        }
    }

    /// A member port that does not lead where its LAG does: to a whole LAG, or wherever a single cable goes.
    fn stray(&mut self, end: String) {
        match self.lags.pop() {
            Some(third) if self.random.percent(30) => self.links.push([end, third.end()]),
            third => {
                self.lags.extend(third);
                self.free.push(end);
            }
        }
    }

    fn leave_lag(&mut self, lag: &Lag) {
        let needy = lag.device == "edge";
        let ends = if self.random.percent(50) {
            vec![lag.end()]
        } else {
            let ports = lag.ports.iter();
            ports.map(|port| format!("{}:{port}", lag.device)).collect()
        };
        if needy {
            self.needy.extend(ends);
        } else {
            self.free.extend(ends);
        }
    }

    fn add_hosts(&mut self) {
        for number in 0..self.random.between(1, 5) {
            let room = self
                .free
                .iter()
                .filter(|end| !end.starts_with("edge"))
                .count();
            // A host has three interfaces at most.
            if room < self.needy.len() + 3 {
                return;
            }
            self.add_host(number);
        }
    }

    fn add_host(&mut self, number: usize) {
        let name = format!("h{number}");
        self.add(&format!("[hosts.{name}]"));
        let kind = self.random.below(100);
        if (40..75).contains(&kind) {
            self.add("forwards = \"bridges\"");
        } else if 95 <= kind {
            self.add("forwards = \"routes\"");
        }
        let shares = (25..50).contains(&kind);
        let count = if kind < 25 {
            1
        } else {
            self.random.between(2, 2 + usize::from(70 < kind))
        };
        let shared = self.take_free();
        let mut tags = Vec::new();
        for at in 0..count {
            let vlan = self.vlan();
            let mut tag = self
                .random
                .percent(if shares { 75 } else { 35 })
                .then_some(vlan);
            if tag.is_some() && self.random.percent(10) {
                tag = Some(self.vlan());
            }
            if shares && tags.contains(&tag) {
                continue;
            }
            tags.push(tag);
            self.add(&format!(
                "[[hosts.{name}.interfaces]]\nsegment = \"v{vlan}\""
            ));
            if let Some(tag) = tag {
                self.add(&format!("vlan = {tag}"));
            }
            match shares {
                true => self.add(&format!("port = \"{shared}\"")),
                false => self.needy.push(format!("{name}:{}", at + 1)),
            }
        }
        if !shares {
            self.free.push(shared);
        }
    }

    /// Takes an end of a switch off the list.
    fn take_free(&mut self) -> String {
        let switches: Vec<usize> = (0..self.free.len())
            .filter(|&at| !self.free[at].starts_with("edge"))
            .collect();
        let at = *self.random.pick(&switches);
        self.free.swap_remove(at)
    }

    /// Cables for all that need one, then some more between switches.
    fn cable(&mut self) {
        while let Some(needy) = self.needy.pop() {
            let direct = !self.needy.is_empty() && self.random.percent(12);
            let far = match direct {
                true => {
                    let at = self.random.below(self.needy.len());
                    self.needy.swap_remove(at)
                }
                false => self.take_free(),
            };
            self.links.push([needy, far]);
        }
        let more = self.random.below(self.free.len() / 2 + 1);
        for _ in 0..more {
            let ends = [0, 1].map(|_| {
                let at = self.random.below(self.free.len());
                self.free.swap_remove(at)
            });
            self.links.push(ends);
        }
        for mut ends in std::mem::take(&mut self.links) {
            if self.random.percent(50) {
                ends.reverse();
            }
            let [one, other] = ends;
            self.add(&format!("[[links]]\nends = [\"{one}\", \"{other}\"]"));
        }
    }
}

impl Lag {
    fn end(&self) -> String {
        format!("{}:{}", self.device, self.name)
    }
}
