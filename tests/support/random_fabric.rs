//! Random sites for layer 2, as text: few switches and VLANs, many ways to set a port wrong.
//!
//! Every interface has a cable, but in loose fabrics. Cables may loop, lead back to their own switch, or end at a
//! disabled port; LAGs form, do not form, are described at one end only, or are split to two devices. Some sites are
//! two buildings, no cable between them unless by mistake, in which the same VLAN number is one segment or two.
//! Unused ports are left as the standard has them, in VLAN 1, or in a VLAN that no segment has.

#[path = "fabric_devices.rs"]
mod fabric_devices;
#[path = "fabric_lags.rs"]
mod fabric_lags;
#[path = "fabric_ports.rs"]
mod fabric_ports;

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::random::Random;
use fabric_lags::Lag;

/// VLANs of segments, the first seldom.
const VLANS: [u16; 5] = [1, 10, 20, 30, 40];
/// A VLAN of ports that no segment has.
const STRAY: u16 = 99;

/// A site that is being made.
struct Plan {
    random: Random,
    /// What the names of devices of this building begin with.
    building: &'static str,
    /// Numbers that ports are set to.
    vlans: Vec<u16>,
    /// Segments of this building by their VLAN.
    segments: BTreeMap<u16, String>,
    text: String,
    lags: Vec<Lag>,
    /// Ends that may have a cable: of switches.
    free: Vec<String>,
    /// The VLAN of each free port that is well set for one device.
    well_set: BTreeMap<String, u16>,
    /// Ends that must have one: of gateways, routers and hosts, and what to say of the cable.
    needy: Vec<String>,
    links: Vec<[String; 2]>,
    /// Whether some interfaces are left without one all the same.
    loose: bool,
}

/// The text of a site; the same for the same seed.
pub fn random_fabric(seed: u64) -> String {
    drawn(seed, false)
}

/// The same, but that for some interfaces no cable is described.
#[allow(dead_code, reason = "not each test has loose ones")]
pub fn loose_fabric(seed: u64) -> String {
    drawn(seed, true)
}

fn drawn(seed: u64, loose: bool) -> String {
    let mut plan = Plan {
        random: Random::new(seed),
        building: "",
        vlans: Vec::new(),
        segments: BTreeMap::new(),
        text: "[zones.z]\ntrust = 50\n".to_owned(),
        lags: Vec::new(),
        free: Vec::new(),
        well_set: BTreeMap::new(),
        needy: Vec::new(),
        links: Vec::new(),
        loose,
    };
    let known: &[u16] = if plan.random.percent(15) {
        &VLANS
    } else {
        &VLANS[1..]
    };
    let most = plan.random.between(2, 4);
    for vlan in plan.random.some(known, most) {
        plan.add_segment(vlan, "v", 0);
    }
    let two = plan.random.percent(30);
    plan.add_building(if two { 2 } else { 4 });
    if two {
        let left = std::mem::take(&mut plan.free);
        plan.second_building();
        plan.join_buildings(&left);
    }
    plan.text
}

impl Plan {
    fn add(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn add_segment(&mut self, vlan: u16, kind: &str, third: u16) {
        let name = format!("{kind}{vlan}");
        write!(
            self.text,
            "[segments.{name}]\nzone = \"z\"\nvlan = {vlan}\nprefixes = [\"10.{third}.{vlan}.0/24\"]\n"
        )
        .expect("a string takes all");
        self.segments.insert(vlan, name);
    }

    /// Switches, devices and cables of one building.
    fn add_building(&mut self, switches: usize) {
        self.vlans = self.segments.keys().copied().collect();
        if self.random.percent(30) {
            self.vlans.push(STRAY);
        }
        if self.random.percent(25) && !self.vlans.contains(&1) {
            self.vlans.push(1);
        }
        for number in 0..self.random.between(1, switches) {
            self.add_switch(number);
        }
        self.add_gateway();
        self.join_lags();
        self.add_router();
        self.add_hosts();
        self.cable();
    }

    /// A building of its own: some of its VLANs are those of the first, others have a number of the first and are
    /// other segments all the same.
    fn second_building(&mut self) {
        self.building = "b";
        let mut own = BTreeMap::new();
        for (vlan, name) in std::mem::take(&mut self.segments) {
            if self.random.percent(55) {
                self.add_segment(vlan, "w", 1);
                own.append(&mut self.segments);
            } else if self.random.percent(60) {
                own.insert(vlan, name);
            }
        }
        if own.is_empty() {
            self.add_segment(50, "w", 1);
            own.append(&mut self.segments);
        }
        self.segments = own;
        self.well_set.clear();
        self.add_building(2);
    }

    /// Now and then somebody pulls a cable from one building to the other.
    fn join_buildings(&mut self, left: &[String]) {
        if left.is_empty() || self.free.is_empty() || self.random.percent(50) {
            return;
        }
        let one = self.random.pick(left).clone();
        let other = self.random.pick(&self.free).clone();
        self.add(&format!("[[links]]\nends = [\"{one}\", \"{other}\"]"));
    }

    /// A VLAN that has a segment.
    fn vlan(&mut self) -> u16 {
        let known: Vec<u16> = self.segments.keys().copied().collect();
        *self.random.pick(&known)
    }

    /// How many free ends switches have.
    fn room(&self) -> usize {
        self.free.iter().filter(|end| !is_gateways(end)).count()
    }

    /// Takes an end of a switch off the list, if one is left.
    fn take_free(&mut self) -> Option<String> {
        let switches: Vec<usize> = (0..self.free.len())
            .filter(|&at| !is_gateways(&self.free[at]))
            .collect();
        let at = *(!switches.is_empty()).then(|| self.random.pick(&switches))?;
        Some(self.free.swap_remove(at))
    }

    /// Cables for all that need one, then some more between switches.
    fn cable(&mut self) {
        while let Some(needy) = self.needy.pop() {
            if self.loose && self.random.percent(30) {
                continue;
            }
            let direct = !self.needy.is_empty() && self.random.percent(12);
            let far = if direct {
                let at = self.random.below(self.needy.len());
                Some(self.needy.swap_remove(at))
            } else {
                self.take_free()
            };
            self.links.extend(far.map(|far| [needy, far]));
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

/// Whether an end is a port of a gateway's LAG.
fn is_gateways(end: &str) -> bool {
    end.contains("edge:")
}
