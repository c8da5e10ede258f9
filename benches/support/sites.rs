//! Large sites, as text: one filtering gateway with many segments and many rules.
//!
//! Rules are shaped as those of real lists are (common practice, no source): most name zones, hosts and
//! groups, a few say "any", the last denies.

/// What to draw.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Rules of the gateway, the last included.
    pub rules: usize,
    /// Segments besides the internet; at most 16,384.
    pub segments: usize,
    /// Whether every segment has an IPv6 prefix too, and every object IPv6 addresses.
    pub dual: bool,
    /// The same seed gives the same site.
    pub seed: u64,
}

/// Zones besides the internet.
const ZONES: usize = 10;

/// Ports that the services of the site use, and whether over UDP too.
const PORTS: [(u16, bool); 40] = [
    (20, false),
    (21, false),
    (22, false),
    (25, false),
    (49, false),
    (53, true),
    (67, true),
    (69, true),
    (80, false),
    (88, true),
    (102, false),
    (110, false),
    (123, true),
    (135, false),
    (139, false),
    (143, false),
    (161, true),
    (162, true),
    (389, true),
    (443, true),
    (445, false),
    (502, false),
    (514, true),
    (587, false),
    (636, false),
    (853, false),
    (873, false),
    (993, false),
    (1433, false),
    (1812, true),
    (1883, false),
    (2049, true),
    (3306, false),
    (3389, false),
    (4840, false),
    (5060, true),
    (5432, false),
    (8080, false),
    (20000, false),
    (47808, true),
];

/// The text of a large site.
pub fn large_site(size: Size) -> String {
    site(size, false)
}

/// The same with rules that name less: every third no zone, or any address, or every service. Such lists are harder (common
/// practice, no source: lists that grew for years have many such rules).
#[allow(dead_code, reason = "asked by some benches")]
pub fn dense_site(size: Size) -> String {
    site(size, true)
}

fn site(size: Size, dense: bool) -> String {
    let mut draw = Draw {
        state: size.seed,
        size,
        dense,
    };
    let mut text = String::with_capacity(size.rules * 200 + size.segments * 300);
    text.push_str("[site]\nname = \"Kettle Lane Brewery, grown large\"\n");
    write_segments(&mut text, size);
    write_objects(&mut text, &mut draw);
    write_gateway(&mut text, size);
    for number in 0..size.rules.saturating_sub(1) {
        draw.write_rule(&mut text, number);
    }
    push(
        &mut text,
        "[[gateways.edge.rules]]\nname = \"everything else\"\naction = \"deny\"\nlog = true\n",
    );
    text
}

fn write_segments(text: &mut String, size: Size) {
    push(
        text,
        "[zones.internet]\ntrust = 0\n[segments.internet]\nzone = \"internet\"\nexternal = true\n",
    );
    push(text, "prefixes = [\"203.0.113.0/24\"");
    push(
        text,
        if size.dual {
            ", \"2001:db8:ffff::/64\"]\n"
        } else {
            "]\n"
        },
    );
    for zone in 0..ZONES.min(size.segments) {
        push(
            text,
            &format!("[zones.zone{zone}]\ntrust = {}\n", 10 + 8 * zone),
        );
    }
    for segment in 0..size.segments {
        let zone = segment % ZONES;
        let prefix = network(segment);
        push(
            text,
            &format!(
                "[segments.net{segment}]\nzone = \"zone{zone}\"\nprefixes = [\"{prefix}.0/24\""
            ),
        );
        if size.dual {
            push(text, &format!(", \"fd44:0:0:{segment:x}::/64\""));
        }
        push(text, "]\n");
    }
}

/// Address groups, each of a few hosts, or of whole segments.
fn write_objects(text: &mut String, draw: &mut Draw) {
    push(
        text,
        "[services]\nbrowsing = [\"tcp/80\", \"tcp/443\"]\nlookup = [\"tcp/53\", \"udp/53\"]\n",
    );
    push(
        text,
        "probing = [\"icmp/8\", \"icmpv6/128\"]\n[addresses]\n",
    );
    for group in 0..draw.groups() {
        let count = 1 + draw.below(6);
        let items: Vec<String> = (0..count)
            .map(|_| draw.object_in_zone(group % ZONES))
            .collect();
        push(text, &format!("group{group} = [{}]\n", items.join(", ")));
    }
}

fn write_gateway(text: &mut String, size: Size) {
    push(text, "[gateways.edge]\ndefault = \"deny\"\n");
    push(
        text,
        "[gateways.edge.interfaces.internet]\nsegment = \"internet\"\naddresses = [\"203.0.113.2/24\"",
    );
    push(
        text,
        if size.dual {
            ", \"2001:db8:ffff::2/64\"]\n"
        } else {
            "]\n"
        },
    );
    for segment in 0..size.segments {
        let prefix = network(segment);
        push(
            text,
            &format!("[gateways.edge.interfaces.net{segment}]\nsegment = \"net{segment}\"\n"),
        );
        push(text, &format!("addresses = [\"{prefix}.1/24\""));
        if size.dual {
            push(text, &format!(", \"fd44:0:0:{segment:x}::1/64\""));
        }
        // One in ten left as devices are delivered.
        let check = if segment % 10 == 9 { "off" } else { "strict" };
        push(text, &format!("]\nsource_check = \"{check}\"\n"));
    }
    push(
        text,
        "[[gateways.edge.routes]]\nto = \"default\"\nvia = \"203.0.113.1\"\n",
    );
    if size.dual {
        push(
            text,
            "[[gateways.edge.routes]]\nto = \"default\"\nvia = \"2001:db8:ffff::1\"\n",
        );
    }
}

/// Where random choices come from.
struct Draw {
    state: u64,
    size: Size,
    /// Whether many rules name little.
    dense: bool,
}

impl Draw {
    /// SplitMix64 (*Fast splittable pseudorandom number generators*, OOPSLA 2014).
    fn below(&mut self, end: usize) -> usize {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) % end as u64) as usize
    }

    fn percent(&mut self, chance: usize) -> bool {
        self.below(100) < chance
    }

    /// How many groups there are: as many for each zone.
    fn groups(&self) -> usize {
        (self.size.rules / 20).clamp(10, 1000) / ZONES * ZONES
    }

    fn write_rule(&mut self, text: &mut String, number: usize) {
        push(
            text,
            &format!("[[gateways.edge.rules]]\nname = \"rule {number}\"\n"),
        );
        self.write_end(text, "from", "source");
        self.write_end(text, "to", "destination");
        if !self.percent(if self.dense { 14 } else { 5 }) {
            let count = [1, 1, 1, 2, 3][self.below(5)];
            let services: Vec<String> = (0..count).map(|_| self.service()).collect();
            push(text, &format!("services = [{}]\n", services.join(", ")));
        }
        let action = if self.percent(85) { "permit" } else { "deny" };
        push(text, &format!("action = \"{action}\"\n"));
    }

    /// One side of a rule: mostly a zone and an object in it. One rule in fourteen names an object that
    /// lies elsewhere, as happens when networks move.
    fn write_end(&mut self, text: &mut String, place: &str, addresses: &str) {
        if self.percent(12) {
            return push(text, &format!("{place} = [\"zone:internet\"]\n"));
        }
        let segment = self.below(self.size.segments);
        if self.dense && self.percent(30) {
            return self.write_dense(text, addresses, segment);
        }
        match self.below(100) {
            0..5 => {}
            5..75 => push(
                text,
                &format!("{place} = [\"zone:zone{}\"]\n", segment % ZONES),
            ),
            _ => push(text, &format!("{place} = [\"net{segment}\"]\n")),
        }
        let object = if self.percent(7) {
            self.below(self.size.segments)
        } else {
            segment
        };
        let items = match self.below(100) {
            0..15 => return,
            15..50 => format!("\"group{}\"", self.group_of(object)),
            _ => self.object(object),
        };
        push(text, &format!("{addresses} = [{items}]\n"));
    }

    /// A side that names no zone: nothing at all, a group, or a whole range of segments.
    fn write_dense(&mut self, text: &mut String, addresses: &str, segment: usize) {
        let items = match self.below(10) {
            0..5 => return,
            5..8 => format!("\"group{}\"", self.group_of(segment)),
            _ if self.size.dual => format!("\"10.{}.0.0/16\", \"fd44::/48\"", segment / 256),
            _ => format!("\"10.{}.0.0/16\"", segment / 256),
        };
        push(text, &format!("{addresses} = [{items}]\n"));
    }

    /// A group of the zone of a segment.
    fn group_of(&mut self, segment: usize) -> usize {
        let zone = segment % ZONES.min(self.size.segments);
        let groups = self.groups() / ZONES;
        zone + ZONES * self.below(groups)
    }

    fn object_in_zone(&mut self, zone: usize) -> String {
        let segments = self.size.segments;
        let in_zone = (segments.saturating_sub(zone)).div_ceil(ZONES);
        let segment = if in_zone == 0 {
            zone % segments
        } else {
            zone + ZONES * self.below(in_zone)
        };
        self.object(segment)
    }

    fn service(&mut self) -> String {
        match self.below(20) {
            0 | 1 => "\"browsing\"".to_owned(),
            2 => "\"lookup\"".to_owned(),
            3 => "\"probing\"".to_owned(),
            4 => {
                let low = 1024 + 100 * self.below(600);
                format!("\"tcp/{low}-{}\"", low + self.below(200))
            }
            _ => {
                let (port, udp) = PORTS[self.below(PORTS.len())];
                let protocol = if udp && self.percent(60) {
                    "udp"
                } else {
                    "tcp"
                };
                format!("\"{protocol}/{port}\"")
            }
        }
    }

    /// A host, a range or all of a segment, in each family that the site has, quoted.
    fn object(&mut self, segment: usize) -> String {
        let (prefix, host) = (network(segment), 2 + self.below(200));
        let (four, six) = match self.below(10) {
            0..6 => (
                format!("{prefix}.{host}"),
                format!("fd44:0:0:{segment:x}::{host:x}"),
            ),
            6 | 7 => {
                let high = host + 1 + self.below(50);
                let six = format!("fd44:0:0:{segment:x}::{host:x}-fd44:0:0:{segment:x}::{high:x}");
                (format!("{prefix}.{host}-{prefix}.{high}"), six)
            }
            _ => (
                format!("{prefix}.0/24"),
                format!("fd44:0:0:{segment:x}::/64"),
            ),
        };
        if self.size.dual {
            format!("\"{four}\", \"{six}\"")
        } else {
            format!("\"{four}\"")
        }
    }
}

/// The first three numbers of a segment's IPv4 prefix.
fn network(segment: usize) -> String {
    format!("10.{}.{}", segment / 256, segment % 256)
}

fn push(text: &mut String, line: &str) {
    text.push_str(line);
}
