//! Small random gateways as text: few values, so that rules meet.

use super::random::Random;

const SOURCES: [&str; 9] = [
    "10.0.0.2",
    "10.0.0.0/29",
    "10.0.0.0/30",
    "10.0.0.4-10.0.1.3",
    "10.0.0.0/8",
    "10.0.9.1",
    "198.51.100.7",
    "fd00:0:0:1::/126",
    "fd00::2",
];
const TARGETS: [&str; 9] = [
    "10.0.1.2",
    "10.0.1.0/29",
    "10.0.0.3",
    "10.0.2.0/30",
    "203.0.113.2",
    "198.51.100.0/24",
    "10.0.0.1",
    "fd00:0:0:1::2",
    "10.0.1.3-10.0.2.2",
];
const SERVICES: [&str; 10] = [
    "tcp/80",
    "tcp/443",
    "tcp/80-84",
    "tcp/80-90",
    "tcp/85-500",
    "udp/53",
    "tcp",
    "icmp/8",
    "icmpv6",
    "tcp/8080",
];

/// One gateway with up to four segments, some of them with IPv6, and up to nine rules.
pub fn random_gateway(random: &mut Random) -> String {
    let segments = random.between(2, 3);
    let mut text = String::from(
        "[zones.red]\ntrust = 10\n[zones.blue]\ntrust = 60\n[zones.internet]\ntrust = 0\n\
         [segments.internet]\nzone = \"internet\"\nexternal = true\nprefixes = [\"203.0.113.0/29\"]\n",
    );
    let mut interfaces = String::from("[gateways.edge]\n");
    interfaces.push_str(&format!(
        "default = \"{}\"\n",
        random.pick(&["deny", "permit", "reject"])
    ));
    interfaces.push_str("[gateways.edge.interfaces.wan]\nsegment = \"internet\"\naddresses = [\"203.0.113.2/29\"]\n");
    check(&mut interfaces, random);
    for number in 0..segments {
        let six = random.percent(40);
        let zone = random.pick(&["red", "blue"]);
        let (prefix, own) = if six {
            (
                format!("\"10.0.{number}.0/29\", \"fd00:0:0:{number}::/126\""),
                format!("\"10.0.{number}.1/29\", \"fd00:0:0:{number}::1/126\""),
            )
        } else {
            (
                format!("\"10.0.{number}.0/29\""),
                format!("\"10.0.{number}.1/29\""),
            )
        };
        text.push_str(&format!(
            "[segments.net{number}]\nzone = \"{zone}\"\nprefixes = [{prefix}]\n"
        ));
        interfaces.push_str(&format!(
            "[gateways.edge.interfaces.net{number}]\nsegment = \"net{number}\"\naddresses = [{own}]\n"
        ));
        check(&mut interfaces, random);
    }
    text.push_str(&interfaces);
    routes(&mut text, random);
    if random.percent(35) {
        translations(&mut text, random, segments);
    }
    for number in 0..random.between(2, 7) {
        rule(&mut text, random, number, segments);
    }
    if random.percent(40) {
        halves(&mut text, random);
    }
    text
}

fn check(text: &mut String, random: &mut Random) {
    let checks = ["strict", "strict", "loose", "off"];
    text.push_str(&format!("source_check = \"{}\"\n", random.pick(&checks)));
}

fn routes(text: &mut String, random: &mut Random) {
    let mut route = |to: &str, via: &str| {
        text.push_str(&format!("[[gateways.edge.routes]]\nto = \"{to}\"\n{via}\n"));
    };
    if random.percent(80) {
        route("default", "via = \"203.0.113.1\"");
    }
    if random.percent(40) {
        route("10.0.0.0/8", "discard = true");
    }
    if random.percent(30) {
        route("10.0.9.0/30", "via = \"10.0.0.2\"");
    }
}

fn translations(text: &mut String, random: &mut Random, segments: usize) {
    for number in 0..random.between(1, 3) {
        text.push_str(&format!(
            "[[gateways.edge.destination_translations]]\nname = \"line {number}\"\n"
        ));
        if random.percent(60) {
            let from = random.pick(&["internet", "net0", "net1"]);
            text.push_str(&format!("from = [\"segment:{from}\"]\n"));
        }
        let target = random.pick(&["203.0.113.2", "10.0.0.0/29", "198.51.100.7", "10.0.1.2"]);
        text.push_str(&format!("destination = [\"{target}\"]\n"));
        let ports = random.percent(60);
        if ports {
            let services = random.pick(&["tcp/443", "tcp/80-90"]);
            text.push_str(&format!("services = [\"{services}\"]\n"));
        }
        if random.percent(25) {
            text.push_str("unchanged = true\n");
        } else {
            let to = random.pick(&["10.0.1.2", "10.0.0.3", "10.0.0.2"]);
            text.push_str(&format!("to_address = \"{to}\"\n"));
            if ports && random.percent(50) {
                text.push_str("to_port = 8080\n");
            }
        }
        let _ = segments;
    }
}

fn rule(text: &mut String, random: &mut Random, number: usize, segments: usize) {
    text.push_str(&format!(
        "[[gateways.edge.rules]]\nname = \"rule {number}\"\n"
    ));
    let mut parties: Vec<String> = (0..segments).map(|at| format!("segment:net{at}")).collect();
    parties.extend(["zone:red", "zone:blue", "zone:internet"].map(str::to_owned));
    let quoted = |items: &[String]| {
        let items: Vec<String> = items.iter().map(|item| format!("\"{item}\"")).collect();
        items.join(", ")
    };
    if random.percent(55) {
        let count = random.between(1, 2);
        text.push_str(&format!(
            "from = [{}]\n",
            quoted(&random.some(&parties, count))
        ));
    }
    if random.percent(55) {
        parties.push("gateway".to_owned());
        let count = random.between(1, 2);
        text.push_str(&format!(
            "to = [{}]\n",
            quoted(&random.some(&parties, count))
        ));
    }
    for (key, items, chance) in [
        ("source", &SOURCES[..], 45),
        ("destination", &TARGETS[..], 45),
        ("services", &SERVICES[..], 60),
    ] {
        if random.percent(chance) {
            let count = random.between(1, 2);
            let items: Vec<String> = items.iter().map(|item| (*item).to_owned()).collect();
            text.push_str(&format!(
                "{key} = [{}]\n",
                quoted(&random.some(&items, count))
            ));
        }
    }
    let action = random.pick(&["permit", "permit", "deny", "reject"]);
    text.push_str(&format!("action = \"{action}\"\n"));
    if random.percent(6) {
        text.push_str("enabled = false\n");
    }
    if random.percent(6) {
        text.push_str("expires = 2026-01-31\n");
    }
    if random.percent(10) {
        text.push_str("log = true\n");
    }
}

/// Two rules that together name what a third one names.
fn halves(text: &mut String, random: &mut Random) {
    let (key, parts, whole) = *random.pick(&[
        ("services", ["tcp/80-84", "tcp/85-90"], "tcp/80-90"),
        ("source", ["10.0.0.0/30", "10.0.0.4/30"], "10.0.0.0/29"),
        (
            "destination",
            ["10.0.1.0-10.0.1.4", "10.0.1.3-10.0.1.9"],
            "10.0.1.0/29",
        ),
    ]);
    let action = random.pick(&["permit", "deny"]);
    for (number, item) in parts.iter().chain([&whole]).enumerate() {
        text.push_str(&format!(
            "[[gateways.edge.rules]]\nname = \"half {number}\"\n{key} = [\"{item}\"]\naction = \"{action}\"\n"
        ));
    }
}
