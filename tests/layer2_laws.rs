//! Do checks and worksheets say of layer 2 what single frames do, on random fabrics?
//!
//! The simulator moves one concrete frame at a time, from the definitions; from what it did follows which ports must be
//! found, and no others.

#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/random_fabric.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random_fabric;

use std::cell::Cell;
use std::collections::BTreeSet;

use boundwalk::analysis::{Cabling, Difference, LinkMismatch, differences};
use boundwalk::checks::run;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Forwards, FrameTypes, Site, VlanId};

use frames::{Frames, Jack, Spot, Tags, WiredInterface};
use random::Random;
use random_fabric::{loose_fabric, random_fabric};
use seeds::seeds;

#[path = "support/seeds.rs"]
mod seeds;

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
    run(&network)
        .into_iter()
        .filter(|finding| finding.check.name == check)
        .flat_map(|finding| finding.subjects)
        .collect()
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

/// The VLAN that a frame takes at a port of a switch that knows VLANs.
fn taken(frames: &Frames<'_>, spot: Spot, tags: &[u16]) -> Option<VlanId> {
    let port = frames.settings(spot);
    let outer = tags.first().copied().and_then(VlanId::new);
    let accepted = match port.accept {
        FrameTypes::All => true,
        FrameTypes::Tagged => outer.is_some(),
        FrameTypes::Untagged => outer.is_none(),
    };
    let vlan = outer.or(port.pvid).filter(|_| accepted)?;
    (port.carries(vlan) || !port.ingress_filter).then_some(vlan)
}

/// Sites of both kinds of random fabrics, and of the hall with its bench.
fn over_all_sites(check: impl Fn(&Site, &str)) {
    for seed in seeds(400) {
        for text in [random_fabric(seed), loose_fabric(seed), random_bench(seed)] {
            check(&site(seed, &text), &format!("seed {seed}\n{text}"));
        }
    }
}

/// One or two switches in the hall, their ports set in any way, most of them plugged into the same bench: one or two
/// switches without VLANs.
fn random_bench(seed: u64) -> String {
    let mut random = Random::new(seed);
    let mut text = "[zones.z]\ntrust = 50\n".to_owned();
    for vlan in [10, 20, 30] {
        text += &format!(
            "[segments.v{vlan}]\nzone = \"z\"\nvlan = {vlan}\nprefixes = [\"10.44.{vlan}.0/24\"]\n"
        );
    }
    let ports = [
        "access = 10",
        "access = 10",
        "access = 20",
        "access = 30",
        "untagged = 10, tagged = [20, 30]",
        "untagged = 20, tagged = [10]",
        "tagged = [10, 20]",
        "pvid = 10, untagged = [20], ingress_filter = false",
        "pvid = 20, untagged = [10], ingress_filter = true, accept = \"all\"",
        "pvid = \"none\", untagged = [10]",
        "access = 20, enabled = false",
        "access = 20, isolated = true",
        "",
    ];
    let benches = random.between(1, 2);
    let mut free: Vec<String> = Vec::new();
    for bench in 0..benches {
        text += &format!(
            "[switches.bench{bench}]\nvlan_aware = false\n[switches.bench{bench}.ports]\n"
        );
        for port in 1..=5 {
            let isolated = if random.percent(15) {
                "isolated = true"
            } else {
                ""
            };
            text += &format!("\"{port}\" = {{ {isolated} }}\n");
            free.push(format!("bench{bench}:{port}"));
        }
    }
    let mut links: Vec<[String; 2]> = Vec::new();
    for hall in 0..random.between(1, 2) {
        text += &format!("[switches.hall{hall}.ports]\n");
        for port in 1..=3 {
            text += &format!("\"{port}\" = {{ {} }}\n", random.pick(&ports));
            if random.percent(70) && !free.is_empty() {
                let far = free.remove(random.below(free.len()));
                links.push([format!("hall{hall}:{port}"), far]);
            }
        }
    }
    for host in 0..2 {
        if !free.is_empty() {
            let far = free.remove(random.below(free.len()));
            let segment = random.pick(&[10, 20]);
            text += &format!(
                "[hosts.h{host}]\n[[hosts.h{host}.interfaces]]\nsegment = \"v{segment}\"\nport = \"{far}\"\n"
            );
        }
    }
    for [one, other] in links {
        text += &format!("[[links]]\nends = [\"{one}\", \"{other}\"]\n");
    }
    text
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
        Jack::Interfaces(interfaces) => interfaces
            .iter()
            .any(|&interface| frames.takes(interface, tags)),
        Jack::Spot(next) => {
            let trip = frames.send(*next, tags);
            let mut left = trip.left.keys();
            !trip.interfaces.is_empty()
                || left.any(|(spot, tags)| tags.is_empty() && frames.places().contains(spot))
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
    for place in frames.places() {
        // Nobody is reckoned with to put tags on where layer 2 is only assumed.
        if matches!(place, Spot::Tap(..)) {
            continue;
        }
        for &outer in [0].iter().chain(&vlans) {
            for &inner in &vlans {
                for (from, arrived, port, left) in frames.send(place, &[outer, inner]).steps {
                    if !is_aware(site, port) || left != [inner] {
                        continue;
                    }
                    let Some(vlan) = taken(frames, from, &arrived) else {
                        continue;
                    };
                    let bare = frames.settings(port).untagged.contains(vlan);
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
    let seen = [Cell::new(0), Cell::new(0)];
    over_all_sites(|site, told| {
        if retags(site) {
            return;
        }
        let expected = hops(&Frames::new(site));
        assert_eq!(subjects(site, "two-tag-hop"), expected, "{told}");
        count(&seen[usize::from(expected.is_empty())], true);
    });
    let [hopping, still] = seen.map(Cell::into_inner);
    assert!(
        hopping > 40 && still > 40,
        "{hopping} with hops, {still} without"
    );
}

fn count(counter: &Cell<usize>, one: bool) {
    counter.set(counter.get() + usize::from(one));
}

/// Ports of switches that know VLANs where a frame comes to through switches that know none, and interfaces there.
fn behind(
    frames: &Frames<'_>,
    first: Spot,
    tags: &[u16],
) -> (Vec<(Spot, Tags)>, Vec<WiredInterface>) {
    let (mut ports, mut interfaces) = (Vec::new(), Vec::new());
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
                    Jack::Interfaces(here) => {
                        interfaces.extend(
                            here.iter()
                                .filter(|interface| frames.takes(**interface, &left)),
                        );
                    }
                    Jack::Spot(_) | Jack::Dead => {}
                }
            }
        }
    }
    (ports, interfaces)
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
        let own = frames.settings(from);
        for vlan in own.members().iter() {
            let bare = own.untagged.contains(vlan);
            let tags: Tags = (!bare).then_some(vlan.get()).into_iter().collect();
            for jack in frames.at(from) {
                let Jack::Spot(next) = jack else { continue };
                if switch(*next).is_none() || is_aware(site, *next) {
                    continue;
                }
                for (to, tags) in behind(frames, *next, &tags).0 {
                    let Some(into) = taken(frames, to, &tags) else {
                        continue;
                    };
                    let takes = taken(frames, from, &[]) == Some(into);
                    let sends = frames.settings(to).untagged.contains(vlan);
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
fn interfaces(site: &Site) -> Vec<(WiredInterface, Option<VlanId>, String)> {
    let mut all = Vec::new();
    for (number, router) in site.routers.iter().enumerate() {
        for (at, on) in router.interfaces.iter().enumerate() {
            let name = format!("{}:{}", router.name.value, on.name.value);
            all.push((WiredInterface::Router(number, at), on.vlan, name));
        }
    }
    for (number, host) in site.hosts.iter().enumerate() {
        for (at, on) in host.interfaces.iter().enumerate() {
            let name = format!("{}:{}", host.name.value, on.name.value);
            all.push((WiredInterface::Host(number, at), on.vlan, name));
        }
    }
    all
}

/// Interfaces on a switch without VLANs whose frames come to no port of another switch, and to one of another segment.
fn joined_interfaces(frames: &Frames<'_>) -> BTreeSet<String> {
    let site = frames.site;
    let mut found = BTreeSet::new();
    for (interface, tag, name) in interfaces(site) {
        let tags: Tags = tag.map(VlanId::get).into_iter().collect();
        let sits = |spot: &Spot| {
            frames.at(*spot).iter().any(|jack| match (jack, interface) {
                (Jack::Interfaces(interfaces), _) => interfaces.contains(&interface),
                (Jack::Spot(spot), WiredInterface::Host(host, at)) => {
                    *spot == Spot::Interface(host, at)
                }
                _ => false,
            })
        };
        let spots: Vec<Spot> = frames.spots().into_iter().filter(sits).collect();
        let (ports, interfaces): (Vec<_>, Vec<_>) = spots
            .iter()
            .map(|&spot| behind(frames, spot, &tags))
            .unzip();
        let unaware = |spot: &&Spot| switch(**spot).is_some() && !is_aware(site, **spot);
        let own = frames.segment(interface);
        let mut others = interfaces.iter().flatten();
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
    let seen = [const { Cell::new(0) }; 3];
    over_all_sites(|site, told| {
        let frames = Frames::new(site);
        let (by_ports, by_interfaces) = (joining_ports(&frames), joined_interfaces(&frames));
        let expected: BTreeSet<String> = by_ports.union(&by_interfaces).cloned().collect();
        assert_eq!(subjects(site, "segments-joined"), expected, "{told}");
        assert_eq!(joins_told(site), by_ports, "on the worksheet, {told}");
        count(&seen[0], !by_ports.is_empty());
        count(&seen[1], !by_interfaces.is_empty());
        count(&seen[2], expected.is_empty());
    });
    let seen = seen.map(Cell::into_inner);
    assert!(seen.iter().all(|&count| count > 20), "{seen:?}");
}

/// Ports at which the worksheets say that a switch without VLANs joins segments.
fn joins_told(site: &Site) -> BTreeSet<String> {
    let network = Network::new(site, Date::constant(2026, 11, 25));
    let cabling = Cabling::new(site, &network.fabric);
    let joins = differences(site, &cabling)
        .into_iter()
        .filter_map(|one: Difference<'_>| match one.what {
            LinkMismatch::Joins(near, ..) => Some(one.ends[near].name(site)),
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
        let own = frames.settings(from);
        for jack in frames.at(from) {
            let &Jack::Spot(to) = jack else { continue };
            if !is_aware(site, to) {
                continue;
            }
            let there = frames.settings(to);
            let untagged = |spot| (taken(frames, spot, &[]), &frames.settings(spot).untagged);
            // Two ends with the same fault are alike: it is one of each port, `pvid-not-untagged`.
            let alike = untagged(from) == untagged(to);
            let wrong = own.members().iter().any(|vlan| {
                let bare = own.untagged.contains(vlan);
                let tags: Tags = (!bare).then_some(vlan.get()).into_iter().collect();
                let arrives = taken(frames, to, &tags) == Some(vlan) && there.carries(vlan);
                !(arrives || bare && alike)
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
    let cables = Cell::new(0);
    over_all_sites(|site, text| {
        let network = Network::new(site, Date::constant(2026, 11, 25));
        let cabling = Cabling::new(site, &network.fabric);
        let about_vlans = |what: &LinkMismatch| {
            matches!(
                what,
                LinkMismatch::OneEndOnly(..)
                    | LinkMismatch::TaggedAtOneEnd(..)
                    | LinkMismatch::Dropped(..)
                    | LinkMismatch::Untagged(_)
            )
        };
        let told = differences(site, &cabling)
            .into_iter()
            .filter(|one| about_vlans(&one.what))
            .map(|one| {
                let mut ends = one.ends.map(|end| end.name(site));
                ends.sort_unstable();
                ends
            });
        let told: BTreeSet<[String; 2]> = told.collect();
        for ends in misdelivering(&Frames::new(site)) {
            assert!(told.contains(&ends), "{ends:?}, {text}");
            count(&cables, true);
        }
    });
    assert!(cables.get() > 100, "{} cables", cables.get());
}
