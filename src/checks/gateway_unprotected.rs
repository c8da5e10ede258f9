//! A gateway that lets an interface reach every service of its own.

use num_bigint::BigUint;
use rayon::prelude::*;
use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Check, Magnitude, Severity};
use boundwalk_forwarding::{FilterPlan, Limit, Network, WalkCoverage};
use boundwalk_model::{Action, Family, RouterId};
use boundwalk_packet::{Interval, IntervalSet, Mask, Region};

use super::extent::addresses;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "gateway-unprotected",
    severity: Severity::Error,
    summary: "a gateway that lets an interface reach every service of its own",
    why: "The gateway is what keeps the zones apart: who gets into it is everywhere. It must answer to few services and few hosts.",
    fine_when: "Never: what the gateway must answer is a short list.",
    remedy: "Permit what the gateway must answer (address assignment, names, its management) and deny the rest `to = [\"gateway\"]`.",
    references: &[
        "RFC 6192 section 3.2: traffic to the router itself is allowed by a list, and the rest is discarded",
        "DISA Router SRG, SRG-NET-000205-RTR-000001: restrict traffic destined to the router itself",
    ],
    fires: include_str!("examples/gateway-unprotected.fires.toml"),
    quiet: include_str!("examples/gateway-unprotected.quiet.toml"),
};

/// Sources up to which rules may be said to name them: a rule of this house.
const FEW: u32 = 16;
/// How many single services are tested before all of them.
const SINGLE: usize = 3;
/// Pieces that a walk through the rules may hold open.
const OPEN_PIECES: usize = 20_000;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let (network, id) = (view.network, gateway.id);
        // Each interface takes a walk of its own through the rules, on all processors.
        let interfaces: Vec<usize> = (0..gateway.router.interfaces.len()).collect();
        let asked: Vec<[Result<Option<BigUint>, Limit>; 2]> = interfaces
            .par_iter()
            .map(|&ingress| Family::ALL.map(|family| open_to(network, id, ingress, family)))
            .collect();
        for (interface, answers) in gateway.router.interfaces.iter().zip(asked) {
            let known = answers.map(|answer| {
                answer.unwrap_or_else(|limit| {
                    view.met(&CHECK, WalkCoverage::Cut(limit));
                    None
                })
            });
            let mut open = Family::ALL
                .into_iter()
                .zip(known)
                .filter_map(|(family, count)| Some((family, count?)));
            if let Some((family, count)) = open.next() {
                let subject = format!("{}:{}", gateway.router.name.value, interface.name.value);
                let what = format!(
                    "every service of the gateway itself is open over {} to {} here",
                    family.word(),
                    addresses(&count)
                );
                let mut measure = Magnitude::default();
                for (family, count) in std::iter::once((family, count)).chain(open) {
                    measure.add(family.word());
                    // So many addresses, whichever they are.
                    let most = u128::try_from(&count).unwrap_or(u128::MAX);
                    measure.extend(format!("addresses of {}", family.word()), [(0, most)]);
                }
                let draft = found(&CHECK, interface.name.span, subject, what).measured(measure);
                report.add(
                    draft.help(
                        "deny `to = [\"gateway\"]` after the few rules for what it must answer",
                    ),
                );
            }
        }
    }
}

/// To how many addresses at an interface every service is open at some address of the gateway; `None` where there are
/// so few that somebody named them. `Err`: a limit was met. Sources that are denied, such as forged ones, don't protect it from the others.
fn open_to(
    network: &Network<'_>,
    gateway: RouterId,
    ingress: usize,
    family: Family,
) -> Result<Option<BigUint>, Limit> {
    let plan = network.plan(family);
    let device = plan.device(plan.router_index(gateway));
    let Some(filter) = &device.filter else {
        return Ok(None);
    };
    let segment = device.interfaces[ingress].segment;
    let all = &plan.segment(segment).addresses;
    let mut candidates = filter.between(ingress, filter.itself);
    let covers = plan.segments.iter().map(|segment| &segment.cover);
    candidates.and_assign(&filter.source_masks(covers)[segment.0]);
    candidates.and_assign(&filter.lines.to_destination(&device.own));
    let classes = &network.classes;
    let mut left = vec![all.clone(); points(&device.own).count()];
    // A source that is denied one service does not have every service. Testing single services is cheap, and the first
    // ones usually exclude every source.
    let tried = (1..=SINGLE).map(|at| {
        let mut one = classes.none();
        one.insert((classes.len() - 1) * at / SINGLE);
        one
    });
    for services in tried.chain([classes.all()]) {
        let start = Region {
            source: left.iter().collect(),
            destination: device.own.clone(),
            services,
        };
        if start.source.is_empty() {
            return Ok(None);
        }
        let Some(undenied) = undenied(filter, &candidates, start) else {
            return Err(Limit::OpenPieces(OPEN_PIECES));
        };
        for (left, undenied) in left.iter_mut().zip(&undenied) {
            *left = left.intersection(undenied);
        }
    }
    let wide = left
        .iter()
        .filter(|left| *left == all || left.size() > BigUint::from(FEW));
    let most = wide.map(IntervalSet::size).max();
    Ok(most.filter(|count| *count > BigUint::ZERO))
}

/// The sources of a set of packets to which nothing of it is denied, for each destination; `None`: a limit was met.
fn undenied(filter: &FilterPlan, candidates: &Mask, start: Region) -> Option<Vec<IntervalSet>> {
    let mut naming = Mask::none(candidates.len());
    for number in candidates.iter() {
        let services = filter.lines.lines()[number].services.as_ref();
        if services.is_none_or(|services| services.overlaps(&start.services)) {
            naming.insert(number);
        }
    }
    let (all, own) = (start.source.clone(), start.destination.clone());
    let mut denied: FxHashMap<IntervalSet, Vec<Interval>> = FxHashMap::default();
    let mut note = |line: Option<usize>, region: Region| {
        if filter.action(line) != Action::Permit {
            let sources = denied.entry(region.destination).or_default();
            sources.extend_from_slice(region.source.intervals());
        }
    };
    let walked = filter.lines.walk(&naming, start, OPEN_PIECES, &mut note);
    walked.ok()?;
    // Most denials cover every address of the gateway: those are taken away once.
    let everywhere = denied.remove(&own).unwrap_or_default();
    let left = all.difference(&everywhere.into_iter().collect());
    let denied: Vec<(IntervalSet, IntervalSet)> = denied
        .into_iter()
        .map(|(own, sources)| (own, sources.into_iter().collect()))
        .collect();
    let left_at = |address: u128| {
        let denied = denied.iter().filter(|(own, _)| own.contains(address));
        denied.fold(left.clone(), |left, (_, sources)| left.difference(sources))
    };
    Some(points(&own).map(left_at).collect())
}

fn points(set: &IntervalSet) -> impl Iterator<Item = u128> {
    let parts = set.intervals().iter();
    parts.flat_map(|part| part.low()..=part.high())
}
