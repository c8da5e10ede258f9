//! Laws about ways round the gateways and about isolation.

use boundwalk::analysis::intent::IntentStatus;
use boundwalk::analysis::{Bypass, Cell, Endpoint, IsolationVerdict};
use boundwalk::forwarding::{Arrival, Origin, Place, SendPoint, Sender, Target, reach};
use boundwalk::model::{Family, SegmentId};
use boundwalk::packet::IntervalSet;

use crate::facts::{Facts, any, broken, passes_hostile};
use crate::law::{Compared, Law};

pub const LAWS: &[Law] = &[
    Law {
        name: "a way round is listed where something arrives that no gateway decided",
        holds: way_round,
    },
    Law {
        name: "a way round is listed where it breaks the demand for a gateway, in both stances",
        holds: through,
    },
    Law {
        name: "from unclaimed ports round the gateways is more than a plain device gets",
        holds: unclaimed,
    },
    Law {
        name: "nothing passes from or to a segment that is isolated by design",
        holds: by_design,
    },
    Law {
        name: "nothing passes from or to a segment that rules close",
        holds: by_rule,
    },
    Law {
        name: "something passes from or to a segment that is reachable",
        holds: reachable,
    },
    Law {
        name: "nothing passes between segments that are held to be isolated",
        holds: held_apart,
    },
];

fn show(facts: &Facts<'_>, (from, to): (SegmentId, SegmentId)) -> String {
    format!("{} to {}", facts.name(from), facts.name(to))
}

/// Whether something of a sender arrives on a segment and no gateway decided: of all that it can send, or of what it
/// sends to addresses that somebody has or some translation matches.
fn undecided(
    facts: &Facts<'_>,
    sender: Sender,
    to: SegmentId,
    all: impl Fn(Family) -> IntervalSet,
) -> Option<bool> {
    let families = Family::ALL.iter().map(|&family| {
        let plan = facts.network.plan(family);
        let addresses = all(family).difference(&plan.nobody);
        let target = Target {
            addresses: &addresses,
            segment: None,
            services: None,
        };
        let mut found = false;
        let coverage = reach(facts.network, plan, sender, target, &mut |arrival| {
            if let Arrival::Delivered(Place::Segment(place), flow) = arrival {
                found |= place == to && !flow.filtered();
            }
        });
        (found || coverage.is_complete()).then_some(found)
    });
    any(families.collect::<Vec<_>>())
}

fn way_round(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (from, to) in facts.pairs() {
        if facts.same_zone(from, to) {
            continue;
        }
        let origin = Origin::Segment(from);
        let frames = facts.network.wiring.hostile_into(to).contains(&origin);
        let packets = undecided(facts, Sender::Hostile(origin), to, Family::full);
        let listed = facts.bypass(from, to);
        let says = || {
            format!(
                "{}: frames {frames}, packets {packets:?}, {listed:?}",
                show(facts, (from, to))
            )
        };
        compared.same(any([Some(frames), packets]), Some(listed.is_some()), says)?;
    }
    compared.made()
}

fn through(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (from, to) in facts.pairs() {
        let lines = ["through", "through-hostile"].map(|claim| facts.line(claim, (from, to)));
        let [Some(plain), Some(hostile)] = lines else {
            continue;
        };
        let listed = facts.bypass(from, to);
        let says = || {
            format!(
                "{}: {plain:?} {hostile:?} {listed:#?}",
                show(facts, (from, to))
            )
        };
        if facts.same_zone(from, to) {
            compared.so(listed.is_none(), says)?;
            continue;
        }
        if !matches!(hostile, IntentStatus::Vacuous) {
            compared.follows(broken(hostile), Some(listed.is_some()), says)?;
            let origin = Origin::Segment(from);
            let taken = match listed {
                Some(bypass) if is_direct(bypass) => Some(takes_packets(facts, origin, to)),
                Some(_) => {
                    let sender = Sender::Hostile(origin);
                    undecided(facts, sender, to, |family| addressed(facts, family))
                }
                None => Some(false),
            };
            compared.follows(taken, broken(hostile), says)?;
        }
        if !matches!(plain, IntentStatus::Vacuous) {
            let configured = listed.filter(|bypass| bypass.configured);
            compared.follows(broken(plain), Some(configured.is_some()), says)?;
            // Plain frames may reach devices that nobody sends packets to round the gateway.
            let routed = configured.is_some_and(|bypass| {
                !bypass.way.handovers.is_empty() || bypass.way.far_address.is_some()
            });
            compared.follows(Some(routed), broken(plain), says)?;
        }
    }
    compared.made()
}

/// Addresses that somebody has, and destinations that some translation matches: lines are about these.
fn addressed(facts: &Facts<'_>, family: Family) -> IntervalSet {
    let plan = facts.network.plan(family);
    let held = plan
        .segments
        .iter()
        .fold(plan.routers_own.clone(), |all, one| {
            all.union(&one.addresses)
        });
    let mut lines = facts
        .network
        .site
        .routers
        .iter()
        .filter_map(|router| router.filter())
        .flat_map(|filter| &filter.destination_translations);
    lines
        .try_fold(held, |all, line| {
            let matched = line.destination.as_ref()?;
            Some(all.union(matched.set.of(family)))
        })
        .unwrap_or_else(|| family.full())
}

/// Whether frames alone go the way, and no device passes packets on.
fn is_direct(bypass: &Bypass) -> bool {
    bypass.way.handovers.is_empty() && bypass.way.far_address.is_none()
}

/// Whether frames of a hostile device come to somebody of a segment who has an address: packets are sent to those.
fn takes_packets(facts: &Facts<'_>, from: Origin, to: SegmentId) -> bool {
    let send_point = SendPoint::Hostile(from);
    let mut families = Family::ALL.iter();
    families.any(|&family| {
        let plan = facts.network.plan(family);
        let column = &plan.segment(to).addresses;
        let mut receivers = plan.wire(send_point).receivers.iter();
        receivers.any(|(segment, own)| {
            let taken = own
                .as_ref()
                .map_or(!column.is_empty(), |own| own.overlaps(column));
            *segment == to && taken
        })
    })
}

fn unclaimed(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for bypass in &facts.bypasses {
        let fabric = &facts.network.fabric;
        let [from, to] = [bypass.from, bypass.to].map(|origin| Endpoint::of(fabric, origin));
        let cells: Vec<&Cell> = Family::ALL
            .iter()
            .filter_map(|&family| facts.cell(family, from, to))
            .collect();
        let addressed =
            |origin: Origin| origin.segment().is_none_or(|one| facts.has_addresses(one));
        let from_segment = matches!(bypass.from, Origin::Segment(_));
        if from_segment && matches!(bypass.to, Origin::Segment(_)) {
            continue;
        }
        if !addressed(bypass.from) || !addressed(bypass.to) {
            continue;
        }
        let taken = |to| takes_packets(facts, bypass.from, to);
        if is_direct(bypass) && !bypass.to.segment().is_none_or(taken) {
            continue;
        }
        let passes = any(cells.iter().map(|cell| passes_hostile(cell)));
        compared.same(Some(true), passes, || {
            format!("{from:?} to {to:?}: {bypass:#?} {cells:#?}")
        })?;
    }
    compared.made()
}

/// Cells from a segment and to it, to and from everybody else but gateways themselves.
fn cells_of<'f>(
    facts: &'f Facts<'_>,
    segment: SegmentId,
) -> impl Iterator<Item = (Endpoint, Endpoint, &'f Cell)> {
    let own = Endpoint::Segment(segment);
    facts.cells().filter_map(move |(_, from, to, cell)| {
        let other = if from == own { to } else { from };
        let place = matches!(other, Endpoint::Segment(_) | Endpoint::Unclaimed(..));
        ((from == own) != (to == own) && place).then_some((from, to, cell))
    })
}

fn names(facts: &Facts<'_>, segment: SegmentId) -> bool {
    let own = Origin::Segment(segment);
    let mut listed = facts.bypasses.iter();
    listed.any(|bypass| bypass.from == own || bypass.to == own)
}

fn by_design(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (segment, verdict) in facts.network.site.segment_ids().zip(&facts.verdicts) {
        if !matches!(verdict, IsolationVerdict::ByDesign(_)) {
            continue;
        }
        let own = Endpoint::Segment(segment);
        let name = facts.name(segment);
        for (_, from, to, cell) in facts.cells() {
            if (from == own) != (to == own) {
                let says = || format!("{name}: {from:?} to {to:?} {cell:#?}");
                compared.same(Some(false), passes_hostile(cell), says)?;
            }
        }
        compared.so(!names(facts, segment), || {
            format!("{name}: {:#?}", facts.bypasses)
        })?;
        for (from, to) in facts.pairs() {
            let Some(line) = facts.line("isolated", (from, to)) else {
                continue;
            };
            if from == segment || to == segment {
                let says = || format!("{}: {line:?}", show(facts, (from, to)));
                compared.same(Some(false), broken(line), says)?;
            }
        }
    }
    compared.made()
}

fn by_rule(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (segment, verdict) in facts.network.site.segment_ids().zip(&facts.verdicts) {
        if !matches!(verdict, IsolationVerdict::ByRule { .. }) {
            continue;
        }
        let name = facts.name(segment);
        for (from, to, cell) in cells_of(facts, segment) {
            let says = || format!("{name}: {from:?} to {to:?} {cell:#?}");
            compared.same(Some(false), passes_hostile(cell), says)?;
        }
        compared.so(!names(facts, segment), || {
            format!("{name}: {:#?}", facts.bypasses)
        })?;
    }
    compared.made()
}

fn reachable(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (segment, verdict) in facts.network.site.segment_ids().zip(&facts.verdicts) {
        if matches!(verdict, IsolationVerdict::Unknown { .. }) {
            let says = || format!("{}: {verdict:?}", facts.name(segment));
            compared.so(facts.may_be_unknown(), says)?;
        }
        if !matches!(verdict, IsolationVerdict::Reachable { .. }) {
            continue;
        }
        let cells = cells_of(facts, segment).map(|(.., cell)| passes_hostile(cell));
        let passes = any(cells
            .chain([Some(names(facts, segment))])
            .collect::<Vec<_>>());
        let says = || format!("{}: {verdict:#?}", facts.name(segment));
        compared.same(Some(true), passes, says)?;
    }
    compared.made()
}

fn held_apart(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (from, to) in facts.pairs() {
        let Some(line) = facts.line("isolated", (from, to)) else {
            continue;
        };
        let apart = broken(line).map(|broken| !broken);
        for (from, to) in [(from, to), (to, from)] {
            let cells = facts.between(from, to);
            let closed = any(cells.iter().map(|cell| passes_hostile(cell))).map(|passes| !passes);
            let says = || format!("{}: {line:?} {cells:#?}", show(facts, (from, to)));
            compared.follows(apart, closed, says)?;
            let listed = facts.bypass(from, to);
            compared.follows(apart, Some(listed.is_none()), says)?;
        }
    }
    compared.made()
}
