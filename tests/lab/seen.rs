//! What the kernel saw, read from the guest's lines.

use std::collections::{BTreeMap, BTreeSet};

use crate::job::FIRST;

/// What became of one probe.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Seen {
    /// Namespace and interface of each arrival.
    pub arrived: BTreeSet<(String, String)>,
    /// Namespaces that forwarded it.
    pub passed: BTreeSet<String>,
    /// The same where it was for the device itself.
    pub reached: BTreeSet<(String, String)>,
    /// Namespaces that it was for.
    pub taken: BTreeSet<String>,
    /// Gateways that decided, and by what: `rule3`, `default`.
    pub decided: BTreeSet<(String, String)>,
    /// Namespaces that its answer came home to.
    pub answered: BTreeSet<String>,
}

/// What one topology saw.
#[derive(Default)]
pub struct Sight {
    pub probes: BTreeMap<u16, Seen>,
    /// Frames by number: namespace and interface of each taker.
    pub frames: BTreeMap<u16, BTreeSet<(String, String)>>,
    /// Messages of ICMP by number: namespaces that took one or an answer to it.
    pub messages: BTreeMap<u16, BTreeSet<String>>,
}

/// One for each topology of the job.
pub fn read(lines: &[String]) -> Vec<Sight> {
    let mut all: Vec<Sight> = Vec::new();
    for line in lines {
        let words: Vec<&str> = line.split(' ').collect();
        match (&words[..], all.last_mut()) {
            (["topology", _], _) => all.push(Sight::default()),
            (["seen", space, set, device, _, source, target], Some(sight)) => {
                let ports = [source, target].map(|word| word.parse().expect("a port"));
                sight.note((space, set, device), ports);
            }
            (["frame", number, space, device], Some(sight)) => {
                let number = number.parse().expect("a number");
                let takers = sight.frames.entry(number).or_default();
                takers.insert(((*space).to_owned(), (*device).to_owned()));
            }
            (["message", number, space], Some(sight)) => {
                let number = number.parse().expect("a number");
                let takers = sight.messages.entry(number).or_default();
                takers.insert((*space).to_owned());
            }
            _ => panic!("the guest says: {line}"),
        }
    }
    all
}

impl Sight {
    fn note(&mut self, (space, set, device): (&str, &str, &str), [source, target]: [u16; 2]) {
        let space = space.to_owned();
        if source < FIRST {
            if set == "taken" {
                self.probes
                    .entry(target)
                    .or_default()
                    .answered
                    .insert(space);
            }
            return;
        }
        let seen = self.probes.entry(source).or_default();
        match set {
            "arrived" => {
                seen.arrived.insert((space, device.to_owned()));
            }
            "passed" => {
                seen.passed.insert(space);
            }
            "taken" => {
                seen.reached.insert((space.clone(), device.to_owned()));
                seen.taken.insert(space);
            }
            _ => {
                seen.decided.insert((space, set.to_owned()));
            }
        }
    }
}
