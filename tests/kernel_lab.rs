//! Does a real kernel deliver frames and packets as we say, through bridges, bonds, 802.1Q and its packet
//! filter?
//!
//! Each small site becomes network namespaces in one virtual machine without a network device. Probes go from
//! every host address to every other, twice: with real neighbour discovery, and with permanent neighbour
//! entries, which show what one direction alone delivers. In between, every host sends frames with tags
//! of its own choice. What each device recorded must be what the model says: where a probe arrives, who
//! forwards it, which rule decides, whether the answer comes back.

#[path = "lab/cpio.rs"]
mod cpio;
#[path = "lab/devices.rs"]
mod devices;
#[path = "lab/filters.rs"]
mod filters;
#[path = "lab/image.rs"]
mod image;
#[path = "lab/job.rs"]
mod job;
#[path = "lab/judge.rs"]
mod judge;
#[path = "lab/machine.rs"]
mod machine;
#[path = "lab/seen.rs"]
mod seen;
#[path = "lab/switches.rs"]
mod switches;
#[path = "lab/topology.rs"]
mod topology;

use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

use job::Job;
use judge::Tally;
use topology::Topology;

/// No rule here expires.
const TODAY: Date = Date::constant(2026, 4, 1);

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
];

#[test]
fn a_kernel_delivers_what_the_model_says() {
    if let Some(reason) = machine::missing() {
        skip(&reason);
        return;
    }
    let only = std::env::var("BOUNDWALK_LAB_SITE").unwrap_or_default();
    let sites: Vec<(String, Site)> = SITES
        .iter()
        .filter(|(name, _)| name.contains(&only))
        .map(|(name, text)| ((*name).to_owned(), load(name, &format!("{HEAD}{text}"))))
        .collect();
    let laid: Vec<(&str, Topology<'_>, Job)> = sites
        .iter()
        .map(|(name, site)| {
            let topology = Topology::new(site);
            let job = Job::new(&topology, 2, &[]);
            (name.as_str(), topology, job)
        })
        .collect();
    let spelled: Vec<_> = laid.iter().map(|(_, topology, job)| job.spell(topology)).collect();
    let lines = machine::run(serde_json::to_string(&spelled).expect("plain data").as_bytes());
    let sights = seen::read(&lines);
    assert_eq!(sights.len(), laid.len(), "one sight a topology");
    let mut tally = Tally::default();
    let mut report = String::new();
    for ((name, topology, job), sight) in laid.iter().zip(&sights) {
        let network = Network::new(topology.site, TODAY);
        for line in judge::differences(topology, &network, job, sight, &mut tally) {
            report.push_str(&format!("{name}: {line}\n"));
        }
    }
    assert!(report.is_empty(), "{report}\n{tally:?}");
}

fn load(name: &str, text: &str) -> Site {
    let loaded = load_text(name, text);
    let said = loaded.problems.iter().map(|problem| problem.message.as_str());
    let said: Vec<&str> = said.collect();
    loaded.site.unwrap_or_else(|| panic!("{name}: {said:?}\n{text}"))
}

#[allow(
    clippy::print_stderr,
    reason = "whoever runs the tests must see what was not tested"
)]
fn skip(reason: &str) {
    assert!(
        std::env::var("BOUNDWALK_LAB").as_deref() != Ok("require"),
        "the lab is required: {reason}"
    );
    eprintln!("SKIPPED a_kernel_delivers_what_the_model_says: {reason}");
}
