//! The simulator of single frames asked by the names of a site.

use std::collections::BTreeSet;

use boundwalk::load::load_text;
use boundwalk::model::{SegmentId, Site, VlanId};

use crate::frames::{Frames, Group, Reach, Spot, WiredInterface};

/// The site of a text that loads.
pub fn site(text: &str) -> Site {
    let loaded = load_text("case", text);
    let problems = format!("{:#?}\n{text}", loaded.problems);
    loaded.site.expect(&problems)
}

/// The place of a port, as in `core:3`.
pub fn spot(site: &Site, name: &str) -> Spot {
    let (switch, port) = name.split_once(':').expect("a switch and a port");
    let mut switches = site.switches.iter();
    let number = switches.position(|known| known.name.value == switch);
    let number = number.expect(name);
    Spot::Port(number, site.switches[number].port(port).expect(name))
}

pub fn segment(site: &Site, name: &str) -> SegmentId {
    let mut ids = site.segment_ids();
    ids.find(|&id| site.segment(id).name.value == name)
        .expect(name)
}

/// Names of segments.
pub fn names(site: &Site, segments: impl IntoIterator<Item = SegmentId>) -> Vec<&str> {
    segments
        .into_iter()
        .map(|id| site.segment(id).name.value.as_str())
        .collect()
}

/// A group by switch and VLAN, with its ports.
pub fn groups(
    site: &Site,
    found: impl IntoIterator<Item = (Group, BTreeSet<Spot>)>,
) -> Vec<String> {
    let shown = found.into_iter().map(|((switch, vlan), spots)| {
        let ports = spots.iter().map(|spot| match *spot {
            Spot::Port(_, port) => site.switches[switch].ports[port].name.value.as_str(),
            _ => "?",
        });
        let ports: Vec<&str> = ports.collect();
        let vlan = vlan.map_or("none".to_owned(), |vlan| vlan.to_string());
        format!(
            "{} {vlan}: {}",
            site.switches[switch].name.value,
            ports.join(" ")
        )
    });
    shown.collect()
}

/// Names of devices that take frames.
pub fn takers<'s>(site: &'s Site, reach: &Reach) -> Vec<&'s str> {
    let devices = reach.interfaces.iter().map(|interface| match *interface {
        WiredInterface::Router(router, _) => site.routers[router].name.value.as_str(),
        WiredInterface::Host(host, _) => site.hosts[host].name.value.as_str(),
    });
    let devices: BTreeSet<&str> = devices.collect();
    devices.into_iter().collect()
}

/// The group of a switch, by number, whose untagged frames take a VLAN or none.
pub fn group(switch: usize, vlan: Option<u16>) -> Group {
    (switch, vlan.and_then(VlanId::new))
}

/// Segments of the places of a port.
pub fn of_port<'s>(site: &'s Site, frames: &Frames<'_>, port: &str) -> Vec<&'s str> {
    let spot = spot(site, port);
    let segments: BTreeSet<SegmentId> = frames
        .all_seats()
        .iter()
        .filter(|attach_point| attach_point.1 == spot)
        .map(|attach_point| attach_point.0)
        .collect();
    names(site, segments)
}
