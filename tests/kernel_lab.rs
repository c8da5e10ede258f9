//! Does a real kernel deliver frames and packets as we say, through bridges, bonds, 802.1Q and its packet
//! filter?
//!
//! Each small site becomes network namespaces in one virtual machine without a network device. Probes go from
//! every host address to every other, twice: with real neighbour discovery, and with permanent neighbour
//! entries, which show what one direction alone delivers. In between, every host sends frames with tags
//! of its own choice. What each device recorded must be what the model says: where a probe arrives, who
//! forwards it, which rule decides, whether the answer comes back. And rules that the review of the rules calls
//! dead or irrelevant must have decided nothing. What matrix, expectations, ways round and isolation claim is held
//! against every packet and frame. Test plans are carried out as well: on the network as described nothing differs,
//! and on one that was built otherwise something does.

#[path = "lab/claims.rs"]
mod claims;
#[path = "lab/cpio.rs"]
mod cpio;
#[path = "lab/devices.rs"]
mod devices;
#[path = "lab/drawn.rs"]
mod drawn;
#[path = "lab/filters.rs"]
mod filters;
#[path = "lab/idle_rules.rs"]
mod idle_rules;
#[path = "lab/image.rs"]
mod image;
#[path = "lab/job.rs"]
mod job;
#[path = "lab/judge.rs"]
mod judge;
#[path = "lab/machine.rs"]
mod machine;
#[path = "lab/planned.rs"]
mod planned;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/seeds.rs"]
mod seeds;
#[path = "lab/seen.rs"]
mod seen;
#[path = "support/skipped.rs"]
mod skipped;
#[path = "lab/switches.rs"]
mod switches;
#[path = "lab/topology.rs"]
mod topology;

use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

use job::Job;
use judge::Tally;
use random::Random;
use seeds::seeds;
use skipped::skip;
use topology::Topology;

/// No rule here expires.
const TODAY: Date = Date::constant(2026, 4, 1);

/// How many sites are drawn, and how many with hosts that go ways of their own.
const DRAWN: u64 = 28;
const OWN_WAYS: u64 = 24;

const HEAD: &str = include_str!("lab/sites/head.toml");

macro_rules! sites {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("lab/sites/", $name, ".toml")))),*]
    };
}

/// Sites made by hand; the names say the point.
const SITES: &[(&str, &str)] = sites![
    "clean",
    "wrong-pvid",
    "native-mismatch",
    "two-tag-hop",
    "dual-homed-no",
    "dual-homed-routes",
    "isolated-management",
    "lag-with-untagged",
    "private-ports",
    "tagged-host",
    "unaware-between",
    "both-families",
    "translation",
    "own-addresses",
    "tagged-one-end",
    "missing-at-far-end",
    "shared-vlans",
    "bridging-host",
    "twin-vlans",
    "hairpin-two-gateways",
    "private-by-default",
    "two-subnets-one-port",
    "known-by-request",
];

#[test]
fn a_kernel_delivers_what_the_model_says() {
    if let Some(reason) = machine::missing() {
        skip("a kernel", &reason);
        return;
    }
    let sites = sites();
    let laid: Vec<(&str, Topology<'_>, Job)> = sites
        .iter()
        .map(|(name, site)| {
            let topology = Topology::new(site);
            let job = Job::new(&topology);
            (name.as_str(), topology, job)
        })
        .collect();
    let trials = planned::trials(&only());
    let built = planned::laid(&trials);
    let jobs = laid
        .iter()
        .map(|(_, topology, job)| (topology, job))
        .chain(built.iter().map(|(topology, job)| (topology, job)));
    let spelled: Vec<_> = jobs.map(|(topology, job)| job.spell(topology)).collect();
    let lines = machine::run(
        serde_json::to_string(&spelled)
            .expect("plain data")
            .as_bytes(),
    );
    let sights = seen::read(&lines);
    assert_eq!(
        sights.len(),
        laid.len() + built.len(),
        "one sight a topology"
    );
    let mut tally = Tally::default();
    let mut report = String::new();
    let mut ruled = [0; 2];
    let mut compared = claims::Compared::new();
    for ((name, topology, job), sight) in laid.iter().zip(&sights) {
        let network = Network::new(topology.site, TODAY);
        for line in judge::differences(topology, &network, job, sight, &mut tally) {
            report.push_str(&format!("{name}: {line}\n"));
        }
        for line in claims::contradicted(topology, &network, job, sight, &mut compared) {
            report.push_str(&format!("{name}: {line}\n"));
        }
        let (lines, counts) = idle_rules::that_decided(&network, sight);
        ruled = [0, 1].map(|at| ruled[at] + counts[at]);
        for line in lines {
            report.push_str(&format!("{name}: {line}\n"));
        }
    }
    report.push_str(&planned::report(&trials, &built, &sights[laid.len()..]));
    assert!(report.is_empty(), "{report}\n{tally:?}\n{compared:#?}");
    if only().is_empty() {
        assert_varied(&tally);
        claims::assert_varied(&compared);
        let [idle, decided] = ruled;
        assert!(
            5 < idle && 30 < decided,
            "{idle} idle rules, {decided} that decided"
        );
        planned::assert_varied(&trials);
    }
}

/// A lab in which nothing happens proves nothing.
fn assert_varied(tally: &Tally) {
    let enough = 3_000 < tally.probes
        && 1_000 < tally.delivered
        && 800 < tally.answered
        && 100 < tally.one_way
        && 1_000 < tally.denied
        && 500 < tally.frames_taken
        && 500 < tally.free_ports
        && 200 < tally.messages_taken
        && 80 < tally.messages_answered
        && tally.uncertain * 50 < tally.probes;
    assert!(enough, "{tally:?}");
}

/// What names of sites must hold to be taken.
fn only() -> String {
    std::env::var("BOUNDWALK_LAB_SITE").unwrap_or_default()
}

/// Sites made by hand and drawn ones. `BOUNDWALK_LAB_SITE=native` takes those with that in their name,
/// `BOUNDWALK_SITES=200` draws so many.
fn sites() -> Vec<(String, Site)> {
    let only = only();
    let mut texts: Vec<(String, String)> = SITES
        .iter()
        .map(|(name, text)| ((*name).to_owned(), (*text).to_owned()))
        .collect();
    for seed in seeds(DRAWN) {
        let text = drawn::site(&mut Random::new(seed), false);
        texts.push((format!("drawn-{seed}"), text));
    }
    for seed in seeds(OWN_WAYS) {
        let text = drawn::site(&mut Random::new(seed), true);
        texts.push((format!("own-ways-{seed}"), text));
    }
    texts.retain(|(name, _)| name.contains(&only));
    let loaded = texts.into_iter().map(|(name, text)| {
        let text = format!("{HEAD}{text}");
        let lines = claims::lines(&load(&name, &text));
        let site = load(&name, &(text + &lines));
        (name, site)
    });
    loaded.collect()
}

fn load(name: &str, text: &str) -> Site {
    let loaded = load_text(name, text);
    let said: Vec<&str> = loaded
        .problems
        .iter()
        .map(|problem| problem.message.as_str())
        .collect();
    loaded
        .site
        .unwrap_or_else(|| panic!("{name}: {said:?}\n{text}"))
}
