//! Ways to write a site otherwise, and things to add to it.

use std::fmt::Write;

use crate::blocks::{Block, blocks, joined};
use crate::random::Random;

/// What a change does to answers.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Effect {
    /// Nothing.
    Same,
    /// Names are others.
    Renamed,
    /// Something else is there, too; what was there before is as it was.
    Beside,
    /// Nobody reaches less.
    More,
    /// The same of segments: ports that belonged to none may belong to some now.
    MoreOfSegments,
}

/// A change of a text.
pub struct Change {
    pub name: &'static str,
    pub effect: Effect,
    /// The files of the changed site; `None`: there is nothing to do it to.
    pub made: fn(&str, &mut Random) -> Option<Vec<String>>,
}

pub const CHANGES: &[Change] = &[
    Change {
        name: "segments and hosts have other names",
        effect: Effect::Renamed,
        made: with_other_names,
    },
    Change {
        name: "tables stand in another order",
        effect: Effect::Same,
        made: reordered,
    },
    Change {
        name: "the file is a folder of three",
        effect: Effect::Same,
        made: split,
    },
    Change {
        name: "a switch has one more disabled port",
        effect: Effect::Same,
        made: disabled_port,
    },
    Change {
        name: "there is another building",
        effect: Effect::Beside,
        made: twin_building,
    },
    Change {
        name: "all addresses are shifted",
        effect: Effect::Same,
        made: shifted,
    },
    Change {
        name: "there is a service that nobody uses",
        effect: Effect::Same,
        made: unused_service,
    },
    Change {
        name: "a switch has one more live port",
        effect: Effect::More,
        made: live_port,
    },
    Change {
        name: "there is one more cable between switches",
        effect: Effect::MoreOfSegments,
        made: cable,
    },
];

/// A line with other names for the segments and hosts of a text.
pub fn renamed(text: &str, line: &str) -> String {
    let tables = blocks(text);
    let own: Vec<&str> = tables
        .iter()
        .map(Block::path)
        .filter(|path| 2 <= path.len() && ["segments", "hosts"].contains(&path[0]))
        .map(|path| path[1])
        .collect();
    let mut out = String::new();
    let mut word = String::new();
    for letter in line.chars().chain(['\n']) {
        if letter.is_ascii_alphanumeric() || letter == '_' || letter == '-' {
            word.push(letter);
            continue;
        }
        if own.contains(&word.as_str()) {
            out.push_str("old-");
        }
        out.push_str(&word);
        word.clear();
        out.push(letter);
    }
    out.pop();
    out
}

fn with_other_names(text: &str, _: &mut Random) -> Option<Vec<String>> {
    Some(vec![renamed(text, text)])
}

fn shuffle<T>(list: &mut [T], random: &mut Random) {
    for at in (1..list.len()).rev() {
        list.swap(at, random.below(at + 1));
    }
}

/// The tables of each thing together, in their order.
fn things(text: &str) -> Vec<Vec<Block>> {
    let mut things: Vec<Vec<Block>> = Vec::new();
    for block in blocks(text) {
        let thing = block.thing();
        match things.iter_mut().find(|one| one[0].thing() == thing) {
            Some(known) => known.push(block),
            None => things.push(vec![block]),
        }
    }
    things
}

fn reordered(text: &str, random: &mut Random) -> Option<Vec<String>> {
    let mut things = things(text);
    shuffle(&mut things, random);
    for thing in &mut things {
        if thing[0].thing() == "links" {
            shuffle(thing, random);
        }
    }
    Some(vec![joined(&things.concat())])
}

fn split(text: &str, random: &mut Random) -> Option<Vec<String>> {
    let mut files = vec![Vec::new(); 3];
    for thing in things(text) {
        files[random.below(3)].extend(thing);
    }
    Some(files.iter().map(|file| joined(file)).collect())
}

/// Names of the switches of a text.
fn switches(tables: &[Block]) -> Vec<String> {
    tables
        .iter()
        .map(Block::path)
        .filter(|path| path.len() == 2 && path[0] == "switches")
        .map(|path| path[1].to_owned())
        .collect()
}

/// VLANs of segments, each as often as it is used.
fn vlans(tables: &[Block]) -> Vec<String> {
    tables
        .iter()
        .filter(|block| block.path()[0] == "segments")
        .filter_map(|block| block.value("vlan"))
        .map(str::to_owned)
        .collect()
}

/// Adds a port to a switch. VLANs are numbers, so that no segment is named.
fn add_port(tables: &mut [Block], switch: &str, port: &str) -> Option<()> {
    let header = format!("[switches.{switch}.ports]");
    let table = tables.iter_mut().find(|block| block.header == header)?;
    table.lines.push(port.to_owned());
    Some(())
}

/// The ways in which a port may be set, without names of segments.
fn port(name: &str, tables: &[Block], random: &mut Random) -> Option<String> {
    let vlans = vlans(tables);
    if vlans.is_empty() {
        return None;
    }
    let [one, other] = [0, 1].map(|_| random.pick(&vlans).clone());
    Some(match random.below(3) {
        0 => format!("\"{name}\" = {{ pvid = {one}, untagged = [{one}] }}"),
        1 => format!("\"{name}\" = {{ pvid = {one}, untagged = [{one}], ingress_filter = true }}"),
        _ if one == other => format!("\"{name}\" = {{ pvid = \"none\", tagged = [{one}] }}"),
        _ => format!("\"{name}\" = {{ pvid = {one}, untagged = [{one}], tagged = [{other}] }}"),
    })
}

fn one_more_port(text: &str, random: &mut Random, more: &str) -> Option<Vec<String>> {
    let mut tables = blocks(text);
    let switches = switches(&tables);
    if switches.is_empty() {
        return None;
    }
    let switch = random.pick(&switches);
    let port = port("new", &tables, random)?.replace(" }", &format!("{more} }}"));
    let aware = tables.iter().any(|block| {
        block.header == format!("[switches.{switch}]") && block.value("vlan_aware") == Some("false")
    });
    let port = if aware {
        format!("\"new\" = {{ {} }}", more.trim_start_matches(", "))
    } else {
        port
    };
    add_port(&mut tables, switch, &port)?;
    Some(vec![joined(&tables)])
}

fn disabled_port(text: &str, random: &mut Random) -> Option<Vec<String>> {
    one_more_port(text, random, ", enabled = false")
}

fn live_port(text: &str, random: &mut Random) -> Option<Vec<String>> {
    one_more_port(text, random, "")
}

/// Two new ports with a cable between them. Where two segments have one VLAN number, the cable could settle which of
/// them a number means.
fn cable(text: &str, random: &mut Random) -> Option<Vec<String>> {
    let mut tables = blocks(text);
    let (switches, vlans) = (switches(&tables), vlans(&tables));
    let mut numbers = vlans.clone();
    numbers.sort();
    numbers.dedup();
    if switches.len() < 2 || numbers.len() < vlans.len() {
        return None;
    }
    let chosen = random.some(&switches, 2);
    for switch in &chosen {
        let aware = tables.iter().all(|block| {
            block.header != format!("[switches.{switch}]") || block.value("vlan_aware").is_none()
        });
        let port = if aware {
            port("new", &tables, random)?
        } else {
            "\"new\" = {}".to_owned()
        };
        add_port(&mut tables, switch, &port)?;
    }
    let mut text = joined(&tables);
    let [one, other] = &chosen[..] else {
        return None;
    };
    write!(text, "[[links]]\nends = [\"{one}:new\", \"{other}:new\"]\n")
        .expect("a string takes all");
    Some(vec![text])
}

/// A building that no cable joins to the others, with segments of its own. Where the site has one switch, bridging
/// hosts counted, it uses the same VLAN numbers; with several, a number that a part of the site does not name could mean either.
fn twin_building(text: &str, _: &mut Random) -> Option<Vec<String>> {
    let tables = blocks(text);
    let bridges = text.contains("forwards = \"bridges\"");
    let same = switches(&tables).len() == 1 && !bridges;
    let mut numbers: Vec<String> = if same {
        vlans(&tables)
    } else {
        vec!["3001".to_owned(), "3002".to_owned()]
    };
    numbers.sort();
    numbers.dedup();
    let mut text = text.to_owned();
    text.push_str("[zones.twin-zone]\ntrust = 1\n");
    for (at, number) in numbers.iter().enumerate() {
        write!(
            text,
            "[segments.twin-{at}]\nzone = \"twin-zone\"\nvlan = {number}\nprefixes = [\"192.168.{at}.0/24\"]\n"
        )
        .expect("a string takes all");
    }
    text.push_str("[switches.twin-switch.ports]\n");
    for at in 0..numbers.len() {
        writeln!(text, "\"{at}\" = {{ access = \"twin-{at}\" }}").expect("a string takes all");
    }
    Some(vec![text])
}

/// Private addresses moved to other private networks, all alike.
fn shifted(text: &str, _: &mut Random) -> Option<Vec<String>> {
    let mut out = String::new();
    let mut last = ' ';
    let mut rest = text;
    while let Some(letter) = rest.chars().next() {
        let begins = !last.is_ascii_alphanumeric() && last != '.' && last != ':';
        let second = |rest: &str| -> Option<(u32, usize)> {
            let (number, _) = rest.strip_prefix("10.")?.split_once('.')?;
            Some((number.parse().ok()?, "10.".len() + number.len()))
        };
        if let Some((number, length)) = second(rest).filter(|_| begins) {
            write!(out, "10.{}", number + 30).expect("a string takes all");
            rest = &rest[length..];
            last = '0';
            continue;
        }
        if let Some(after) = rest.strip_prefix("fd00:").filter(|_| begins) {
            out.push_str("fd42:");
            rest = after;
            last = ':';
            continue;
        }
        out.push(letter);
        last = letter;
        rest = &rest[letter.len_utf8()..];
    }
    Some(vec![out])
}

fn unused_service(text: &str, _: &mut Random) -> Option<Vec<String>> {
    let mut tables = blocks(text);
    let unused = "unused = [\"tcp/81-500\", \"udp/4000\"]".to_owned();
    match tables.iter_mut().find(|block| block.header == "[services]") {
        Some(table) => table.lines.push(unused),
        None => tables.push(Block {
            header: "[services]".to_owned(),
            lines: vec![unused],
        }),
    }
    Some(vec![joined(&tables)])
}
