//! Attributes that all failing rows share.

use std::collections::BTreeMap;

use boundwalk_forwarding::{Network, Place};
use boundwalk_model::{Family, RouterId, SegmentId};

use super::super::deciders::rule_name;
use super::super::party::{Endpoint, party_name};
use super::judged::{Checked, Judgement};
use super::predict::Prediction;

/// Something that rows can share.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Trait {
    /// The rule, or default, that decides.
    Rule(RouterId, Option<usize>),
    /// A gateway on the way.
    Gateway(RouterId),
    /// The segment to stand on.
    From(SegmentId),
    /// Where it arrives.
    To(Endpoint),
    /// The family.
    Family(Family),
}

/// A trait whose rows all differ in the same way.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Shared {
    /// What they share; more than one trait where the very same rows share several.
    pub traits: Vec<Trait>,
    /// Whether more passes than the model says; else less.
    pub too_much: bool,
    /// Lines of the rows.
    pub lines: Vec<u64>,
}

/// Finds traits of at least two rows where each row that was sent and has the trait differs, and differs in the same
/// direction: of rows that should be stopped all arrived, or of rows that should arrive none did.
pub(super) fn shared(rows: &[Checked<'_>]) -> Vec<Shared> {
    let mut found: Vec<Shared> = Vec::new();
    for too_much in [true, false] {
        let mut groups: BTreeMap<Trait, (Vec<u64>, bool)> = BTreeMap::new();
        for row in rows {
            let Some((predicted, differs)) = side(row, too_much) else {
                continue;
            };
            for one in traits(row, predicted) {
                let (lines, all) = groups.entry(one).or_insert((Vec::new(), true));
                lines.push(row.row.line);
                *all &= differs;
            }
        }
        for (one, (lines, all)) in groups {
            if !all || lines.len() < 2 {
                continue;
            }
            let same = |known: &&mut Shared| known.lines == lines && known.too_much == too_much;
            match found.iter_mut().find(same) {
                Some(known) => known.traits.push(one),
                None => found.push(Shared {
                    traits: vec![one],
                    too_much,
                    lines,
                }),
            }
        }
    }
    found.sort_by_key(|shared| std::cmp::Reverse(shared.lines.len()));
    found
}

/// Whether a row belongs to those that can differ in a direction, and whether it does.
fn side<'r>(row: &'r Checked<'_>, too_much: bool) -> Option<(&'r Prediction, bool)> {
    let predicted = row.predicted.as_ref().ok()?;
    match row.judgement {
        Judgement::Differs(difference) if difference.too_much() == too_much => {
            Some((predicted, true))
        }
        Judgement::AsExpected | Judgement::Differs(_) => {
            let stopped = !predicted.expect.arrives();
            (stopped == too_much).then_some((predicted, false))
        }
        Judgement::NotDone | Judgement::Unclear(_) => None,
    }
}

fn traits(row: &Checked<'_>, predicted: &Prediction) -> Vec<Trait> {
    let mut list = vec![
        Trait::From(predicted.send_point),
        Trait::Family(Family::of(row.packet.source)),
    ];
    list.extend(predicted.place.map(|place| {
        Trait::To(match place {
            Place::Segment(segment) => Endpoint::Segment(segment),
            Place::Router(router) => Endpoint::Device(router),
        })
    }));
    for &(router, rule) in &predicted.deciders {
        list.extend([Trait::Rule(router, rule), Trait::Gateway(router)]);
    }
    list.sort_unstable();
    list.dedup();
    list
}

/// What rows share, and where to look, in one sentence without a full stop.
pub fn shared_text(network: &Network<'_>, shared: &Shared) -> String {
    let named: Vec<String> = shared
        .traits
        .iter()
        .map(|one| named(network, *one))
        .collect();
    let count = shared.lines.len();
    let what = if shared.too_much {
        "get through though the model stops them"
    } else {
        "fail though the model lets them through"
    };
    let mut looks: Vec<&str> = shared
        .traits
        .iter()
        .map(|one| look(*one, shared.too_much))
        .filter(|look| !look.is_empty())
        .collect();
    looks.dedup();
    format!(
        "all {count} probes {} {what}: look at {}",
        named.join(" and "),
        if looks.is_empty() {
            "what else they share".to_owned()
        } else {
            looks.join("; at ")
        }
    )
}

fn named(network: &Network<'_>, one: Trait) -> String {
    let site = network.site;
    match one {
        Trait::Rule(router, rule) => {
            format!("decided by {}", rule_name(network, router, rule))
        }
        Trait::Gateway(router) => format!("through {}", site.router(router).name.value),
        Trait::From(segment) => format!("from {}", site.segment(segment).name.value),
        Trait::To(party) => format!("to {}", party_name(site, party)),
        Trait::Family(family) => format!("by {}", family.word()),
    }
}

fn look(one: Trait, too_much: bool) -> &'static str {
    match (one, too_much) {
        (Trait::Rule(..), true) => "whether that rule is there, and what stands before it",
        (Trait::Rule(..), false) => {
            "whether that rule is there and enabled, and what stands before it"
        }
        (Trait::Gateway(_), true) => "whether that gateway filters at all, and ways round it",
        (Trait::Gateway(_), false) => "that gateway: its interfaces, routes and rules",
        (Trait::From(_), true) => "the VLAN of the port there: the sender may stand elsewhere",
        (Trait::From(_), false) => "the port, VLAN and default gateway of the sender there",
        (Trait::To(_), true) => "the VLAN of the port there: the receiver may stand elsewhere",
        (Trait::To(_), false) => {
            "the port, VLAN, default gateway and own filter of the receiver there"
        }
        (Trait::Family(_), true) => "",
        (Trait::Family(_), false) => "whether that family works at all",
    }
}
