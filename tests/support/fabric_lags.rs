//! Random LAGs: two that form one, two that do not, and what is left of them.

use super::Plan;

/// A LAG that is being made, and the names by which its cables are described.
pub struct Lag {
    pub device: String,
    name: &'static str,
    ports: Vec<String>,
}

impl Plan {
    pub(super) fn add_lag(
        &mut self,
        kind: &str,
        device: &str,
        name: &'static str,
        ports: Vec<String>,
    ) {
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

    /// LAG to LAG, as a whole or port by port; what is left over goes where single cables go.
    pub(super) fn join_lags(&mut self) {
        while let Some(one) = self.lags.pop() {
            let chance = if one.device.ends_with("edge") { 85 } else { 65 };
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
        let needy = lag.device.ends_with("edge");
        let ends = if self.random.percent(50) {
            vec![lag.end()]
        } else {
            lag.ports
                .iter()
                .map(|port| format!("{}:{port}", lag.device))
                .collect()
        };
        if needy {
            self.needy.extend(ends);
        } else {
            self.free.extend(ends);
        }
    }
}

impl Lag {
    fn end(&self) -> String {
        format!("{}:{}", self.device, self.name)
    }
}
