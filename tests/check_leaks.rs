//! Where no check of layer 2 has anything to say, does every frame stay in its VLAN?
//!
//! Random small networks, mostly set right, with ports that nobody uses. The oracle is the simulator of single
//! frames, which sends every frame that a hostile device may send from every place where one may stand; the checks
//! look at ports and cables.

#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;

use std::collections::BTreeSet;

use boundwalk::checks::run;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

use frames::{Frames, WiredInterface};

/// Checks that speak of ways from one VLAN into another.
const LEAKS: &[&str] = &[
    "host-off-segment",
    "ingress-filter-off",
    "native-vlan-differs",
    "pvid-not-untagged",
    "segments-joined",
    "tags-on-access-port",
    "two-tag-hop",
    "untagged-in-several",
];

const SEGMENTS: [&str; 3] = ["office", "servers", "guest"];

/// A small generator of numbers (xorshift, Marsaglia 2003), so that a failing case has a number.
struct Dice(u64);

impl Dice {
    fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 33) as usize % sides
    }

    fn one_in(&mut self, sides: usize) -> bool {
        self.roll(sides) == 0
    }

    fn segment(&mut self) -> &'static str {
        SEGMENTS[self.roll(SEGMENTS.len())]
    }

    fn some_segments(&mut self) -> Vec<&'static str> {
        let mut chosen = SEGMENTS.to_vec();
        chosen.retain(|_| self.roll(3) > 0);
        chosen
    }
}

fn quoted(names: &[&str]) -> String {
    let names: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
    format!("[{}]", names.join(", "))
}

/// A port for one device of a segment.
fn device_port(dice: &mut Dice, segment: &str) -> String {
    let other = dice.segment();
    match dice.roll(120) {
        0 => format!("{{ untagged = \"{segment}\" }}"),
        1 if other != segment => format!("{{ untagged = \"{segment}\", tagged = [\"{other}\"] }}"),
        2 => format!("{{ pvid = \"{other}\", untagged = [\"{segment}\"] }}"),
        3 => format!("{{ untagged = [\"{segment}\"], accept = \"untagged\" }}"),
        4 if other != segment => format!(
            "{{ pvid = \"{segment}\", untagged = [\"{segment}\", \"{other}\"], accept = \"untagged\" }}"
        ),
        5 => format!("{{ access = \"{other}\" }}"),
        6 => "{}".to_owned(),
        _ => format!("{{ access = \"{segment}\" }}"),
    }
}

/// One end of a cable that carries several VLANs.
fn trunk_port(dice: &mut Dice) -> String {
    let mut tagged = dice.some_segments();
    let native = dice.segment();
    match dice.roll(16) {
        0 => {
            tagged.retain(|&name| name != native);
            format!(
                "{{ untagged = \"{native}\", tagged = {} }}",
                quoted(&tagged)
            )
        }
        1 => format!("{{ pvid = \"none\", tagged = {} }}", quoted(&tagged)),
        2 => format!("{{ access = \"{native}\" }}"),
        _ if tagged.is_empty() => "{ enabled = false }".to_owned(),
        _ => format!("{{ tagged = {} }}", quoted(&tagged)),
    }
}

/// A port that nobody uses: most are disabled, others as delivered or in a VLAN of no segment.
fn spare_port(dice: &mut Dice) -> &'static str {
    match dice.roll(24) {
        0 => "{}",
        1 => "{ access = 1 }",
        2 => "{ pvid = 1, untagged = [1], ingress_filter = false }",
        3 => "{ access = 99 }",
        4 => "{ pvid = \"none\", tagged = [99], ingress_filter = true }",
        _ => "{ enabled = false }",
    }
}

/// Three switches in a row with three devices each, and now and then a gateway at the first.
/// Some have a bench with a switch without VLANs.
fn random_site(seed: u64) -> String {
    let mut dice = Dice::new(seed);
    let mut text = "[zones.brewery]\ntrust = 50\n".to_owned();
    for (number, name) in SEGMENTS.iter().enumerate() {
        let vlan = (number + 1) * 10;
        text += &format!(
            "[segments.{name}]\nzone = \"brewery\"\nvlan = {vlan}\nprefixes = [\"10.44.{vlan}.0/24\"]\n"
        );
    }
    let mut hosts = String::new();
    let gateway = dice.one_in(2);
    // A switch without VLANs, with a cable to either end of the row.
    let bench = dice.one_in(3);
    for switch in 0..3 {
        text += &format!("[switches.s{switch}.ports]\n");
        for port in 0..3 {
            let segment = dice.segment();
            text += &format!("\"{port}\" = {}\n", device_port(&mut dice, segment));
            hosts += &format!(
                "[[hosts.h{switch}{port}.interfaces]]\nsegment = \"{segment}\"\nport = \"s{switch}:{port}\"\n"
            );
        }
        for trunk in ["up", "down"] {
            if (switch, trunk) == (2, "down") || (switch, trunk) == (0, "up") && !gateway {
                continue;
            }
            text += &format!("\"{trunk}\" = {}\n", trunk_port(&mut dice));
        }
        text += &format!("\"spare\" = {}\n", spare_port(&mut dice));
        if bench && switch != 1 {
            let segment = if dice.one_in(4) {
                dice.segment()
            } else {
                SEGMENTS[0]
            };
            text += &format!("\"bench\" = {}\n", device_port(&mut dice, segment));
        }
    }
    if bench {
        text += "[switches.bench]\nvlan_aware = false\n[switches.bench.ports]\n\"1-3\" = {}\n";
        text += "[[links]]\nends = [\"s0:bench\", \"bench:1\"]\n[[links]]\nends = [\"s2:bench\", \"bench:2\"]\n";
        hosts += "[[hosts.tester.interfaces]]\nsegment = \"office\"\nport = \"bench:3\"\n";
    }
    text += &hosts;
    text +=
        "[[links]]\nends = [\"s0:down\", \"s1:up\"]\n[[links]]\nends = [\"s1:down\", \"s2:up\"]\n";
    if gateway {
        text += "[gateways.edge]\ndefault = \"deny\"\n";
        for (number, name) in SEGMENTS.iter().enumerate() {
            let vlan = (number + 1) * 10;
            let tag = if number == 0 && dice.one_in(6) {
                String::new()
            } else {
                format!("vlan = {vlan}\n")
            };
            text += &format!(
                "[gateways.edge.interfaces.{name}]\nsegment = \"{name}\"\nport = \"1\"\n{tag}\
                 addresses = [\"10.44.{vlan}.1/24\"]\nsource_check = \"strict\"\n"
            );
        }
        text += "[[links]]\nends = [\"s0:up\", \"edge:1\"]\n";
    }
    text
}

/// What a hostile device reaches and should not, each as a sentence.
#[derive(Default)]
struct Leaks {
    /// From where a host is, an interface of another segment.
    between: Vec<String>,
    /// From an unclaimed port, an interface of any.
    unclaimed: Vec<String>,
}

fn leaks(site: &Site) -> Leaks {
    let frames = Frames::new(site);
    let mut leaks = Leaks::default();
    for (_, spot, _, interface) in frames.all_seats() {
        // Gateways are no devices that somebody plugs in.
        let Some(interface @ WiredInterface::Host(..)) = *interface else {
            continue;
        };
        let reach = frames.hostile_at(&BTreeSet::from([*spot]));
        let mut others = reach.interfaces.into_iter();
        let other = others.find(|&other| frames.segment(other) != frames.segment(interface));
        let sentence = other.map(|other| format!("{interface:?} reaches {other:?}"));
        leaks.between.extend(sentence);
    }
    for (group, places) in frames.unclaimed() {
        let reach = frames.hostile_at(&places);
        let sentences = reach.interfaces.iter().take(1);
        let sentences =
            sentences.map(|interface| format!("unclaimed {group:?} reaches {interface:?}"));
        leaks.unclaimed.extend(sentences);
    }
    leaks
}

#[test]
fn where_no_check_fires_every_frame_stays_in_its_vlan() {
    let (mut quiet, mut leaky, mut by_unclaimed) = (0, 0, 0);
    for seed in 1..=3000 {
        let text = random_site(seed);
        let loaded = load_text("random.toml", &text);
        let site = loaded
            .site
            .unwrap_or_else(|| panic!("seed {seed}: {:#?}\n{text}", loaded.problems));
        let network = Network::new(&site, Date::constant(2026, 11, 25));
        let found = run(&network);
        let fired = found.iter().any(|one| LEAKS.contains(&one.check.name));
        let leaks = leaks(&site);
        quiet += usize::from(!fired);
        leaky += usize::from(!leaks.between.is_empty());
        by_unclaimed += usize::from(leaks.between.is_empty() && !leaks.unclaimed.is_empty());
        let leak = leaks.between.iter().chain(&leaks.unclaimed).next();
        if let Some(leak) = leak.filter(|_| !fired) {
            let found: Vec<&str> = found.iter().map(|one| one.message.as_str()).collect();
            panic!("seed {seed}: {leak}, found only {found:#?}\n{text}");
        }
    }
    // All kinds are there in number, else the above says nothing.
    assert!(
        quiet > 150 && leaky > 600 && by_unclaimed > 50,
        "{quiet} quiet, {leaky} leaky, {by_unclaimed} by unclaimed ports alone"
    );
}

#[test]
fn findings_are_the_same_each_time_and_in_order() {
    for seed in 1..=100 {
        let text = random_site(seed);
        let site = load_text("random.toml", &text).site.expect("it loads");
        let network = Network::new(&site, Date::constant(2026, 11, 25));
        let found = run(&network);
        assert_eq!(found, run(&network), "seed {seed}");
        let graver = |pair: &[_]| {
            let [one, other] = pair else { return true };
            let (one, other): (&boundwalk::diagnostic::Finding, _) = (one, other);
            one.severity() >= boundwalk::diagnostic::Finding::severity(other)
        };
        assert!(found.windows(2).all(graver), "seed {seed}");
        for finding in &found {
            assert!(
                !finding.subjects.is_empty() && finding.span.is_some(),
                "seed {seed}"
            );
        }
    }
}
