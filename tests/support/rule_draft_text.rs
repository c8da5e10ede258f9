//! Drafts of gateways written as site files.

use std::fmt::Write;

use super::rule_draft::{Draft, Drawn, Item, Leg, Line};

impl Draft {
    /// The site file.
    pub fn text(&self) -> String {
        let mut text = String::new();
        for (trust, zone) in ["outside", "red", "blue"].into_iter().enumerate() {
            if self.legs.iter().any(|leg| leg.zone == zone) {
                put(
                    &mut text,
                    &format!("[zones.{zone}]\ntrust = {}", 20 * trust),
                );
            }
        }
        for leg in &self.legs {
            segment(&mut text, leg);
        }
        put(
            &mut text,
            &format!("[gateways.edge]\ndefault = \"{}\"", self.default),
        );
        for leg in &self.legs {
            interface(&mut text, leg);
        }
        for route in &self.routes {
            put(
                &mut text,
                &format!("[[gateways.edge.routes]]\nto = \"{}\"", route.to.text),
            );
            match route.via {
                Some((_, via)) => put(&mut text, &format!("via = \"{via}\"")),
                None => put(&mut text, "discard = true"),
            }
        }
        for (number, line) in self.lines.iter().enumerate() {
            translation(&mut text, number, line);
        }
        for (number, drawn) in self.rules.iter().enumerate() {
            rule(&mut text, number, drawn);
        }
        text
    }
}

fn put(text: &mut String, line: &str) {
    writeln!(text, "{line}").expect("a string takes all");
}

fn list<'a>(text: &mut String, key: &str, items: impl Iterator<Item = &'a str>) {
    let items: Vec<String> = items.map(|item| format!("\"{item}\"")).collect();
    if !items.is_empty() {
        put(text, &format!("{key} = [{}]", items.join(", ")));
    }
}

fn addresses(text: &mut String, key: &str, items: &[Item]) {
    list(text, key, items.iter().map(|item| item.text.as_str()));
}

fn segment(text: &mut String, leg: &Leg) {
    put(
        text,
        &format!("[segments.{}]\nzone = \"{}\"", leg.segment, leg.zone),
    );
    if leg.external {
        put(text, "external = true");
    }
    list(
        text,
        "prefixes",
        leg.own.iter().map(|(prefix, _)| prefix.text.as_str()),
    );
}

fn interface(text: &mut String, leg: &Leg) {
    let name = leg.segment;
    put(
        text,
        &format!("[gateways.edge.interfaces.{name}]\nsegment = \"{name}\""),
    );
    let own: Vec<String> = leg
        .own
        .iter()
        .map(|(prefix, own)| {
            let (_, length) = prefix.text.split_once('/').expect("a prefix");
            format!("{}/{length}", own.text)
        })
        .collect();
    list(text, "addresses", own.iter().map(String::as_str));
    put(text, &format!("source_check = \"{}\"", leg.check));
}

fn translation(text: &mut String, number: usize, line: &Line) {
    put(
        text,
        &format!("[[gateways.edge.destination_translations]]\nname = \"line {number}\""),
    );
    list(text, "from", line.from.iter().map(String::as_str));
    addresses(text, "source", &line.source);
    addresses(text, "destination", &line.destination);
    list(
        text,
        "services",
        line.services.iter().map(|service| service.text),
    );
    match &line.target {
        Some(target) => put(text, &format!("to_address = \"{}\"", target.text)),
        None => put(text, "unchanged = true"),
    }
    if let Some(port) = line.port {
        put(text, &format!("to_port = {port}"));
    }
    if !line.enabled {
        put(text, "enabled = false");
    }
}

fn rule(text: &mut String, number: usize, drawn: &Drawn) {
    put(
        text,
        &format!("[[gateways.edge.rules]]\nname = \"rule {number}\""),
    );
    list(text, "from", drawn.from.iter().map(String::as_str));
    list(text, "to", drawn.to.iter().map(String::as_str));
    addresses(text, "source", &drawn.source);
    addresses(text, "destination", &drawn.destination);
    list(
        text,
        "services",
        drawn.services.iter().map(|service| service.text),
    );
    put(text, &format!("action = \"{}\"", drawn.action));
    if !drawn.enabled {
        put(text, "enabled = false");
    }
    if let Some(day) = drawn.expires {
        put(text, &format!("expires = {day}"));
    }
}
