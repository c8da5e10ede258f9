//! Rules, translations and groups of random sites.

use std::fmt::Write;

use ipnet::IpNet;

use super::{Kind, Plan, add, is_link_local, list, random_hairpin};

/// Groups of services that rules pick from.
pub const NAMED_SERVICES: &str = "[services]
pages = [\"tcp/80\", \"tcp/443\"]
names = [\"udp/53\", \"tcp/53\"]
mixed = [\"pages\", \"icmp/8\", \"icmpv6/128\"]
";

/// Services that any family may use.
const COMMON: &[&str] = &[
    "tcp/80",
    "tcp/443",
    "tcp/80-90",
    "tcp/1024-65535",
    "tcp/80 from 1024-65535",
    "tcp/any from 80",
    "udp/53",
    "udp/53-80",
    "tcp",
    "udp",
    "protocol/47",
    "any",
    "pages",
    "names",
    "mixed",
    "sctp/80",
];

/// Services with ports, for translations that write a port.
const WITH_PORTS: &[&str] = &["tcp/80", "tcp/443", "tcp/80-90", "udp/53", "pages", "tcp"];

/// Which families a line speaks of.
#[derive(Clone, Copy)]
struct Families {
    four: bool,
    six: bool,
}

/// Groups of addresses: pieces of segments, of both families where there are both.
pub fn write_groups(plan: &mut Plan, text: &mut String) {
    text.push_str("[addresses]\n");
    for number in 0..2 {
        let items = addresses(
            plan,
            Families {
                four: true,
                six: true,
            },
        );
        list(text, &format!("group{number}"), &items);
    }
}

/// Up to six rules of a gateway.
pub fn write_rules(plan: &mut Plan, device: usize, text: &mut String) {
    let gateway = plan.devices[device].name.clone();
    for number in 0..plan.random.below(7) {
        writeln!(
            text,
            "[[gateways.{gateway}.rules]]\nname = \"rule {number}\""
        )
        .expect("a string");
        let families = families(plan);
        let (from, mut to) = (parties(plan), parties(plan));
        if plan.random.percent(20) {
            to = vec!["gateway".to_owned()];
            to.extend(parties(plan).pop());
        }
        list(text, "from", &from);
        list(text, "to", &to);
        write_matches(plan, (device, families), text);
        let action = *plan
            .random
            .pick(&["permit", "permit", "permit", "deny", "reject"]);
        writeln!(text, "action = \"{action}\"").expect("a string");
        match plan.random.below(20) {
            0 => text.push_str("enabled = false\n"),
            1 => text.push_str("expires = 2026-03-31\n"),
            2 => text.push_str("expires = 2026-04-01\n"),
            _ => {}
        }
    }
}

/// Source, destination and services, each or none; the source sometimes an address of the gateway itself or of a host.
fn write_matches(plan: &mut Plan, (device, families): (usize, Families), text: &mut String) {
    for key in ["source", "destination"] {
        if plan.random.percent(50) {
            let mut items = addresses(plan, families);
            if key == "source" && plan.random.percent(20) {
                items.extend(somebodys_own(plan, device, families));
                items.dedup();
            }
            list(text, key, &items);
        }
    }
    if plan.random.percent(60) {
        let items = services(plan, families);
        list(text, "services", &items);
    }
}

/// A few translations of both kinds.
pub fn write_translations(plan: &mut Plan, device: usize, text: &mut String) {
    let gateway = plan.devices[device].name.clone();
    random_hairpin::write_translation(plan, device, text);
    for number in 0..plan.random.below(3) {
        let head =
            format!("[[gateways.{gateway}.destination_translations]]\nname = \"in {number}\"");
        writeln!(text, "{head}").expect("a string");
        write_destination_translation(plan, text);
    }
    write_masquerade(plan, device, text);
    for number in 0..plan.random.below(3) {
        let head = format!("[[gateways.{gateway}.source_translations]]\nname = \"out {number}\"");
        writeln!(text, "{head}").expect("a string");
        write_source_translation(plan, device, text);
    }
}

/// Often, where an interface has addresses of two subnets: what leaves by it gets an address of the interface.
fn write_masquerade(plan: &mut Plan, device: usize, text: &mut String) {
    let gateway = &plan.devices[device];
    let mut interfaces = gateway.interfaces.iter();
    let interface = interfaces.find(|interface| {
        let mut subnets: Vec<IpNet> = interface
            .addresses
            .iter()
            .filter(|net| net.addr().is_ipv4())
            .map(IpNet::trunc)
            .collect();
        subnets.dedup();
        1 < subnets.len()
    });
    let Some(interface) = interface.cloned() else {
        return;
    };
    if plan.random.percent(60) {
        let (name, segment) = (&gateway.name, &plan.segments[interface.segment].name);
        let head = format!("[[gateways.{name}.source_translations]]\nname = \"masquerade\"");
        writeln!(
            text,
            "{head}\nto = [\"{segment}\"]\nto_address = \"interface\""
        )
        .expect("a string");
    }
}

fn write_destination_translation(plan: &mut Plan, text: &mut String) {
    let families = one_family(plan);
    let from = parties(plan);
    list(text, "from", &from);
    if plan.random.percent(25) {
        let items = addresses(plan, families);
        list(text, "source", &items);
    }
    if plan.random.percent(75) {
        let items = addresses(plan, families);
        list(text, "destination", &items);
    }
    let with_port = plan.random.percent(40);
    if with_port {
        let count = plan.random.between(1, 2);
        let items = plan.random.some(WITH_PORTS, count);
        list(text, "services", &items);
        writeln!(text, "to_port = {}", plan.random.pick(&[80, 81, 443, 8080])).expect("a string");
    } else if plan.random.percent(40) {
        let items = services(plan, families);
        list(text, "services", &items);
    }
    let target = address(plan, families.four).map(|target| target.to_string());
    let target =
        target.unwrap_or_else(|| if families.four { "10.9.9.9" } else { "fd99::9" }.to_owned());
    writeln!(text, "to_address = \"{target}\"").expect("a string");
    if plan.random.percent(10) {
        text.push_str("enabled = false\n");
    }
}

fn write_source_translation(plan: &mut Plan, device: usize, text: &mut String) {
    let families = one_family(plan);
    let to = parties(plan);
    list(text, "to", &to);
    write_matches(plan, (device, families), text);
    let own: Vec<_> = plan.devices[device]
        .interfaces
        .iter()
        .flat_map(|interface| &interface.addresses)
        .map(IpNet::addr)
        .filter(|&address| address.is_ipv4() == families.four && !is_link_local(address))
        .collect();
    let target = match plan.random.below(10) {
        0..6 => "interface".to_owned(),
        6 => "unchanged".to_owned(),
        7 | 8 if !own.is_empty() => plan.random.pick(&own).to_string(),
        _ if families.four => "203.0.113.200".to_owned(),
        _ => "2001:db8::200".to_owned(),
    };
    writeln!(text, "to_address = \"{target}\"").expect("a string");
    if plan.random.percent(10) {
        text.push_str("enabled = false\n");
    }
}

/// An address of the device, or of any host.
fn somebodys_own(plan: &mut Plan, device: usize, families: Families) -> Option<String> {
    let chosen = plan.devices.iter().enumerate().filter(|&(number, one)| {
        number == device || matches!(one.kind, Kind::PlainHost | Kind::ForwardingHost)
    });
    let own: Vec<_> = chosen
        .flat_map(|(_, device)| &device.interfaces)
        .flat_map(|interface| &interface.addresses)
        .map(IpNet::addr)
        .filter(|own| !is_link_local(*own))
        .filter(|own| {
            if own.is_ipv4() {
                families.four
            } else {
                families.six
            }
        })
        .collect();
    (!own.is_empty()).then(|| plan.random.pick(&own).to_string())
}

fn families(plan: &mut Plan) -> Families {
    match plan.random.below(3) {
        0 => Families {
            four: true,
            six: false,
        },
        1 => Families {
            four: false,
            six: true,
        },
        _ => Families {
            four: true,
            six: true,
        },
    }
}

fn one_family(plan: &mut Plan) -> Families {
    let four = plan.random.percent(60);
    Families { four, six: !four }
}

/// Zones and segments, or nothing.
fn parties(plan: &mut Plan) -> Vec<String> {
    let segments = plan.segments.iter().map(|segment| segment.name.clone());
    let all: Vec<String> = plan.zones.iter().cloned().chain(segments).collect();
    let count = plan.random.below(3);
    plan.random.some(&all, count)
}

fn services(plan: &mut Plan, families: Families) -> Vec<String> {
    let count = plan.random.between(1, 3);
    let mut items: Vec<String> = plan
        .random
        .some(COMMON, count)
        .iter()
        .map(|item| (*item).to_owned())
        .collect();
    if families.four && plan.random.percent(30) {
        items.push((*plan.random.pick(&["icmp", "icmp/8", "icmp/8/0", "icmp/3"])).to_owned());
    }
    if families.six && plan.random.percent(30) {
        items.push(
            (*plan
                .random
                .pick(&["icmpv6", "icmpv6/128", "icmpv6/129/0", "icmpv6/2"]))
            .to_owned(),
        );
    }
    items
}

/// At least one item of each family asked for, so that two lists of a line always meet.
fn addresses(plan: &mut Plan, families: Families) -> Vec<String> {
    let mut items = Vec::new();
    for (wanted, four) in [(families.four, true), (families.six, false)] {
        let count = if wanted { plan.random.between(1, 2) } else { 0 };
        for _ in 0..count {
            let item = address_item(plan, four);
            if !items.contains(&item) {
                items.push(item);
            }
        }
    }
    items
}

fn address_item(plan: &mut Plan, four: bool) -> String {
    let Some(low) = address(plan, four) else {
        return if four {
            "198.51.100.0/28"
        } else {
            "2001:db8:1::/120"
        }
        .to_owned();
    };
    match plan.random.below(6) {
        0 | 1 => low.to_string(),
        2 => format!("{low}-{}", add(low, plan.random.between(1, 40) as u128)),
        3 => {
            let shorter = plan.random.between(1, 6) as u8;
            let length = if four { 32 - shorter } else { 128 - shorter };
            IpNet::new(low, length)
                .expect("a length of the family")
                .trunc()
                .to_string()
        }
        4 => prefix_of(plan, low).to_string(),
        _ => if four {
            "198.51.100.0/28"
        } else {
            "2001:db8:1::/120"
        }
        .to_owned(),
    }
}

/// The prefix that holds an address of a segment.
fn prefix_of(plan: &Plan, address: std::net::IpAddr) -> IpNet {
    let mut prefixes = plan.segments.iter().flat_map(|segment| &segment.prefixes);
    *prefixes
        .find(|prefix| prefix.contains(&address))
        .expect("addresses come from prefixes")
}

/// An address of some segment, often one that a device has.
fn address(plan: &mut Plan, four: bool) -> Option<std::net::IpAddr> {
    let plain = |kind| kind == Kind::PlainHost;
    let rather = plan.random.percent(50);
    let owned: Vec<_> = plan
        .devices
        .iter()
        .filter(|device| !rather || plain(device.kind))
        .flat_map(|device| &device.interfaces)
        .flat_map(|interface| &interface.addresses)
        .map(IpNet::addr)
        .filter(|&own| own.is_ipv4() == four && !is_link_local(own))
        .collect();
    if !owned.is_empty() && plan.random.percent(40) {
        return Some(*plan.random.pick(&owned));
    }
    let prefixes: Vec<IpNet> = plan
        .segments
        .iter()
        .flat_map(|segment| &segment.prefixes)
        .copied()
        .filter(|net| net.addr().is_ipv4() == four)
        .collect();
    let net = *prefixes.get(plan.random.below(prefixes.len().max(1)))?;
    let size = 1_usize << (net.max_prefix_len() - net.prefix_len());
    Some(add(net.addr(), plan.random.below(size) as u128))
}
