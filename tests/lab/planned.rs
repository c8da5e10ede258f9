//! Test plans, carried out in the virtual machine.
//!
//! The plan is made from the site as described. What the machine builds is that site, or one in which somebody set
//! something else: then the results must not verify, and must name what was changed.

use boundwalk::analysis::probes::{
    Asked, Judgement, Probe, ProbePlan, Trait, Verified, plan_probes, verify,
};
use boundwalk::forwarding::{Network, Packet, Sender};
use boundwalk::load::{Observed, ResultRow, read_results};
use boundwalk::model::{Family, HostId, Site, TCP, UDP};
use boundwalk::render::{ProbesShown, probes_csv};

use crate::drawn;
use crate::job::{FIRST, Job};
use crate::random::Random;
use crate::seen::Sight;
use crate::topology::{Topology, host_space};
use crate::{HEAD, SITES, TODAY, load};

/// Where nothing is changed.
const AS_DESCRIBED: [&str; 8] = [
    "clean",
    "isolated-management",
    "both-families",
    "translation",
    "lag-with-untagged",
    "private-ports",
    "two-tag-hop",
    "own-addresses",
];

/// What somebody set otherwise than described: site, text, what stands there instead, what the results must share.
type Change = (&'static str, &'static str, &'static str, Blame);

/// What the results must point at.
#[derive(Clone, Copy)]
enum Blame {
    /// A rule of the first gateway, by number: a suspect of each row that differs names it.
    Rule(usize),
    /// A segment to stand on.
    From(&'static str),
}

const CHANGED: [Change; 4] = [
    (
        "clean",
        "services = [\"tcp/80\"]\naction = \"permit\"",
        "services = [\"tcp/80\"]\naction = \"deny\"",
        Blame::Rule(0),
    ),
    (
        "clean",
        "action = \"reject\"",
        "action = \"permit\"",
        Blame::Rule(1),
    ),
    (
        "clean",
        "services = [\"udp/53\"]\naction = \"permit\"",
        "services = [\"udp/53\"]\naction = \"permit\"\nenabled = false",
        Blame::Rule(2),
    ),
    // The trunk to the gateway lacks a VLAN.
    (
        "clean",
        "8 = { tagged = [\"office\", \"guest\", \"brewhouse\"] }",
        "8 = { tagged = [\"guest\", \"brewhouse\"] }",
        Blame::From("office"),
    ),
];

/// A site as described, what is built, and the plan.
pub struct Trial {
    name: String,
    site: Site,
    built: Site,
    plan: ProbePlan,
    blame: Option<Blame>,
}

/// How many drawn sites are carried out as described.
const DRAWN: u64 = 10;

/// Those whose name holds a text.
pub fn trials(only: &str) -> Vec<Trial> {
    let by_hand = AS_DESCRIBED
        .iter()
        .map(|name| ((*name).to_owned(), text(name)));
    let drawn = (0..DRAWN).map(|seed| {
        let text = drawn::site(&mut Random::new(seed), true);
        (format!("own-ways-{seed}"), format!("{HEAD}{text}"))
    });
    let alike = by_hand
        .chain(drawn)
        .map(|(name, text)| Trial::new(format!("plan of {name}"), &text, &text, None));
    let changed = CHANGED.iter().map(|(name, old, new, blame)| {
        let described = text(name);
        let built = described.replacen(old, new, 1);
        assert_ne!(described, built, "{name} has no {old}");
        Trial::new(
            format!("{name} with {new}"),
            &described,
            &built,
            Some(*blame),
        )
    });
    let named = |trial: &Trial| trial.name.contains(only);
    alike.chain(changed).filter(named).collect()
}

/// What is built for each, and what is sent there.
pub fn laid(trials: &[Trial]) -> Vec<(Topology<'_>, Job)> {
    let built = trials.iter();
    let built = built.map(|trial| (Topology::new(&trial.built), trial.job()));
    built.collect()
}

/// What is not as it should be, one a line.
pub fn report(trials: &[Trial], built: &[(Topology<'_>, Job)], sights: &[Sight]) -> String {
    let mut report = String::new();
    for ((trial, (topology, job)), sight) in trials.iter().zip(built).zip(sights) {
        for line in trial.wrong(topology, job, sight) {
            report.push_str(&format!("{}: {line}\n", trial.name));
        }
    }
    report
}

/// Plans in which nothing is sent prove nothing.
pub fn assert_varied(trials: &[Trial]) {
    let counts = trials.iter().map(Trial::counts);
    let [arriving, stopped, unsent] =
        counts.fold([0; 3], |all, own| [0, 1, 2].map(|at| all[at] + own[at]));
    assert!(
        10 < arriving && 40 < stopped && unsent * 10 < arriving + stopped,
        "{arriving} {stopped} {unsent}"
    );
}

fn text(name: &str) -> String {
    let mut sites = SITES.iter();
    let (_, text) = sites.find(|(known, _)| *known == name).expect("a site");
    format!("{HEAD}{text}")
}

impl Trial {
    fn new(name: String, described: &str, built: &str, blame: Option<Blame>) -> Self {
        let site = load(&name, described);
        // Hosts and gateways are there; test devices are not.
        let asked = Asked {
            families: Family::ALL.to_vec(),
            from: Vec::new(),
            to: Vec::new(),
            spare_devices: false,
        };
        let plan = plan_probes(&Network::new(&site, TODAY), &asked);
        Self {
            built: load(&name, built),
            site,
            plan,
            name,
            blame,
        }
    }

    /// The probes that the machine can send: by TCP and UDP with a source port of its choice.
    fn sent(&self) -> Vec<(usize, HostId, Packet)> {
        let sent = self
            .plan
            .probes
            .iter()
            .enumerate()
            .filter_map(|(at, probe)| Some((at, sender(probe)?, probe.packet)));
        sent.collect()
    }

    /// How many probes are sent that should arrive, how many that should not, and how many can't be sent here.
    fn counts(&self) -> [usize; 3] {
        let sent = self.sent();
        let arrives =
            |(at, ..): &&(usize, HostId, Packet)| self.plan.probes[*at].predicted.expect.arrives();
        let arriving = sent.iter().filter(arrives).count();
        [
            arriving,
            sent.len() - arriving,
            self.plan.probes.len() - sent.len(),
        ]
    }

    fn job(&self) -> Job {
        let packets = self.sent().into_iter();
        let packets: Vec<(HostId, Packet)> =
            packets.map(|(_, host, packet)| (host, packet)).collect();
        Job::of(&packets)
    }

    /// What is not as it should be once the results are held against the model, one a line.
    fn wrong(&self, topology: &Topology<'_>, job: &Job, sight: &Sight) -> Vec<String> {
        let sent = self.sent();
        assert_eq!(sent.len(), job.probes.len(), "{}", self.name);
        assert_eq!(topology.site.hosts.len(), self.site.hosts.len());
        let mut results: Vec<Option<Observed>> = vec![None; self.plan.probes.len()];
        for ((at, host, _), probe) in sent.iter().zip(&job.probes) {
            assert!(FIRST <= probe.number && probe.packet.destination_port < FIRST);
            results[*at] = Some(observed(sight, probe.number, *host));
        }
        let network = Network::new(&self.site, TODAY);
        let mut rows = self.blank(&network);
        for (row, result) in rows.iter_mut().zip(results) {
            row.result = result;
        }
        let verified = verify(&network, &rows);
        match self.blame {
            None => differing(&verified),
            Some(blame) => self.blamed(&verified, blame),
        }
    }

    /// The plan as a CSV file that nobody has filled in.
    fn blank(&self, network: &Network<'_>) -> Vec<ResultRow> {
        let shown = ProbesShown {
            network,
            plan: &self.plan,
            notes: &[],
        };
        read_results(probes_csv(&shown).as_bytes(), &self.site).expect("what we wrote ourselves")
    }

    /// Why a change was not found, or not for its reason.
    fn blamed(&self, verified: &Verified<'_>, blame: Blame) -> Vec<String> {
        if verified.clean() {
            return vec!["the change is not seen".to_owned()];
        }
        let named = match blame {
            Blame::Rule(rule) => verified.rows.iter().any(|row| {
                let predicted = row.predicted.as_ref().expect("a probe of ours");
                let by = predicted.deciders.iter().any(|(_, by)| *by == Some(rule));
                by && matches!(row.judgement, Judgement::Differs(_))
            }),
            Blame::From(name) => verified.shared.iter().any(|shared| {
                shared.traits.iter().any(|one| match one {
                    Trait::From(segment) => self.site.segment(*segment).name.value == name,
                    _ => false,
                })
            }),
        };
        if named {
            Vec::new()
        } else {
            differing(verified)
        }
    }
}

fn sender(probe: &Probe) -> Option<HostId> {
    let sendable = [TCP, UDP].contains(&probe.packet.protocol) && !probe.pinned;
    match probe.predicted.sender {
        Sender::Host(host) if sendable => Some(host),
        _ => None,
    }
}

fn observed(sight: &Sight, number: u16, from: HostId) -> Observed {
    let Some(seen) = sight.probes.get(&number) else {
        return Observed::Nothing;
    };
    match (
        seen.answered.contains(&host_space(from)),
        seen.taken.is_empty(),
    ) {
        (true, _) => Observed::Answered,
        (false, false) => Observed::Arrived,
        (false, true) => Observed::Nothing,
    }
}

fn differing(verified: &Verified<'_>) -> Vec<String> {
    verified
        .rows
        .iter()
        .filter(|row| matches!(row.judgement, Judgement::Differs(_)))
        .map(|row| format!("{row:?}"))
        .collect()
}
