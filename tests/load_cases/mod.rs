//! Mistakes in site files, one of each kind at least, with the place and words that must be reported.
#![allow(
    dead_code,
    reason = "each test that shares this file uses a part of it"
)]

mod devices;
mod lines;
mod shapes;

/// A sound site that most cases add to.
pub const BASE: &str = r#"
[zones.inside]
trust = 70
[zones.outside]
trust = 0
[segments.brewhouse]
zone = "inside"
vlan = 60
prefixes = ["10.44.60.0/24", "fd44:0:0:60::/64"]
[segments.office]
zone = "inside"
vlan = 20
prefixes = ["10.44.20.0/24"]
[segments.internet]
zone = "outside"
external = true
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
addresses = ["10.44.60.1/24", "fd44:0:0:60::1/64"]
[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.20.1/24"]
[gateways.edge.interfaces.wan]
segment = "internet"
addresses = ["192.0.2.2/30"]
"#;

/// One mistake.
pub struct Case {
    /// Name of the kind.
    pub kind: &'static str,
    /// Added to [`BASE`]. The line after the mistake is a remark with a `^` under its first column, or `#<` for
    /// the first column of all.
    pub text: &'static str,
    /// Part of the message.
    pub message: &'static str,
    /// Part of the help.
    pub help: &'static str,
    /// Whether the schema, too, must refuse the text.
    pub schema: bool,
}

/// A mistake that takes a load to see.
const fn load(
    kind: &'static str,
    text: &'static str,
    message: &'static str,
    help: &'static str,
) -> Case {
    Case {
        kind,
        text,
        message,
        help,
        schema: false,
    }
}

/// A mistake that the schema sees as well.
const fn both(
    kind: &'static str,
    text: &'static str,
    message: &'static str,
    help: &'static str,
) -> Case {
    Case {
        kind,
        text,
        message,
        help,
        schema: true,
    }
}

/// All cases.
pub fn cases() -> impl Iterator<Item = &'static Case> {
    shapes::CASES
        .iter()
        .chain(lines::CASES)
        .chain(devices::CASES)
}

impl Case {
    /// The whole text.
    pub fn site(&self) -> String {
        format!("{BASE}{}", self.text)
    }

    /// Line and column of the mistake, from 1.
    pub fn place(&self) -> (u32, u32) {
        let site = self.site();
        let marked = site.lines().enumerate().find_map(|(number, line)| {
            let column = match line.strip_prefix('#')? {
                "<" => 1,
                rest if rest.trim_start().starts_with('^') => line.find('^')? + 1,
                _ => return None,
            };
            // The mark stands one line below, and lines count from 1.
            Some((number as u32, column as u32))
        });
        marked.unwrap_or_else(|| panic!("no mark in the case {}: {}", self.kind, self.text))
    }
}
