//! Sites to ask every command about: alternately one that is rich in layer 3 and one that is rich in layer 2.

use std::collections::BTreeMap;
use std::fmt::Write;

use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

use crate::blocks::{Block, blocks, joined};
use crate::random::Random;
use crate::random_fabric::random_fabric;
use crate::random_site::random_site;

/// Random rules expire on the day before this one or on it.
pub const TODAY: Date = Date::constant(2026, 4, 1);
/// Ordered pairs of segments about which lines are written.
const MOST_PAIRS: usize = 20;
const SERVICES: &[&str] = &[
    "\"tcp/80\"",
    "\"udp/53\"",
    "\"tcp/22\", \"tcp/443\"",
    "\"tcp\"",
    "\"icmp/8\", \"icmpv6/128\"",
    "\"any\"",
];

/// The text of a site without needs and expectations; the same for the same seed.
pub fn bare(seed: u64) -> String {
    match seed % 2 {
        0 => random_site(seed),
        _ => addressed(seed),
    }
}

/// The same with needs and expectations about its pairs of segments.
pub fn drawn(seed: u64) -> String {
    let text = bare(seed);
    let lines = lines(seed, &site(&text));
    text + &lines
}

/// The site of a text that must load.
pub fn site(text: &str) -> Site {
    let loaded = load_text("drawn", text);
    let problems = loaded.problems;
    loaded
        .site
        .unwrap_or_else(|| panic!("{problems:#?}\n{text}"))
}

/// What is claimed of an ordered pair of segments, by the first word of the line's name, and what the line demands.
pub const CLAIMS: [(&str, &str); 6] = [
    ("nothing", "permit = \"nothing\""),
    (
        "nothing-hostile",
        "permit = \"nothing\"\nstance = \"hostile\"",
    ),
    ("through", "through = \"gateway\""),
    (
        "through-hostile",
        "through = \"gateway\"\nstance = \"hostile\"",
    ),
    ("isolated", "isolated = true"),
    ("at-least", "permit = \"at-least\""),
];

/// Every claim about pairs of segments, and a need that asks for what `at-least` does.
pub fn lines(seed: u64, site: &Site) -> String {
    let mut random = Random::new(seed ^ 0xa9ee);
    let names: Vec<&String> = site
        .segments
        .iter()
        .map(|segment| &segment.name.value)
        .collect();
    let pairs: Vec<(&String, &String)> = names
        .iter()
        .flat_map(|from| names.iter().map(move |to| (*from, *to)))
        .filter(|(from, to)| from != to)
        .collect();
    let mut text = String::new();
    for (from, to) in random.some(&pairs, MOST_PAIRS) {
        let ends = format!("from = \"{from}\"\nto = \"{to}\"\n");
        let services = *random.pick(SERVICES);
        for (claim, demand) in CLAIMS {
            write!(
                text,
                "[[expectations]]\nname = \"{claim} {from} {to}\"\n{ends}{demand}\n"
            )
            .expect("a string takes all");
            if claim == "at-least" {
                writeln!(text, "services = [{services}]").expect("a string takes all");
            }
        }
        write!(text, "[[needs]]\nname = \"need {from} {to}\"\n{ends}services = [{services}]\nreason = \"drawn\"\n")
            .expect("a string takes all");
    }
    text
}

/// A random fabric in which segments lie in several zones, interfaces have addresses and gateways rules.
fn addressed(seed: u64) -> String {
    let mut random = Random::new(seed ^ 0xadd2);
    let six = random.percent(50);
    let mut tables = blocks(&random_fabric(seed));
    let zones = random.between(1, 4);
    tables.retain(|block| block.header != "[zones.z]");
    for block in &mut tables {
        let header = block.header.clone();
        let path: Vec<&str> = header.trim_matches(['[', ']']).split('.').collect();
        match path[..] {
            ["segments", _] => place(block, &mut random, zones, six),
            ["gateways", _] => policy(block, &mut random),
            _ => {}
        }
    }
    give_addresses(&mut tables, &mut random, six);
    let mut text = String::new();
    for zone in 0..zones {
        writeln!(text, "[zones.z{zone}]\ntrust = {}", 20 * zone).expect("a string takes all");
    }
    text.push_str(&joined(&tables));
    rules(&mut random, &tables, &mut text);
    text
}

/// Puts a segment into one of the zones, and gives it an IPv6 prefix now and then.
fn place(block: &mut Block, random: &mut Random, zones: usize, six: bool) {
    let more = six && random.percent(80);
    for line in &mut block.lines {
        if line.starts_with("zone = ") {
            *line = format!("zone = \"z{}\"", random.below(zones));
        }
        if let Some(prefix) = line.strip_prefix("prefixes = [\"10.").filter(|_| more) {
            let (third, vlan) = prefix.split_once('.').expect("four parts");
            let vlan = vlan.split('.').next().expect("four parts");
            *line =
                format!("prefixes = [\"10.{third}.{vlan}.0/24\", \"fd00:0:{third}:{vlan}::/64\"]");
        }
    }
}

fn policy(block: &mut Block, random: &mut Random) {
    if random.percent(20) {
        block.lines.retain(|line| !line.starts_with("default"));
        block.lines.push("default = \"permit\"".to_owned());
    }
    if random.percent(25) {
        block.lines.push("stateful = false".to_owned());
    }
}

/// Gives most interfaces an address of the segment that they are on.
fn give_addresses(tables: &mut [Block], random: &mut Random, six: bool) {
    let mut prefixes: BTreeMap<String, String> = BTreeMap::new();
    for block in tables.iter() {
        if let (["segments", name], Some(list)) = (&block.path()[..], block.value("prefixes")) {
            prefixes.insert((*name).to_owned(), list.to_owned());
        }
    }
    let mut used = 0;
    for block in tables.iter_mut() {
        let interface = block.path().contains(&"interfaces");
        let Some(segment) = block.value("segment").filter(|_| interface) else {
            continue;
        };
        let list = &prefixes[segment.trim_matches('"')];
        used += 1;
        let mut addresses = Vec::new();
        for prefix in list.trim_matches(['[', ']']).split(", ") {
            let prefix = prefix.trim_matches('"');
            let address = match prefix.split_once("::") {
                Some((network, _)) => format!("\"{network}::{used:x}/64\""),
                None => format!("\"{}\"", prefix.replace(".0/24", &format!(".{used}/24"))),
            };
            if random.percent(92) && (six || !address.contains(':')) {
                addresses.push(address);
            }
        }
        if !addresses.is_empty() {
            block
                .lines
                .push(format!("addresses = [{}]", addresses.join(", ")));
        }
    }
}

/// A few rules for each gateway.
fn rules(random: &mut Random, tables: &[Block], text: &mut String) {
    let gateways = tables.iter().map(Block::path);
    let gateways = gateways.filter(|path| path.len() == 2 && path[0] == "gateways");
    for gateway in gateways.map(|path| path[1]) {
        let interfaces = tables.iter().filter(|block| {
            matches!(block.path()[..], ["gateways", owner, "interfaces", _] if owner == gateway)
        });
        let segments: Vec<&str> = interfaces
            .filter_map(|block| block.value("segment"))
            .collect();
        for number in 0..random.below(5) {
            writeln!(
                text,
                "[[gateways.{gateway}.rules]]\nname = \"rule {number}\""
            )
            .expect("a string takes all");
            for key in ["from", "to"] {
                if random.percent(75) {
                    let segment = random.pick(&segments);
                    writeln!(text, "{key} = [{segment}]").expect("a string takes all");
                }
            }
            if random.percent(75) {
                writeln!(text, "services = [{}]", random.pick(SERVICES))
                    .expect("a string takes all");
            }
            let action = *random.pick(&["permit", "permit", "permit", "deny"]);
            writeln!(text, "action = \"{action}\"").expect("a string takes all");
        }
    }
}
