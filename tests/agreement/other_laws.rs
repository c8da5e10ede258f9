//! Laws about test plans, about limits turned low and about changes.

use boundwalk::analysis::change::{ReachChange, Spot, reach_change};
use boundwalk::analysis::intent::IntentStatus;
use boundwalk::analysis::probes::Expect;
use boundwalk::analysis::{Cell, Endpoint, HostileReach, IsolationVerdict, flows};
use boundwalk::forwarding::{Network, Outcome, Place, Trace, class_of, trace};
use boundwalk::model::{Family, SegmentId};
use boundwalk::packet::Region;

use crate::blocks::{blocks, joined};
use crate::drawn::{TODAY, site};
use crate::facts::Facts;
use crate::law::{Compared, Law};
use crate::random::Random;

pub const LAWS: &[Law] = &[
    Law {
        name: "a probe does what single packets do, and its cell says so",
        holds: probes,
    },
    Law {
        name: "with a low limit every answer is that of a high one, or unknown",
        holds: limits,
    },
    Law {
        name: "a site that did not change opens and closes nothing",
        holds: unchanged,
    },
    Law {
        name: "what a change opens and closes is what the flows of both versions differ in",
        holds: changes,
    },
];

fn probes(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for probe in &facts.probes.probes {
        let predicted = &probe.predicted;
        let traces = trace(facts.network, predicted.sender, &probe.packet);
        let says = || format!("{probe:#?} {traces:#?}");
        let arrived = |trace: &&Trace| matches!(trace.outcome, Outcome::Delivered(_));
        let answers = |trace: &Trace| trace.reply.as_ref().is_some_and(|reply| reply.two_way());
        let arrive = traces.iter().filter(arrived).count();
        compared.so(!traces.is_empty(), says)?;
        match predicted.expect {
            Expect::Answered => compared.so(traces.iter().all(answers), says)?,
            Expect::Arrives => compared.so(arrive == traces.len(), says)?,
            Expect::Nothing | Expect::Rejected => compared.so(arrive == 0, says)?,
        }
        let to = match predicted.place {
            Some(Place::Segment(to)) if to != predicted.send_point => Endpoint::Segment(to),
            Some(Place::Router(to)) => Endpoint::Device(to),
            _ => continue,
        };
        let family = Family::of(probe.packet.source);
        let class = class_of(facts.network, &probe.packet);
        let cell = facts.cell(family, Endpoint::Segment(predicted.send_point), to);
        let cell = cell.expect("a probe is between parties of the matrix");
        let held = cell.some.contains(class);
        let known = held || cell.complete();
        compared.same(Some(true), known.then_some(held), || {
            format!("{probe:#?} {cell:#?}")
        })?;
    }
    compared.made()
}

fn limits(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    let Some(full) = facts.full else {
        return Ok(0);
    };
    for (family, from, to, cell) in facts.cells() {
        let Some(all) = full.cell(family, from, to) else {
            return Err(format!(
                "{from:?} to {to:?} has a cell with a low limit only"
            ));
        };
        compared.so(bounded(cell, all), || {
            format!("{from:?} to {to:?}: {cell:#?} {all:#?}")
        })?;
    }
    for (family, from, to, all) in full.cells() {
        let shown = facts.cell(family, from, to).is_some();
        let says = || format!("{from:?} to {to:?} is not shown: {all:#?}");
        compared.so(shown, says)?;
    }
    for ((name, one), (_, other)) in facts.lines().zip(full.lines()) {
        let same = match (one, other) {
            (IntentStatus::Unknown(_), IntentStatus::Vacuous) => false,
            (IntentStatus::Unknown(_), _) => true,
            (IntentStatus::Broken(_), IntentStatus::Broken(_)) => true,
            (one, other) => one == other,
        };
        compared.so(same, || format!("{name}: {one:?} and {other:?}"))?;
    }
    for (one, other) in facts.verdicts.iter().zip(&full.verdicts) {
        let same = match (one, other) {
            (IsolationVerdict::Unknown { .. }, other) => {
                !matches!(other, IsolationVerdict::ByDesign(_))
            }
            (
                IsolationVerdict::Reachable { limit, .. },
                IsolationVerdict::Reachable { out, into, .. },
            ) => {
                let IsolationVerdict::Reachable {
                    out: own_out,
                    into: own_into,
                    ..
                } = one
                else {
                    return Err("it is reachable".to_owned());
                };
                let alike =
                    out.is_some() == own_out.is_some() && into.is_some() == own_into.is_some();
                alike || limit.is_some()
            }
            (one, other) => std::mem::discriminant(one) == std::mem::discriminant(other),
        };
        compared.so(same, || format!("{one:#?} and {other:#?}"))?;
    }
    let listed = |facts: &Facts<'_>| -> Vec<_> {
        facts
            .bypasses
            .iter()
            .map(|one| (one.from, one.to, one.configured))
            .collect()
    };
    compared.so(listed(facts) == listed(full), || {
        format!("{:?} and {:?}", listed(facts), listed(full))
    })?;
    let complete = facts.privilege.complete;
    for pair in &facts.privilege.pairs {
        let mut pairs = full.privilege.pairs.iter();
        let known =
            pairs.any(|one| (one.from, one.to, one.family) == (pair.from, pair.to, pair.family));
        compared.so(known, || format!("{pair:?}"))?;
    }
    let same = facts.privilege.pairs.len() == full.privilege.pairs.len();
    compared.so(same || !complete, || {
        format!("{:?} {:?}", facts.privilege, full.privilege)
    })?;
    compared.made()
}

/// Whether a cell computed with a low limit says no more than is so.
fn bounded(cell: &Cell, all: &Cell) -> bool {
    let within = cell.some.is_subset(&all.some) && cell.every.is_subset(&all.every);
    let same = cell.some == all.some && cell.every == all.every && cell.filtered == all.filtered;
    let hostile = match (cell.hostile, all.hostile) {
        (HostileReach::Unknown, other) => !matches!(other, HostileReach::NotAsked),
        (one, other) => std::mem::discriminant(&one) == std::mem::discriminant(&other),
    };
    cell.reading == all.reading && within && hostile && (same || !cell.complete())
}

fn compared_with_itself(facts: &Facts<'_>) -> Result<ReachChange, String> {
    let matched = site(facts.text);
    let [old, new] = Network::versions(facts.network.site, &matched, TODAY);
    let limit = facts.network.open_pieces();
    let [old, new] = [old.limited_to(limit), new.limited_to(limit)];
    Ok(reach_change(&old, &new, &mut |_, _| {}))
}

fn unchanged(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    let change = compared_with_itself(facts)?;
    compared.so(change.is_empty(), || format!("{change:#?}"))?;
    compared.made()
}

/// The same site with one thing taken away; `None`: there is nothing of the kind.
pub fn without(facts: &Facts<'_>, kind: usize) -> Option<String> {
    let mut random = Random::new(facts.seed ^ 0xc1_05ed);
    let mut all = blocks(facts.text);
    let of_kind = |block: &crate::blocks::Block| match kind {
        0 => block.is_rule(),
        1 => block.lines.iter().any(|line| line.contains("tagged = [\"")),
        _ => block
            .lines
            .iter()
            .any(|line| line == "forwards = \"routes\""),
    };
    let numbers: Vec<usize> = (0..all.len()).filter(|&at| of_kind(&all[at])).collect();
    if numbers.is_empty() {
        return None;
    }
    let at = *random.pick(&numbers);
    match kind {
        0 => drop(all.remove(at)),
        1 => shorten(&mut all[at].lines, &mut random),
        _ => all[at].lines.retain(|line| line != "forwards = \"routes\""),
    }
    let text = joined(&all);
    boundwalk::load::load_text("twin", &text)
        .site
        .is_some()
        .then_some(text)
}

/// Takes the first VLAN off the list of one port.
fn shorten(lines: &mut [String], random: &mut Random) {
    let listing = |line: &&mut String| line.contains("tagged = [\"");
    let mut lines: Vec<&mut String> = lines.iter_mut().filter(listing).collect();
    let at = random.below(lines.len());
    let line = &mut lines[at];
    let start = line.find("tagged = [").expect("a list") + "tagged = [".len();
    let end = start + line[start..].find([',', ']']).expect("its end");
    let end = end + usize::from(line[end..].starts_with(", ")) * 2;
    line.replace_range(start..end, "");
}

fn changes(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for kind in 0..3 {
        let Some(text) = without(facts, kind) else {
            continue;
        };
        let matched = site(&text);
        let limit = facts.network.open_pieces();
        for turned in [false, true] {
            let [old, new] = if turned {
                [&matched, facts.network.site]
            } else {
                [facts.network.site, &matched]
            };
            let versions = Network::versions(old, new, TODAY);
            let versions = versions.map(|network| network.limited_to(limit));
            one_change(facts, &versions, &mut compared)
                .map_err(|wrong| format!("{wrong}\nthe twin: {text}"))?;
        }
    }
    compared.made()
}

fn one_change(
    facts: &Facts<'_>,
    [old, new]: &[Network<'_>; 2],
    compared: &mut Compared,
) -> Result<(), String> {
    let change = reach_change(old, new, &mut |_, _| {});
    let segments: Vec<SegmentId> = old.site.segment_ids().collect();
    let columns = segments.iter().copied().map(Endpoint::Segment);
    let routers =
        (0..old.site.routers.len()).map(|at| Endpoint::Device(boundwalk::model::RouterId(at)));
    let columns: Vec<Endpoint> = columns.chain(routers).collect();
    for family in Family::ALL {
        for &from in &segments {
            for &to in columns.iter().filter(|&&to| to != Endpoint::Segment(from)) {
                let [one, other] = [old, new].map(|network| {
                    let (found, coverage) =
                        flows(network, family, Endpoint::Segment(from), to, None);
                    let sent: Vec<Region> = found.into_iter().map(|flow| flow.sent).collect();
                    (sent, coverage.is_complete())
                });
                let mut pairs = change.pairs.iter();
                let listed = pairs.find(|pair| {
                    pair.family == family
                        && named(pair.from, Endpoint::Segment(from))
                        && named(pair.to, to)
                });
                let complete = one.1 && other.1 && listed.is_none_or(|pair| pair.complete());
                let [closed, opened] =
                    [(&one.0, &other.0), (&other.0, &one.0)].map(|(there, not)| left(there, not));
                let [says_closed, says_opened] = match listed {
                    Some(pair) => [!pair.closed.is_empty(), !pair.opened.is_empty()],
                    None => [false, false],
                };
                let says = || {
                    format!(
                        "{family:?} {from:?} to {to:?}: {listed:#?} closed {closed:?} opened {opened:?}"
                    )
                };
                if !complete {
                    compared.so(facts.may_be_unknown(), says)?;
                    continue;
                }
                compared.so(closed.is_empty() != says_closed, says)?;
                compared.so(opened.is_empty() != says_opened, says)?;
                for (parts, sets) in [
                    (listed.map(|pair| &pair.closed), &closed),
                    (listed.map(|pair| &pair.opened), &opened),
                ] {
                    let parts: Vec<Region> = parts
                        .into_iter()
                        .flatten()
                        .map(|part| part.packets.clone())
                        .collect();
                    let same = left(&parts, sets).is_empty() && left(sets, &parts).is_empty();
                    compared.so(same, says)?;
                }
            }
        }
    }
    Ok(())
}

/// Whether a place of a comparison is this one: nothing is renamed here.
fn named(spot: Spot, party: Endpoint) -> bool {
    match (spot, party) {
        (Spot::Segment(matched), Endpoint::Segment(segment)) => matched.old == Some(segment),
        (Spot::Router(matched), Endpoint::Device(router)) => matched.old == Some(router),
        _ => false,
    }
}

/// What of some sets is in none of others.
fn left(sets: &[Region], others: &[Region]) -> Vec<Region> {
    let mut left = sets.to_vec();
    for other in others {
        left = left.iter().flat_map(|set| set.difference(other)).collect();
    }
    left.retain(|set| !set.is_empty());
    left
}
