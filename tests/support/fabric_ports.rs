//! Random switches: ports in the short form and the long one, well set, wrong, unused.

use super::{Plan, STRAY};

impl Plan {
    pub(super) fn add_switch(&mut self, number: usize) {
        let name = format!("{}s{number}", self.building);
        let aware = self.random.percent(80);
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
            let end = format!("{name}:{port}");
            if let Some(vlan) = self.add_port(&port, aware, true) {
                self.well_set.insert(end.clone(), vlan);
            }
            self.free.push(end);
        }
        if self.random.percent(40) {
            self.add_unused(aware);
        }
    }

    /// Adds a port; tells its VLAN where it is well set for one device.
    fn add_port(&mut self, name: &str, aware: bool, may_be_dead: bool) -> Option<u16> {
        let (mut keys, vlan) = if aware {
            self.vlan_keys()
        } else {
            (Vec::new(), None)
        };
        if self.random.percent(20) {
            keys.push("isolated = true".to_owned());
        }
        let dead = may_be_dead && self.random.percent(8);
        if dead {
            keys.push("enabled = false".to_owned());
        }
        self.add(&format!("\"{name}\" = {{ {} }}", keys.join(", ")));
        vlan.filter(|_| !dead)
    }

    /// One port or two that nobody uses: as delivered, in a VLAN for such ports, or forgotten.
    fn add_unused(&mut self, aware: bool) {
        let settings = [
            "",
            "",
            "access = 1",
            "access = 99",
            "pvid = 1, untagged = [1], ingress_filter = false",
            "pvid = 99, ingress_filter = true",
            "pvid = \"none\", tagged = [99]",
            "pvid = \"none\"",
        ];
        for port in ["x", "y"].into_iter().take(self.random.between(1, 2)) {
            let keys = if aware {
                *self.random.pick(&settings)
            } else {
                ""
            };
            self.add(&format!("\"{port}\" = {{ {keys} }}"));
        }
    }

    /// A VLAN as a port refers to it: by number, or by the name of its segment in this building.
    fn said(&mut self, vlan: u16) -> String {
        let by_name = self.random.percent(50);
        match self.segments.get(&vlan) {
            Some(name) if by_name => format!("\"{name}\""),
            _ => vlan.to_string(),
        }
    }

    fn said_all(&mut self, vlans: &[u16]) -> String {
        let said: Vec<String> = vlans.iter().map(|&vlan| self.said(vlan)).collect();
        format!("[{}]", said.join(", "))
    }

    /// What a port says about VLANs: nothing, `access`, the short form or the long one. And the VLAN, where it is well
    /// set for one device of a segment.
    fn vlan_keys(&mut self) -> (Vec<String>, Option<u16>) {
        let vlans = self.vlans.clone();
        let kind = self.random.below(100);
        if kind < 5 {
            return (Vec::new(), None);
        }
        if kind < 25 {
            let vlan = *self.random.pick(&vlans);
            let of_segment = self.segments.contains_key(&vlan).then_some(vlan);
            return (vec![format!("access = {}", self.said(vlan))], of_segment);
        }
        let short = kind < 50;
        let most = if short { 1 } else { 2 };
        let mut wanted = self.random.below(most + 1);
        let untagged = self.random.some(&vlans, wanted);
        wanted = self
            .random
            .between(usize::from(short && wanted == 0), vlans.len());
        let mut tagged = self.random.some(&vlans, wanted);
        tagged.retain(|vlan| !untagged.contains(vlan));
        let mut keys = vec![
            format!("untagged = {}", self.said_all(&untagged)),
            format!("tagged = {}", self.said_all(&tagged)),
        ];
        if !short {
            keys.extend(self.long_keys(&vlans, &untagged));
        }
        (keys, None)
    }

    /// What the long form says besides: at least one of its keys.
    fn long_keys(&mut self, vlans: &[u16], untagged: &[u16]) -> Vec<String> {
        let mut pvids: Vec<String> = vlans.iter().map(|&vlan| self.said(vlan)).collect();
        for &vlan in untagged {
            pvids.extend([vlan.to_string(), vlan.to_string()]);
        }
        pvids.extend([STRAY.to_string(), "\"none\"".to_owned(), String::new()]);
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
        said.iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(key, value)| format!("{key} = {value}"))
            .collect()
    }
}
