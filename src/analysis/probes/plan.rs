//! The test plan.

use std::collections::{BTreeMap, BTreeSet};

use boundwalk_forwarding::{Network, Packet, Sender};
use boundwalk_model::{Family, HostId, SegmentId};

use super::super::party::Endpoint;
use super::candidate::{Candidate, Refused};
use super::cover::cover;
use super::obligation::Obligation;
use super::pick::Picker;
use super::predict::Prediction;
use super::survey::{Ends, Survey, survey};
use super::untouched::{Untouched, Why, denying, permitting};

/// What a plan is for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Asked {
    /// The families.
    pub families: Vec<Family>,
    /// Zones and segments to stand in; empty: every one.
    pub from: Vec<Endpoint>,
    /// Zones, segments and gateways to send to; empty: every one.
    pub to: Vec<Endpoint>,
    /// Whether test devices may be put where none is described. Without them only described hosts send, and only
    /// they and gateways listen.
    pub spare_devices: bool,
}

/// One packet to send.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Probe {
    /// Its number in the plan, from 1.
    pub number: usize,
    /// The packet. Its source port is left to the client unless `pinned`.
    pub packet: Packet,
    /// Whether the source port matters.
    pub pinned: bool,
    /// What is to be expected.
    pub predicted: Prediction,
    /// Where it arrives, or whose address it is for.
    pub to: Endpoint,
    /// What it shows, ascending.
    pub covers: Vec<Obligation>,
}

/// Probes that together touch all that can be touched.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct ProbePlan {
    /// In order of the place to stand.
    pub probes: Vec<Probe>,
    /// How many obligations there are.
    pub required: usize,
    /// Those that no probe touches, ascending. An idle rule is one of them.
    pub untouched: Vec<Untouched>,
    /// Denying rules that are touched by the way, each family apart.
    pub denying_touched: usize,
    /// Denying rules that there are, each family apart.
    pub denying: usize,
    /// False where a limit was met: then more may be touched by a larger plan.
    pub complete: bool,
}

/// Chooses probes.
///
/// Cost: a walk of all services through the rules for each ordered pair of segments, the review of each gateway's
/// rules within its usual bounds, and candidates times probes.
#[must_use]
pub fn plan_probes(network: &Network<'_>, asked: &Asked) -> ProbePlan {
    let mut found = Survey {
        complete: true,
        ..Survey::default()
    };
    for &family in &asked.families {
        let picker = Picker::new(network, family, asked.spare_devices);
        add(&mut found, of_family(&picker, asked));
    }
    let (required, mut why) = required(network, asked, &found);
    let known: BTreeSet<Obligation> = required.iter().copied().collect();
    let taken = cover(&found.candidates, &known);
    let probes = ordered(&found.candidates, &taken);
    let touched: BTreeSet<Obligation> = probes
        .iter()
        .flat_map(|probe| probe.covers.iter().copied())
        .collect();
    let untouched = required
        .iter()
        .filter(|one| !touched.contains(one))
        .map(|&obligation| Untouched {
            obligation,
            why: why
                .remove(&obligation)
                .unwrap_or_else(|| reason(&found, obligation)),
        });
    ProbePlan {
        untouched: untouched.collect(),
        required: required.len(),
        denying_touched: touched.iter().filter(|one| !one.required()).count(),
        denying: denying(network, &asked.families),
        complete: found.complete,
        probes,
    }
}

fn add(all: &mut Survey, more: Survey) {
    all.candidates.extend(more.candidates);
    all.stops.extend(more.stops);
    for (obligation, why) in more.refused {
        all.refused.entry(obligation).or_insert(why);
    }
    all.complete &= more.complete;
}

/// What plain devices of each segment send; and described hosts, where only those may send, or where rules are left
/// that no plain device touches.
fn of_family(picker: &Picker<'_>, asked: &Asked) -> Survey {
    let site = picker.network.site;
    let ends = Ends {
        from: &asked.from,
        to: &asked.to,
    };
    let senders: Vec<Sender> = site
        .segment_ids()
        .filter(|&one| ends.sends(site, one))
        .map(Sender::Segment)
        .collect();
    let mut found = survey(picker, &senders, ends);
    let hosts = || {
        let here = (0..site.hosts.len()).map(HostId).filter(|&host| {
            let mut interfaces = site.host(host).interfaces.iter();
            interfaces.any(|interface| ends.sends(site, interface.segment))
        });
        here.map(Sender::Host).collect::<Vec<_>>()
    };
    let special = (0..site.hosts.len()).any(|host| site.hosts[host].interfaces.len() > 1);
    if !picker.spare_devices || special {
        add(&mut found, survey(picker, &hosts(), ends));
    }
    found
}

/// Everything that is to be touched, ascending, and reasons why some of it cannot be.
fn required(
    network: &Network<'_>,
    asked: &Asked,
    found: &Survey,
) -> (Vec<Obligation>, BTreeMap<Obligation, Why>) {
    let mut why = BTreeMap::new();
    let mut required: Vec<Obligation> = found.stops.iter().copied().collect();
    let limited = !(asked.from.is_empty() && asked.to.is_empty());
    let met: BTreeSet<Obligation> = found
        .candidates
        .iter()
        .flat_map(|candidate| candidate.covers.iter().copied())
        .chain(found.refused.keys().copied())
        .collect();
    for (permits, idle) in permitting(network, &asked.families) {
        // Where only some ends are asked for, other rules are no part of the question.
        if !limited || met.contains(&permits) {
            required.push(permits);
            if idle {
                why.insert(permits, Why::Idle);
            }
        }
    }
    for claim in claims(network, asked, &mut why) {
        if !limited || met.contains(&claim) {
            required.push(claim);
        }
    }
    required.sort_unstable();
    required.dedup();
    (required, why)
}

/// Claims of isolation, both directions.
fn claims(
    network: &Network<'_>,
    asked: &Asked,
    why: &mut BTreeMap<Obligation, Why>,
) -> Vec<Obligation> {
    let site = network.site;
    let mut list = Vec::new();
    for segment in site.segments_claiming_isolation() {
        let has = |segment: SegmentId, family: Family| {
            !network.plan(family).segment(segment).addresses.is_empty()
        };
        let nowhere = asked.families.iter().all(|&family| !has(segment, family));
        for &family in &asked.families {
            let met = site
                .segment_ids()
                .filter(|&other| other != segment)
                .filter(|&other| has(other, family))
                .count()
                > 0;
            let both = [
                Obligation::NothingLeaves(segment, family),
                Obligation::NothingEnters(segment, family),
            ];
            if has(segment, family) || nowhere {
                list.extend(both);
            }
            if !has(segment, family) || !met {
                why.extend(both.map(|one| (one, Why::NoAddresses)));
            }
        }
    }
    list
}

/// Why a required obligation is shown by no candidate.
fn reason(found: &Survey, obligation: Obligation) -> Why {
    match found.refused.get(&obligation) {
        Some(&refused) => Why::from(refused),
        None if !found.complete => Why::Unknown,
        None => match obligation {
            Obligation::Stops { .. } => Why::from(Refused::NoDevice),
            _ => Why::NobodySends,
        },
    }
}

/// Probes in the order in which somebody walks: place, sender's address, family, target.
fn ordered(candidates: &[Candidate], taken: &[usize]) -> Vec<Probe> {
    let mut chosen: Vec<&Candidate> = taken.iter().map(|&at| &candidates[at]).collect();
    chosen.sort_by_key(|candidate| {
        let packet = &candidate.packet;
        (
            candidate.predicted.send_point,
            candidate.predicted.sender,
            Family::of(packet.source),
            packet.source,
            candidate.to,
            packet.destination,
            (packet.protocol, packet.destination_port, packet.source_port),
        )
    });
    let probes = chosen.into_iter().enumerate().map(|(at, candidate)| Probe {
        number: at + 1,
        packet: candidate.packet,
        pinned: candidate.pinned,
        predicted: candidate.predicted.clone(),
        to: candidate.to,
        covers: candidate.covers.clone(),
    });
    probes.collect()
}
