//! Texts that would do harm or break a layout if they were anything but text, in every place that takes them.

use std::fmt::Write;

/// Markup, quotes, formulas, what formats separate by, pictures of several characters, letters from right to left,
/// a word that no line can hold.
pub const HOSTILE: [&str; 12] = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "\"><b>'bold'</b>",
    "]]></text><script/>",
    "--><!-- &amp; &lt; &#60;",
    "=1+1",
    "@sum(1)|`x`|*y*|[z](javascript:alert(1))",
    "{|<f>} \\n \\l \\\" ; # %% end",
    "\u{1f37a}\u{1f468}\u{1f33e} e\u{301}",
    "\u{5317}\u{4eac}\u{5317}\u{4eac}\u{5317}\u{4eac}\u{5317}\u{4eac}",
    "\u{5e9}\u{5dc}\u{5d5}\u{5dd} \u{645}\u{631}\u{62d}\u{628}\u{627}",
    "longlonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglonglong",
];

/// Keys whose value is a text for people.
const KEYS: [&str; 6] = ["name", "description", "reason", "owner", "ticket", "label"];

/// A text as a string of TOML.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for character in text.chars() {
        match character {
            '"' | '\\' => {
                out.push('\\');
                out.push(character);
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

/// The site with a text behind every text for people that stands on a line of its own or in a table on one line;
/// and how many were changed.
pub fn with_text(site: &str, text: &str) -> (String, usize) {
    let mut out = String::new();
    let mut count = 0;
    let mut table = "";
    for line in site.lines() {
        if line.starts_with('[') {
            table = line;
        }
        let mut line = line.to_owned();
        // The name of an interface is none for people: letters and digits only.
        let keys = KEYS
            .iter()
            .filter(|key| **key != "name" || !table.contains("interfaces"));
        for key in keys {
            let start = format!("{key} = \"");
            let at = line.find(&start).filter(|&at| {
                let before = line[..at].chars().next_back();
                !line.starts_with('#') && before.is_none_or(|c| !c.is_alphanumeric() && c != '_')
            });
            let Some(at) = at.map(|at| at + start.len()) else {
                continue;
            };
            let Some(end) = line[at..].find('"') else {
                continue;
            };
            let old = line[at..at + end].to_owned();
            let new = quoted(&format!("{old} {text}"));
            line.replace_range(at - 1..at + end + 1, &new);
            count += 1;
        }
        out.push_str(&line);
        out.push('\n');
    }
    (out, count)
}

/// A site whose names are as long and wide as names may be: 64 characters of two columns each.
#[allow(dead_code, reason = "not every test that shares this file needs it")]
pub fn widest_names() -> String {
    let name = |kind: char| kind.to_string() + &"\u{5317}".repeat(63);
    let [zone, near, far, edge, switch, port, lag, host] =
        ['z', 'n', 'f', 'g', 's', 'p', 'l', 'h'].map(name);
    let mut out = String::new();
    let _ = write!(
        out,
        r#"
[zones."{zone}"]
trust = 50
[segments."{near}"]
zone = "{zone}"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments."{far}"]
zone = "{zone}"
external = true
prefixes = ["203.0.113.0/29"]
[gateways."{edge}"]
default = "deny"
[gateways."{edge}".lags."{lag}"]
ports = ["{port}", "2"]
lacp = "active"
[gateways."{edge}".interfaces."{far}"]
segment = "{far}"
addresses = ["203.0.113.2/29"]
[gateways."{edge}".interfaces."{near}"]
segment = "{near}"
port = "{lag}"
vlan = 10
addresses = ["10.44.10.1/24"]
[[gateways."{edge}".rules]]
name = "{zone}"
from = "{near}"
to = "{far}"
services = "https"
action = "permit"
[switches."{switch}".lags."{lag}"]
ports = ["{port}", "2"]
lacp = "active"
[switches."{switch}".ports]
"{lag}" = {{ tagged = 10 }}
"3-8" = {{ access = 10 }}
[[links]]
ends = ["{edge}:{port}", "{switch}:{port}"]
label = "{zone}{zone}"
[[links]]
ends = ["{edge}:2", "{switch}:2"]
[hosts."{host}"]
[[hosts."{host}".interfaces]]
segment = "{near}"
port = "{switch}:3"
"#
    );
    out
}
