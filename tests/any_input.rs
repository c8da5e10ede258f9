//! The laws of the fuzz targets on inputs that are almost right: seeds, changed by their own grammar.
//!
//! `BOUNDWALK_SITES` says how many inputs each law gets (300); a failure prints its number, and
//! `BOUNDWALK_FIRST_SITE` repeats it.

#[path = "../fuzz/edits.rs"]
mod edits;
#[path = "../fuzz/grown.rs"]
mod grown;
#[path = "../fuzz/laws.rs"]
mod laws;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/seeds.rs"]
mod seeds;

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use boundwalk::checks::CHECKS;
use boundwalk::load::{FlowOptions, load_text, read_flow_log, read_results, starter};
use boundwalk::render::read_baseline;

use grown::Parts;
use laws::LAWS;
use random::Random;
use seeds::seeds;

/// Pieces that mean something somewhere, and some that mean harm.
const PIECES: [&str; 34] = [
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    "\"",
    "'",
    "\"\"\"",
    "=",
    ",",
    ".",
    "#",
    "\n",
    "\r\n",
    "\\",
    "\u{0}",
    "\u{202e}",
    "\u{200d}",
    "\u{3164}",
    "e\u{301}",
    "-1",
    "0",
    "4094",
    "4095",
    "99999999999999999999",
    "1e309",
    "10.44.10.1/33",
    "::ffff:0:0/96",
    "2026-02-30",
    "any",
    "gateway",
    "tcp/0-65535",
    "\u{1f37a}",
];

/// Seeds of a law.
fn starts(law: &str) -> Vec<Vec<u8>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let demo = |name: &str| {
        fs::read(root.join("policies/kettle-lane").join(name)).expect("a file of the demo")
    };
    match law {
        "load_site" | "answers" | "rule_edits" => {
            CHECKS.iter().map(|registered| registered.check.fires.as_bytes().to_vec()).chain([starter().as_bytes().to_vec()]).collect()
        }
        "flow_log" => vec![
            demo("flows.csv").into_iter().take(4_000).collect(),
            b"{\"sourceIPv4Address\":\"10.44.10.2\",\"destinationIPv4Address\":\"10.44.30.3\",\"protocolIdentifier\":6,\
              \"sourceTransportPort\":49152,\"destinationTransportPort\":443}\n"
                .to_vec(),
            b"tcp 6 431999 ESTABLISHED src=10.44.10.2 dst=10.44.30.3 sport=49152 dport=443 packets=1 bytes=60 \
              src=10.44.30.3 dst=10.44.10.2 sport=443 dport=49152 [ASSURED] mark=0 use=1\n"
                .to_vec(),
        ],
        "results" => vec![
            b"probe,family,from,source,to,destination,protocol,port,expect,rule,gateway,covers,result,remark\n\
              1,IPv4,internet,198.51.100.1,desks,10.20.10.2,tcp,443,nothing,default,edge,\"internet to desks\",nothing,\n\
              2,IPv4,desks,10.20.10.2,guest-wifi,10.20.20.2,icmp,type 8 code 0,nothing,default,edge,,answered,\"late, by hand\"\n"
                .to_vec(),
        ],
        "baseline" => vec![
            b"{\"document\":\"boundwalk-baseline\",\"version\":2,\"findings\":[{\"check\":\"rule-dead\",\"subject\":\"edge \\\"x\\\"\",\
              \"fingerprint\":\"a7450c8459bfa0dee8efef6334b27755\",\
              \"measured\":{\"things\":[\"to servers\"],\"sets\":{\"ports\":[\"21-21\",\"80-90\"]}}}]}"
                .to_vec(),
        ],
        _ => ["office", "desks", "tcp/443", "icmp/8", "[2001:db8::1]:443", "10.0.0.1"].map(|word| word.as_bytes().to_vec()).to_vec(),
    }
}

/// A seed with a few changes: pieces put in, lines and values exchanged with those of another seed, parts left out,
/// doubled or cut off.
fn changed(random: &mut Random, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut text = random.pick(seeds).clone();
    for _ in 0..random.between(1, 5) {
        let at = random.below(text.len() + 1);
        let end = (at + random.below(20)).min(text.len());
        match random.below(7) {
            0 => drop(text.splice(at..at, random.pick(&PIECES).bytes())),
            1 => drop(text.splice(at..end, random.pick(&PIECES).bytes())),
            2 => drop(text.drain(at..end)),
            3 => {
                let part = text[at..end].to_vec();
                drop(text.splice(at..at, part));
            }
            4 => text.truncate(at),
            5 => lines(random, &mut text, seeds),
            _ => values(random, &mut text),
        }
    }
    text
}

/// A line of any seed in the place of one.
fn lines(random: &mut Random, text: &mut Vec<u8>, seeds: &[Vec<u8>]) {
    let other = random.pick(seeds).clone();
    let others: Vec<&[u8]> = other.split(|&byte| byte == b'\n').collect();
    let mut own: Vec<&[u8]> = text.split(|&byte| byte == b'\n').collect();
    let at = random.below(own.len());
    own[at] = others[random.below(others.len())];
    let joined = own.join(&b'\n');
    *text = joined;
}

/// Two values of the text exchanged: what stands behind `=`.
fn values(random: &mut Random, text: &mut Vec<u8>) {
    let own: Vec<Vec<u8>> = text
        .split(|&byte| byte == b'\n')
        .map(<[u8]>::to_vec)
        .collect();
    let holds = |line: &Vec<u8>| line.iter().position(|&byte| byte == b'=');
    let with: Vec<usize> = (0..own.len())
        .filter(|&at| holds(&own[at]).is_some())
        .collect();
    if with.len() < 2 {
        return;
    }
    let (one, two) = (*random.pick(&with), *random.pick(&with));
    let (cut, other) = (holds(&own[one]).unwrap_or(0), holds(&own[two]).unwrap_or(0));
    let mut lines = own.clone();
    lines[one] = [&own[one][..cut], &own[two][other..]].concat();
    lines[two] = [&own[two][..other], &own[one][cut..]].concat();
    *text = lines.join(&b'\n');
}

/// A site changed by its own grammar.
fn grown(parts: &Parts, random: &mut Random, seed: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(seed);
    parts
        .grown(random, &text)
        .map_or_else(|| seed.to_vec(), String::into_bytes)
}

/// Otherwise the laws would only see input that is refused at once.
#[test]
fn seeds_are_taken() {
    let site = load_text("site.toml", starter()).site.expect("the starter");
    let results = starts("results");
    assert_eq!(read_results(&results[0], &site).expect("results").len(), 2);
    let known = String::from_utf8(starts("baseline").remove(0)).expect("UTF-8");
    assert_eq!(read_baseline(&known).expect("a baseline").known.len(), 1);
    for log in starts("flow_log") {
        let read = read_flow_log(log.as_slice(), &FlowOptions::default(), &mut |_| {});
        assert!(read.is_ok_and(|log| log.records > 0));
    }
}

/// Otherwise nothing behind the loader would be asked of them.
#[test]
fn grown_sites_are_often_sites_and_seldom_the_seed() {
    let starts = starts("load_site");
    let parts = Parts::new(starts.iter().filter_map(|seed| str::from_utf8(seed).ok()));
    let same: Vec<Vec<u8>> = starts
        .iter()
        .map(|seed| table(seed).to_string().into_bytes())
        .collect();
    let (mut sites, mut unchanged) = (0, 0);
    for input in 0..400 {
        let mut random = Random::new(input);
        let seed = random.below(starts.len());
        let text = grown(&parts, &mut random, &starts[seed]);
        unchanged += usize::from(table(&text).to_string().into_bytes() == same[seed]);
        let text = String::from_utf8(text).expect("UTF-8");
        sites += usize::from(load_text("site.toml", &text).site.is_some());
    }
    assert!(sites > 70, "{sites} of 400 load");
    assert!(unchanged < 80, "{unchanged} of 400 are as before");
}

fn table(text: &[u8]) -> toml::Table {
    str::from_utf8(text).expect("UTF-8").parse().expect("TOML")
}

#[test]
fn laws_hold_for_inputs_that_are_almost_right() {
    for (name, law) in LAWS {
        let starts = starts(name);
        let parts = Parts::new(starts.iter().filter_map(|seed| str::from_utf8(seed).ok()));
        starts.iter().for_each(|start| law(start));
        for input in seeds(300) {
            let mut random = Random::new(input ^ 0x0fa2_2ed0);
            let text = match name {
                // Texts that are no site say little of answers; half of these are changed by the grammar of sites.
                "load_site" | "answers" | "rule_edits" if input % 2 == 0 => {
                    let seed = random.pick(&starts).clone();
                    grown(&parts, &mut random, &seed)
                }
                _ => changed(&mut random, &starts),
            };
            let held = catch_unwind(AssertUnwindSafe(|| law(&text)));
            assert!(
                held.is_ok(),
                "{name}, input {input}:\n{}",
                String::from_utf8_lossy(&text)
            );
        }
    }
}
