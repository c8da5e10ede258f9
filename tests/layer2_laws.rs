//! Do checks and worksheets say of layer 2 what single frames do, on random fabrics?
//!
//! The simulator moves one concrete frame at a time, from the definitions; from what it did follows which ports must be
//! found, and no others.

#[path = "oracles/frames.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod frames;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/random_fabric.rs"]
mod random_fabric;

use std::collections::BTreeSet;

use boundwalk::analysis::{Cabling, Difference, Unlike, differences};
use boundwalk::checks::run;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Forwards, Site, VlanId};

use frames::{Foot, Frames, Jack, Spot, Tags, ingress, settings};
use random_fabric::random_fabric;

/// Seeds of this run; a longer one: `BOUNDWALK_SITES=5000`.
fn seeds() -> std::ops::Range<u64> {
    let wanted = std::env::var("BOUNDWALK_SITES")
        .ok()
        .and_then(|text| text.parse().ok());
    0..wanted.unwrap_or(400)
}

fn site(seed: u64, text: &str) -> Site {
    let loaded = load_text("drawn", text);
    let problems = loaded.problems;
    loaded
        .site
        .unwrap_or_else(|| panic!("seed {seed}: {problems:#?}\n{text}"))
}

/// Whom a check speaks of.
fn subjects(site: &Site, check: &str) -> BTreeSet<String> {
    let network = Network::new(site, Date::constant(2026, 11, 25));
    let findings = run(&network).into_iter();
    let own = findings.filter(|finding| finding.check.name == check);
    own.flat_map(|finding| finding.subjects).collect()
}

/// A port of a switch by name, of a member of a LAG that LAG.
fn name(site: &Site, spot: Spot) -> String {
    let (switch, own) = match spot {
        Spot::Port(switch, port) => {
            let own = &site.switches[switch].ports[port].name.value;
            let mut lags = site.switches[switch].lags.iter();
            let lag = lags.find(|lag| lag.ports.iter().any(|member| member.value == *own));
            (switch, lag.map_or(own, |lag| &lag.name.value))
        }
        Spot::Lag(switch, lag) => (switch, &site.switches[switch].lags[lag].name.value),
        _ => unreachable!("no port of a switch"),
    };
    format!("{}:{own}", site.switches[switch].name.value)
}

/// The number of a port's switch, if it is one's.
fn switch(spot: Spot) -> Option<usize> {
    match spot {
        Spot::Port(switch, _) | Spot::Lag(switch, _) => Some(switch),
        _ => None,
    }
}

fn is_aware(site: &Site, spot: Spot) -> bool {
    switch(spot).is_some_and(|switch| site.switches[switch].vlan_aware)
}

/// Whether nothing but hosts is plugged in, or nothing.
fn is_place(frames: &Frames<'_>, spot: Spot) -> bool {
    let host = |jack: &Jack| match jack {
        Jack::Spot(next) => matches!(next, Spot::Interface(..)),
        Jack::Feet(feet) => {
            !feet.is_empty() && feet.iter().all(|foot| matches!(foot, Foot::Host(..)))
        }
        Jack::Dead => false,
    };
    frames.at(spot).iter().all(host) && !matches!(spot, Spot::Inside(_))
}

/// VLANs that anything in a site is set to.
fn vlans(site: &Site) -> Vec<u16> {
    let mut vlans: BTreeSet<u16> = BTreeSet::new();
    for switch in &site.switches {
        let own = switch.ports.iter().filter_map(|port| port.vlans.as_ref());
        for one in own.chain(switch.lags.iter().map(|lag| &lag.vlans)) {
            vlans.extend(one.members().iter().map(VlanId::get));
        }
    }
    let routers = site.routers.iter().flat_map(|router| &router.interfaces);
    let hosts = site.hosts.iter().flat_map(|host| &host.interfaces);
    let tags = routers.filter_map(|on| on.vlan);
    vlans.extend(tags.chain(hosts.filter_map(|on| on.vlan)).map(VlanId::get));
    vlans.into_iter().collect()
}

/// Whether a frame that comes to the far end of a port's cable is taken by an interface, or comes out untagged where a
/// device may be plugged in.
fn is_taken(frames: &Frames<'_>, port: Spot, tags: &[u16]) -> bool {
    frames.at(port).iter().any(|jack| match jack {
        Jack::Feet(feet) => feet.iter().any(|&foot| frames.takes(foot, tags)),
        Jack::Spot(next) => {
            let trip = frames.send(*next, tags);
            let mut left = trip.left.keys();
            !trip.feet.is_empty()
                || left.any(|(spot, tags)| tags.is_empty() && is_place(frames, *spot))
        }
        Jack::Dead => false,
    })
}

/// Ports at which the second tag of a frame that some device may send decides: the VLAN of the first leaves untagged
/// there, and the second brings it to a device.
fn hops(frames: &Frames<'_>) -> BTreeSet<String> {
    let site = frames.site;
    let vlans = vlans(site);
    let mut found = BTreeSet::new();
    for place in frames.spots() {
        if switch(place).is_none() || !is_place(frames, place) {
            continue;
        }
        for &outer in [0].iter().chain(&vlans) {
            for &inner in &vlans {
                for (from, arrived, port, left) in frames.send(place, &[outer, inner]).steps {
                    if !is_aware(site, port) || left != [inner] {
                        continue;
                    }
                    let here = &site.switches[switch(port).expect("a port of a switch")];
                    let Some((vlan, _)) = ingress(settings(here, from), &arrived) else {
                        continue;
                    };
                    let bare = settings(here, port).untagged.contains(vlan);
                    if bare && vlan.get() != inner && is_taken(frames, port, &left) {
                        found.insert(name(site, port));
                    }
                }
            }
        }
    }
    found
}

/// Hosts that bridge with a tag put on and take off tags that no device chose.
fn retags(site: &Site) -> bool {
    let mut hosts = site.hosts.iter();
    hosts.any(|host| {
        host.forwards.value == Forwards::Bridges
            && host.interfaces.iter().any(|on| on.vlan.is_some())
    })
}

#[test]
fn a_two_tag_hop_is_found_where_single_frames_hop_and_nowhere_else() {
    let (mut hopping, mut still) = (0, 0);
    for seed in seeds() {
        let text = random_fabric(seed);
        let site = site(seed, &text);
        if retags(&site) {
            continue;
        }
        let expected = hops(&Frames::new(&site));
        assert_eq!(
            subjects(&site, "two-tag-hop"),
            expected,
            "seed {seed}\n{text}"
        );
        hopping += usize::from(!expected.is_empty());
        still += usize::from(expected.is_empty());
    }
    assert!(
        hopping > 40 && still > 40,
        "{hopping} with hops, {still} without"
    );
}

/// Ports of switches that know VLANs where a frame comes to through switches that know none, and interfaces there.
fn behind(frames: &Frames<'_>, first: Spot, tags: &[u16]) -> (Vec<(Spot, Tags)>, Vec<Foot>) {
    let (mut ports, mut feet) = (Vec::new(), Vec::new());
    let mut work = vec![(first, tags.to_vec())];
    let mut seen: BTreeSet<(Spot, Tags)> = work.iter().cloned().collect();
    while let Some((spot, tags)) = work.pop() {
        if is_aware(frames.site, spot) {
            ports.push((spot, tags));
            continue;
        }
        if switch(spot).is_none() {
            continue;
        }
        for (out, left) in frames.passes(spot, &tags) {
            for jack in frames.at(out) {
                match jack {
                    Jack::Spot(next) if seen.insert((*next, left.clone())) => {
                        work.push((*next, left.clone()));
                    }
                    Jack::Feet(here) => {
                        feet.extend(here.iter().filter(|foot| frames.takes(**foot, &left)));
                    }
                    Jack::Spot(_) | Jack::Dead => {}
                }
            }
        }
    }
    (ports, feet)
}

/// Ports that send frames of a VLAN to a switch without VLANs, behind which another takes them into another one; unless
/// one of the two says by itself that it mixes the two VLANs.
fn joining_ports(frames: &Frames<'_>) -> BTreeSet<String> {
    let site = frames.site;
    let mut found = BTreeSet::new();
    for from in frames.spots() {
        if !is_aware(site, from) {
            continue;
        }
        let own = settings(&site.switches[switch(from).expect("a port")], from);
        for vlan in own.members().iter() {
            let bare = own.untagged.contains(vlan);
            let tags: Tags = (!bare).then_some(vlan.get()).into_iter().collect();
            for jack in frames.at(from) {
                let Jack::Spot(next) = jack else { continue };
                if switch(*next).is_none() || is_aware(site, *next) {
                    continue;
                }
                for (to, tags) in behind(frames, *next, &tags).0 {
                    let there = settings(&site.switches[switch(to).expect("a port")], to);
                    let Some((into, _)) = ingress(there, &tags) else {
                        continue;
                    };
                    let takes = ingress(own, &[]).is_some_and(|(taken, _)| taken == into);
                    let sends = there.untagged.contains(vlan);
                    if into != vlan && to != from && !takes && !sends {
                        found.insert(name(site, from));
                    }
                }
            }
        }
    }
    found
}

/// Every interface of a site with its tag on the cable and its name.
fn interfaces(site: &Site) -> Vec<(Foot, Option<VlanId>, String)> {
    let mut all = Vec::new();
    for (number, router) in site.routers.iter().enumerate() {
        for (at, on) in router.interfaces.iter().enumerate() {
            let name = format!("{}:{}", router.name.value, on.name.value);
            all.push((Foot::Router(number, at), on.vlan, name));
        }
    }
    for (number, host) in site.hosts.iter().enumerate() {
        for (at, on) in host.interfaces.iter().enumerate() {
            let name = format!("{}:{}", host.name.value, on.name.value);
            all.push((Foot::Host(number, at), on.vlan, name));
        }
    }
    all
}

/// Interfaces on a switch without VLANs whose frames come to no port of another switch, and to one of another segment.
fn joined_interfaces(frames: &Frames<'_>) -> BTreeSet<String> {
    let site = frames.site;
    let mut found = BTreeSet::new();
    for (foot, tag, name) in interfaces(site) {
        let tags: Tags = tag.map(VlanId::get).into_iter().collect();
        let sits = |spot: &Spot| {
            frames.at(*spot).iter().any(|jack| match (jack, foot) {
                (Jack::Feet(feet), _) => feet.contains(&foot),
                (Jack::Spot(spot), Foot::Host(host, at)) => *spot == Spot::Interface(host, at),
                _ => false,
            })
        };
        let spots: Vec<Spot> = frames.spots().into_iter().filter(sits).collect();
        let ends = spots.iter().map(|&spot| behind(frames, spot, &tags));
        let (ports, feet): (Vec<_>, Vec<_>) = ends.unzip();
        let unaware = |spot: &&Spot| switch(**spot).is_some() && !is_aware(site, **spot);
        let own = frames.segment(foot);
        let mut others = feet.iter().flatten();
        if spots.iter().find(unaware).is_some()
            && ports.iter().all(Vec::is_empty)
            && others.any(|&other| frames.segment(other) != own)
        {
            found.insert(name);
        }
    }
    found
}

#[test]
fn segments_joined_are_found_where_single_frames_cross_and_nowhere_else() {
    let (mut ports, mut interfaces, mut neither) = (0, 0, 0);
    for seed in seeds() {
        let text = random_fabric(seed);
        let site = site(seed, &text);
        let frames = Frames::new(&site);
        let (by_ports, by_interfaces) = (joining_ports(&frames), joined_interfaces(&frames));
        let expected: BTreeSet<String> = by_ports.union(&by_interfaces).cloned().collect();
        let found = subjects(&site, "segments-joined");
        assert_eq!(found, expected, "seed {seed}\n{text}");
        ports += usize::from(!by_ports.is_empty());
        interfaces += usize::from(!by_interfaces.is_empty());
        neither += usize::from(expected.is_empty());
        let told = joins_told(&site);
        assert_eq!(told, by_ports, "on the worksheet, seed {seed}\n{text}");
    }
    let seen = [ports, interfaces, neither];
    assert!(seen.iter().all(|&count| count > 8), "{seen:?}");
}

/// Ports at which the worksheets say that a switch without VLANs joins segments.
fn joins_told(site: &Site) -> BTreeSet<String> {
    let network = Network::new(site, Date::constant(2026, 11, 25));
    let cabling = Cabling::new(site, &network.fabric);
    let found = differences(site, &cabling).into_iter();
    let joins = found.filter_map(|one: Difference<'_>| match one.what {
        Unlike::Joins(near, ..) => Some(one.ends[near].name(site)),
        _ => None,
    });
    joins.collect()
}

/// Cables between switches that know VLANs whose frames do not arrive in the VLAN that they left: by the names of their
/// two ends.
fn misdelivering(frames: &Frames<'_>) -> BTreeSet<[String; 2]> {
    let site = frames.site;
    let mut found = BTreeSet::new();
    for from in frames
        .spots()
        .into_iter()
        .filter(|&spot| is_aware(site, spot))
    {
        let own = settings(&site.switches[switch(from).expect("a port")], from);
        for jack in frames.at(from) {
            let &Jack::Spot(to) = jack else { continue };
            if !is_aware(site, to) {
                continue;
            }
            let there = settings(&site.switches[switch(to).expect("a port")], to);
            let wrong = own.members().iter().any(|vlan| {
                let bare = own.untagged.contains(vlan);
                let tags: Tags = (!bare).then_some(vlan.get()).into_iter().collect();
                let taken = ingress(there, &tags).map(|(taken, _)| taken);
                taken != Some(vlan) || !there.carries(vlan)
            });
            let mut ends = [name(site, from), name(site, to)];
            ends.sort_unstable();
            if wrong && ends[0] != ends[1] {
                found.insert(ends);
            }
        }
    }
    found
}

#[test]
fn a_cable_that_misdelivers_frames_has_ends_that_differ() {
    let mut cables = 0;
    for seed in seeds() {
        let text = random_fabric(seed);
        let site = site(seed, &text);
        let network = Network::new(&site, Date::constant(2026, 11, 25));
        let cabling = Cabling::new(&site, &network.fabric);
        let told: BTreeSet<[String; 2]> = differences(&site, &cabling)
            .into_iter()
            .filter(|one| {
                matches!(
                    one.what,
                    Unlike::OneEndOnly(..)
                        | Unlike::TaggedAtOneEnd(..)
                        | Unlike::Dropped(..)
                        | Unlike::Untagged(_)
                )
            })
            .map(|one| {
                let mut ends = one.ends.map(|end| end.name(&site));
                ends.sort_unstable();
                ends
            })
            .collect();
        for ends in misdelivering(&Frames::new(&site)) {
            assert!(told.contains(&ends), "seed {seed}: {ends:?}\n{text}");
            cables += 1;
        }
    }
    assert!(cables > 100, "{cables} cables");
}
