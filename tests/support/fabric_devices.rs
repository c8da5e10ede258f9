//! Random gateways, routers and hosts: on sub-interfaces, with several interfaces, well placed or anywhere.

use super::Plan;

impl Plan {
    /// A gateway with sub-interfaces on a LAG or on a port.
    pub(super) fn add_gateway(&mut self) {
        if self.random.percent(15) {
            return;
        }
        let name = format!("{}edge", self.building);
        self.add(&format!("[gateways.{name}]\ndefault = \"deny\""));
        let lag = self.random.percent(60);
        if lag {
            let ports = vec!["a".to_owned(), "b".to_owned()];
            self.add_lag("gateways", &name, "trunk", ports);
        } else {
            self.needy.push(format!("{name}:trunk"));
        }
        self.add_sub_interfaces(&format!("gateways.{name}"), "trunk");
    }

    /// Interfaces on one port: one for each segment at most, one of them perhaps without a tag.
    fn add_sub_interfaces(&mut self, device: &str, port: &str) {
        let known: Vec<(u16, String)> = self.segments.clone().into_iter().collect();
        let wanted = self.random.between(1, known.len());
        let bare = self.random.below(known.len() + 1);
        let chosen = self.random.some(&known, wanted);
        for (at, (vlan, segment)) in chosen.into_iter().enumerate() {
            self.add(&format!(
                "[{device}.interfaces.e{vlan}]\nsegment = \"{segment}\"\nport = \"{port}\""
            ));
            if at != bare {
                self.add(&format!("vlan = {vlan}"));
            }
        }
    }

    pub(super) fn add_router(&mut self) {
        if self.random.percent(60) || self.room() < self.needy.len() + 1 {
            return;
        }
        let name = format!("{}r", self.building);
        self.add(&format!("[routers.{name}]"));
        self.add_sub_interfaces(&format!("routers.{name}"), "x");
        self.needy.push(format!("{name}:x"));
    }

    pub(super) fn add_hosts(&mut self) {
        for number in 0..self.random.between(1, 5) {
            // A host has three interfaces at most.
            if self.room() < self.needy.len() + 3 {
                return;
            }
            let name = format!("{}h{number}", self.building);
            if !self.random.percent(30) || !self.add_well_placed(&name) {
                self.add_host(&name);
            }
        }
    }

    /// A host whose ports are set for it: one interface, or two in the same VLAN. False where there is no such port.
    fn add_well_placed(&mut self, name: &str) -> bool {
        let free: Vec<String> = self
            .free
            .iter()
            .filter(|end| self.well_set.contains_key(*end))
            .cloned()
            .collect();
        if free.is_empty() {
            return false;
        }
        let first = self.random.pick(&free).clone();
        let vlan = self.well_set[&first];
        let mut ends = vec![first];
        let mut alike = free.into_iter().filter(|end| self.well_set[end] == vlan);
        let second = alike.find(|end| *end != ends[0]);
        if self.random.percent(50) {
            ends.extend(second);
        }
        self.add(&format!("[hosts.{name}]"));
        if self.random.percent(10) {
            self.add("forwards = \"routes\"");
        }
        let segment = self.segments[&vlan].clone();
        for end in ends {
            self.free.retain(|known| *known != end);
            self.add(&format!(
                "[[hosts.{name}.interfaces]]\nsegment = \"{segment}\"\nport = \"{end}\""
            ));
        }
        true
    }

    fn add_host(&mut self, name: &str) {
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
            let segment = self.segments[&vlan].clone();
            self.add(&format!(
                "[[hosts.{name}.interfaces]]\nsegment = \"{segment}\""
            ));
            if let Some(tag) = tag {
                self.add(&format!("vlan = {tag}"));
            }
            match (&shared, shares) {
                (Some(shared), true) => self.add(&format!("port = \"{shared}\"")),
                _ => self.needy.push(format!("{name}:{}", at + 1)),
            }
        }
        self.free.extend(shared.filter(|_| !shares));
    }
}
