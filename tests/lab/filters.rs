//! Rules and translations of a gateway for the kernel's packet filter, and what every device records.
//!
//! Packets are recorded in sets: of which interface, protocol, source and destination port. A probe is known
//! by its source port, its answer by its destination port.

use std::fmt::Write;

use boundwalk::model::{
    Action, AddressMatch, AddressSet, Family, Filter, RouterId, Rule, RuleParty, Service,
    ServiceMatch, Site, SourceCheck, Translation, TranslationTarget, show_interval,
};
use boundwalk::packet::IntervalSet;

use crate::TODAY;

/// Neighbour discovery is layer 2's business, whatever the rules say.
const NEIGHBOURS: &str = "icmpv6 type { 133, 134, 135, 136 } accept\n";

/// What a host does and records, and the sets that it records in. A plain host has one interface and
/// takes what arrives.
pub fn host(silent: &[String], plain: bool) -> (String, Vec<String>) {
    table(&Parts {
        arriving: drops(silent),
        plain,
        ..Parts::default()
    })
}

/// What a gateway or router does and records. `devices` are the names of its interfaces, `silent` those of
/// cables where untagged frames meet no interface.
pub fn router(
    site: &Site,
    id: RouterId,
    devices: &[String],
    silent: &[String],
) -> (String, Vec<String>) {
    let router = site.router(id);
    let mut parts = Parts {
        arriving: drops(silent),
        ..Parts::default()
    };
    for (interface, device) in router.interfaces.iter().zip(devices) {
        let against = match interface.source_check {
            SourceCheck::Off => continue,
            SourceCheck::Strict => "fib saddr . iif oif missing",
            SourceCheck::Loose => "fib saddr oif missing",
        };
        // The kernel's own check knows IPv4 only.
        let line = format!(
            "iifname {device} meta nfproto ipv6 icmpv6 type {{ 133, 134, 135, 136 }} accept\n\
                            iifname {device} meta nfproto ipv6 {against} drop\n"
        );
        parts.checks.push_str(&line);
    }
    if let Some(filter) = router.filter() {
        let gate = Gate {
            site,
            router: id,
            devices,
        };
        gate.fill(filter, &mut parts);
    }
    table(&parts)
}

fn drops(silent: &[String]) -> String {
    silent
        .iter()
        .map(|device| format!("iifname {device} drop\n"))
        .collect()
}

#[derive(Default)]
struct Parts {
    plain: bool,
    sets: Vec<String>,
    arriving: String,
    checks: String,
    forward: String,
    input: String,
    destinations: String,
    sources: String,
}

const RECORD: &str = "meta l4proto . th sport . th dport";

fn table(parts: &Parts) -> (String, Vec<String>) {
    let mut text = String::from("table inet lab {\n");
    let everywhere: &[&str] = if parts.plain {
        &["taken"]
    } else {
        &["arrived", "passed", "taken"]
    };
    let ports = "inet_proto . inet_service . inet_service; flags dynamic; size 65535;";
    for name in everywhere {
        writeln!(text, "set {name} {{ type ifname . {ports} }}").expect("a string");
    }
    for name in &parts.sets {
        writeln!(text, "set {name} {{ type {ports} }}").expect("a string");
    }
    for (name, hook, rules) in chains(parts) {
        let head = format!("chain {name} {{ type {hook}; policy accept;");
        writeln!(text, "{head}\n{rules}}}").expect("a string");
    }
    text.push_str("}\n");
    let mut sets: Vec<String> = everywhere.iter().map(|name| (*name).to_owned()).collect();
    sets.extend(parts.sets.iter().cloned());
    (text, sets)
}

/// Name, hook and rules of each chain that has any.
fn chains(parts: &Parts) -> Vec<(&'static str, &'static str, String)> {
    let seen = |set: &str| {
        let sort = "meta l4proto { tcp, udp }";
        format!("{sort} add @{set} {{ iifname . {RECORD} }}\n")
    };
    let everywhere = |set| {
        if parts.plain {
            String::new()
        } else {
            seen(set)
        }
    };
    let arriving = parts.arriving.clone() + &everywhere("arrived");
    let mut chains = vec![
        ("arriving", "filter hook prerouting priority -310", arriving),
        (
            "checks",
            "filter hook prerouting priority -305",
            parts.checks.clone(),
        ),
        (
            "destinations",
            "nat hook prerouting priority -100",
            parts.destinations.clone(),
        ),
        (
            "sources",
            "nat hook postrouting priority 100",
            parts.sources.clone(),
        ),
        (
            "forwarding",
            "filter hook forward priority 0",
            parts.forward.clone(),
        ),
        (
            "inward",
            "filter hook input priority 0",
            parts.input.clone(),
        ),
        (
            "passing",
            "filter hook forward priority 50",
            everywhere("passed"),
        ),
        ("taking", "filter hook input priority 50", seen("taken")),
    ];
    chains.retain(|(_, _, rules)| !rules.is_empty());
    chains
}

struct Gate<'a> {
    site: &'a Site,
    router: RouterId,
    devices: &'a [String],
}

impl Gate<'_> {
    fn fill(&self, filter: &Filter, parts: &mut Parts) {
        parts.input.push_str(NEIGHBOURS);
        if filter.stateful {
            // A message that tells of no known packet is invalid for the kernel; here the rules decide about it. An
            // answer that nobody asked for stays invalid.
            let states = format!(
                "ct state established,related add @state {{ {RECORD} }} accept\n\
                 ct state invalid meta l4proto != {{ icmp, icmpv6 }} add @invalid {{ {RECORD} }} drop\n\
                 ct state invalid icmp type echo-reply drop\n\
                 ct state invalid icmpv6 type echo-reply drop\n"
            );
            parts.forward.push_str(&states);
            parts.input.push_str(&states);
            parts
                .sets
                .extend(["state".to_owned(), "invalid".to_owned()]);
        }
        for (number, rule) in filter.rules.iter().enumerate() {
            parts.sets.push(format!("rule{number}"));
            if rule.active(TODAY) {
                self.rule(number, rule, parts);
            }
        }
        parts.sets.push("default".to_owned());
        let last = format!(
            "add @default {{ {RECORD} }} {}\n",
            verdict(filter.default.value)
        );
        parts.forward.push_str(&last);
        parts.input.push_str(&last);
        for line in &filter.destination_translations {
            self.translation(line, "iifname", &mut parts.destinations);
        }
        for line in &filter.source_translations {
            self.translation(line, "oifname", &mut parts.sources);
        }
    }

    fn rule(&self, number: usize, rule: &Rule, parts: &mut Parts) {
        let Some(from) = self.interfaces("iifname", rule.from.as_deref()) else {
            return;
        };
        let conditions = conditions(
            rule.source.as_ref(),
            rule.destination.as_ref(),
            rule.services.as_ref(),
        );
        let end = format!(
            "add @rule{number} {{ {RECORD} }} {}",
            verdict(rule.action.value)
        );
        let inward = rule
            .to
            .as_ref()
            .is_none_or(|to| to.contains(&RuleParty::Gateway));
        let outward = self.interfaces("oifname", rule.to.as_deref());
        for condition in conditions {
            if let Some(to) = &outward {
                writeln!(parts.forward, "{from} {to} {condition} {end}").expect("a string");
            }
            if inward {
                writeln!(parts.input, "{from} {condition} {end}").expect("a string");
            }
        }
    }

    fn translation(&self, line: &Translation, side: &str, text: &mut String) {
        let interfaces = self.interfaces(side, line.parties.as_deref());
        let Some(interfaces) = interfaces.filter(|_| line.enabled) else {
            return;
        };
        let conditions = conditions(
            line.source.as_ref(),
            line.destination.as_ref(),
            line.services.as_ref(),
        );
        let word = if side == "iifname" { "dnat" } else { "snat" };
        for condition in conditions {
            let end = match (line.target, line.port) {
                (TranslationTarget::Unchanged, _) => "accept".to_owned(),
                (TranslationTarget::Interface, _) => "masquerade".to_owned(),
                (TranslationTarget::Address(address), Some(port)) if address.is_ipv4() => {
                    format!("{word} ip to {address}:{port}")
                }
                (TranslationTarget::Address(address), Some(port)) => {
                    format!("{word} ip6 to [{address}]:{port}")
                }
                (TranslationTarget::Address(address), None) if address.is_ipv4() => {
                    format!("{word} ip to {address}")
                }
                (TranslationTarget::Address(address), None) => format!("{word} ip6 to {address}"),
            };
            writeln!(text, "{interfaces} {condition} {end}").expect("a string");
        }
    }

    /// The condition that some parties make on an interface; `None`: no interface fits.
    fn interfaces(&self, side: &str, parties: Option<&[RuleParty]>) -> Option<String> {
        let Some(parties) = parties else {
            return Some(String::new());
        };
        let interfaces = self.site.router(self.router).interfaces.iter();
        let fits = |segment| {
            parties.iter().any(|party| match party {
                RuleParty::Segment(named) => *named == segment,
                RuleParty::Zone(zone) => self.site.segment(segment).zone == *zone,
                RuleParty::Gateway => false,
            })
        };
        let names: Vec<&str> = interfaces
            .zip(self.devices)
            .filter(|(interface, _)| fits(interface.segment))
            .map(|(_, name)| name.as_str())
            .collect();
        (!names.is_empty()).then(|| format!("{side} {{ {} }}", names.join(", ")))
    }
}

fn verdict(action: Action) -> &'static str {
    match action {
        Action::Permit => "accept",
        Action::Deny => "drop",
        Action::Reject => "reject with icmpx admin-prohibited",
    }
}

/// One condition for each family and service.
fn conditions(
    source: Option<&AddressMatch>,
    destination: Option<&AddressMatch>,
    services: Option<&ServiceMatch>,
) -> Vec<String> {
    let sides = [("saddr", source), ("daddr", destination)];
    let addresses: Vec<String> = if sides.iter().all(|(_, side)| side.is_none()) {
        vec![String::new()]
    } else {
        Family::ALL
            .into_iter()
            .filter_map(|family| in_family(&sides, family))
            .collect()
    };
    let services: Vec<String> = match services {
        None => vec![String::new()],
        Some(services) => services.services.iter().map(service).collect(),
    };
    let both = addresses.iter().flat_map(|address| {
        services
            .iter()
            .map(move |service| format!("{address} {service}"))
    });
    both.collect()
}

fn in_family(sides: &[(&str, Option<&AddressMatch>)], family: Family) -> Option<String> {
    let word = match family {
        Family::V4 => "ip",
        Family::V6 => "ip6",
    };
    let mut text = format!(
        "meta nfproto {}",
        if family == Family::V4 { "ipv4" } else { "ipv6" }
    );
    for (field, side) in sides {
        if let Some(side) = side {
            let set: &AddressSet = &side.set;
            let parts: Vec<String> = set
                .of(family)
                .intervals()
                .iter()
                .map(|&part| show_interval(family, part))
                .collect();
            if parts.is_empty() {
                return None;
            }
            if *set.of(family) == family.full() {
                continue;
            }
            write!(text, " {word} {field} {{ {} }}", parts.join(", ")).expect("a string");
        }
    }
    Some(text)
}

fn service(service: &Service) -> String {
    match service {
        Service::Any => String::new(),
        Service::Whole(protocol) => format!("meta l4proto {}", protocol.0),
        Service::Ports {
            protocol,
            source,
            destination,
        } => {
            let mut text = format!("meta l4proto {}", protocol.0);
            for (field, set) in [("sport", source), ("dport", destination)] {
                if *set != IntervalSet::range(0, 65_535) {
                    write!(text, " th {field} {{ {} }}", numbers(set)).expect("a string");
                }
            }
            text
        }
        Service::Message {
            protocol,
            kind,
            code,
        } => {
            let name = if protocol.0 == 1 { "icmp" } else { "icmpv6" };
            let code = code.map_or(String::new(), |code| format!(" {name} code {code}"));
            format!("{name} type {kind}{code}")
        }
    }
}

fn numbers(set: &IntervalSet) -> String {
    let parts = set.intervals().iter().map(|part| {
        if part.low() == part.high() {
            part.low().to_string()
        } else {
            format!("{}-{}", part.low(), part.high())
        }
    });
    let parts: Vec<String> = parts.collect();
    parts.join(", ")
}
