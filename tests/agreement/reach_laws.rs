//! Laws about what passes between pairs: matrix, path, flows, expectations, needs and least privilege.

use boundwalk::analysis::intent::IntentStatus;
use boundwalk::analysis::{Cell, Endpoint, Extent, HostileReach, Reading, flows, messages};
use boundwalk::forwarding::{Network, Origin, Outcome, Packet, Place, Sender, Trace, trace};
use boundwalk::model::{Family, Need, SegmentId};
use boundwalk::packet::{ClassSet, ServiceBox};

use crate::facts::{Facts, any, broken, passes, passes_hostile};
use crate::law::{Compared, Law};

pub const LAWS: &[Law] = &[
    Law {
        name: "a cell is empty where nothing is expected to pass and that holds",
        holds: nothing,
    },
    Law {
        name: "the packet that a cell shows arrives there, and is answered where the cell says so",
        holds: witness,
    },
    Law {
        name: "a hostile device gets more through where the cell says so, and only there",
        holds: hostile,
    },
    Law {
        name: "what passes as configured passes for a hostile device",
        holds: hostile_is_more,
    },
    Law {
        name: "a need is met where the same is expected at least, and where every packet of it passes",
        holds: need,
    },
    Law {
        name: "a pair has permitted packets where its cell has services",
        holds: privilege,
    },
    Law {
        name: "the flows of a pair are what its cell sums up",
        holds: flows_of_pairs,
    },
    Law {
        name: "what a described host can do, its segment can do",
        holds: hosts,
    },
];

fn show(facts: &Facts<'_>, (from, to): (SegmentId, SegmentId)) -> String {
    format!("{} to {}", facts.name(from), facts.name(to))
}

fn nothing(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (from, to) in facts.pairs() {
        let Some(line) = facts.line("nothing", (from, to)) else {
            continue;
        };
        let cells = facts.between(from, to);
        let says = || format!("{}: {line:?} {cells:#?}", show(facts, (from, to)));
        compared.same(
            any(cells.iter().map(|cell| passes(cell))),
            broken(line),
            says,
        )?;
        let speaks = cells.iter().any(|cell| cell.reading == Reading::Pair);
        compared.so(speaks != matches!(line, IntentStatus::Vacuous), says)?;
    }
    compared.made()
}

/// Where a column is.
fn place(party: Endpoint) -> Option<Place> {
    match party {
        Endpoint::Segment(segment) => Some(Place::Segment(segment)),
        Endpoint::Device(router) => Some(Place::Router(router)),
        Endpoint::Zone(_) | Endpoint::Host(_) | Endpoint::Unclaimed(..) => None,
    }
}

/// The walks of a packet that end at a column.
pub fn arriving(network: &Network<'_>, sender: Sender, packet: &Packet, to: Place) -> Vec<Trace> {
    trace(network, sender, packet)
        .into_iter()
        .filter(|trace| trace.outcome == Outcome::Delivered(to))
        .collect()
}

fn witness(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (_, from, to, cell) in facts.cells() {
        let (Endpoint::Segment(segment), Some(place)) = (from, place(to)) else {
            continue;
        };
        let says = |traces: &[Trace]| format!("{from:?} to {to:?}: {cell:#?} {traces:#?}");
        compared.so(cell.witness.is_none() == cell.some.is_empty(), || says(&[]))?;
        let Some(packet) = cell.witness else { continue };
        let traces = arriving(facts.network, Sender::Segment(segment), &packet, place);
        let answered = |trace: &Trace| trace.reply.as_ref().is_some_and(|reply| reply.two_way());
        compared.so(!traces.is_empty(), || says(&traces))?;
        compared.follows(
            Some(cell.answered()),
            Some(traces.iter().any(answered)),
            || says(&traces),
        )?;
        compared.follows(
            Some(cell.two_way == Extent::None),
            Some(!traces.iter().any(answered)),
            || says(&traces),
        )?;
    }
    compared.made()
}

/// Where a hostile device of a row is.
fn origin(facts: &Facts<'_>, party: Endpoint) -> Option<Origin> {
    let mut origins = facts.network.fabric.origins();
    origins.find(|&origin| Endpoint::of(&facts.network.fabric, origin) == party)
}

fn hostile(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (_, from, to, cell) in facts.cells() {
        let (Some(origin), Some(place)) = (origin(facts, from), place(to)) else {
            continue;
        };
        if let HostileReach::Larger(packet) = cell.hostile {
            let traces = trace(facts.network, Sender::Hostile(origin), &packet);
            let arrives = traces
                .iter()
                .any(|trace| trace.outcome == Outcome::Delivered(place));
            let says = || format!("{from:?} to {to:?}: {packet} {traces:#?}");
            compared.so(arrives, says)?;
        }
    }
    for (from, to) in facts.pairs() {
        let Some(line) = facts.line("nothing-hostile", (from, to)) else {
            continue;
        };
        let cells = facts.between(from, to);
        let says = || format!("{}: {line:?} {cells:#?}", show(facts, (from, to)));
        compared.same(
            any(cells.iter().map(|cell| passes_hostile(cell))),
            broken(line),
            says,
        )?;
    }
    compared.made()
}

fn hostile_is_more(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for claim in ["nothing", "through"] {
        for (from, to) in facts.pairs() {
            let hostile = format!("{claim}-hostile");
            let lines = [claim, &hostile].map(|claim| facts.line(claim, (from, to)));
            let [Some(plain), Some(hostile)] = lines else {
                continue;
            };
            let says = || format!("{claim} {}: {plain:?} {hostile:?}", show(facts, (from, to)));
            compared.follows(broken(plain), broken(hostile), says)?;
        }
    }
    compared.made()
}

/// Classes of the services of a need in one family.
fn services(facts: &Facts<'_>, need: &Need, family: Family) -> ClassSet {
    let boxes: Vec<ServiceBox> = need
        .services
        .iter()
        .flat_map(|list| &list.services)
        .filter_map(|service| service.packets(family))
        .collect();
    facts.network.classes.of(&boxes)
}

fn need(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    let needs = facts.network.site.needs.iter();
    for need in needs {
        let mut words = need.name.value.split(' ').skip(1);
        let mut segment = || {
            let word = words.next().expect("two segments");
            let mut segments = facts.network.site.segment_ids();
            segments
                .find(|&one| facts.name(one) == word)
                .expect("a known name")
        };
        let pair = (segment(), segment());
        let (Some(line), Some(least)) = (facts.line("need", pair), facts.line("at-least", pair))
        else {
            continue;
        };
        compared.same(broken(line), broken(least), || {
            format!("{}: {line:?} {least:?}", show(facts, pair))
        })?;
        let (mut wanted, mut missing) = (false, Vec::new());
        for family in Family::ALL {
            let services = services(facts, need, family);
            let [from, to] = [pair.0, pair.1].map(Endpoint::Segment);
            let Some(cell) = facts.cell(family, from, to) else {
                continue;
            };
            if cell.reading == Reading::Pair && !services.is_empty() {
                wanted = true;
                missing.push(every_is_missing(cell, &services));
            }
        }
        let says = || {
            format!(
                "{}: {line:?} {:#?}",
                show(facts, pair),
                facts.between(pair.0, pair.1)
            )
        };
        compared.so(wanted != matches!(line, IntentStatus::Vacuous), says)?;
        if diverted(facts, pair.1) {
            compared.follows(broken(line), any(missing), says)?;
        } else {
            compared.same(broken(line), any(missing), says)?;
        }
    }
    compared.made()
}

/// Whether a translation may bring what is sent to addresses of a segment elsewhere: then a need for them may be met
/// there, and the cell says that not every packet arrives on the segment.
fn diverted(facts: &Facts<'_>, to: SegmentId) -> bool {
    let network = facts.network;
    let mut lines = network
        .site
        .routers
        .iter()
        .filter_map(|router| router.filter())
        .flat_map(|filter| &filter.destination_translations);
    lines.any(|line| {
        Family::ALL.iter().any(|&family| {
            let own = &network.plan(family).segment(to).addresses;
            let matched = line.destination.as_ref();
            matched.is_none_or(|matched| matched.set.of(family).overlaps(own))
        })
    })
}

/// Whether some packet of some services does not get through.
fn every_is_missing(cell: &Cell, services: &ClassSet) -> Option<bool> {
    if services.is_subset(&cell.every) {
        Some(false)
    } else {
        cell.complete().then_some(true)
    }
}

fn privilege(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    let messages = messages(facts.network);
    for (family, from, to, cell) in facts.cells() {
        let (Endpoint::Segment(segment), Some(_)) = (from, place(to)) else {
            continue;
        };
        if cell.reading != Reading::Pair {
            continue;
        }
        let mut pairs = facts.privilege.pairs.iter();
        let listed =
            pairs.any(|pair| pair.from == segment && pair.to == to && pair.family == family);
        let listed = (listed || facts.privilege.complete).then_some(listed);
        let some = if cell.some.is_subset(&messages) {
            cell.complete().then_some(false)
        } else {
            Some(true)
        };
        compared.same(listed, some, || format!("{from:?} to {to:?}: {cell:#?}"))?;
    }
    compared.made()
}

fn flows_of_pairs(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for (family, from, to, cell) in facts.cells() {
        if !matches!(from, Endpoint::Segment(_))
            || place(to).is_none()
            || cell.reading != Reading::Pair
        {
            continue;
        }
        let (listed, coverage) = flows(facts.network, family, from, to, None);
        let says = || format!("{family:?} {from:?} to {to:?}: {cell:#?} {listed:#?}");
        let known = coverage.is_complete() && cell.complete();
        compared.so(known || facts.may_be_unknown(), says)?;
        if !known {
            continue;
        }
        let mut some = facts.network.classes.none();
        let (mut two_way, mut plain) = (Extent::Nothing, some.clone());
        for flow in &listed {
            some.union_with(&flow.sent.services);
            two_way = two_way.and(flow.two_way);
            if flow.host.is_none() {
                plain.union_with(&flow.sent.services);
            }
        }
        compared.so(some == *cell.some && plain == *cell.plain, says)?;
        let unknown = [two_way, cell.two_way].contains(&Extent::Unknown);
        compared.so(
            two_way == cell.two_way || unknown && facts.may_be_unknown(),
            says,
        )?;
    }
    compared.made()
}

fn hosts(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    for matrix in &facts.by_host {
        let family = matrix.question.family;
        for (&row, cells) in matrix.rows.iter().zip(&matrix.cells) {
            for (&column, cell) in matrix.columns.iter().zip(cells) {
                let (Some(from), Some(to)) =
                    (only_segment(facts, row), only_segment(facts, column))
                else {
                    continue;
                };
                if from == to || cell.reading != Reading::Pair {
                    continue;
                }
                let whole = facts
                    .cell(family, from, to)
                    .expect("every segment has a cell");
                let says = || format!("{row:?} to {column:?}: {cell:#?} {whole:#?}");
                let held = cell.some.is_subset(&whole.some);
                let known = held || whole.complete();
                compared.same(Some(true), known.then_some(held), says)?;
            }
        }
    }
    compared.made()
}

/// The segment that a host is on with all of its interfaces, or the gateway itself.
fn only_segment(facts: &Facts<'_>, party: Endpoint) -> Option<Endpoint> {
    let Endpoint::Host(host) = party else {
        return Some(party);
    };
    let interfaces = &facts.network.site.host(host).interfaces;
    let first = interfaces.first()?.segment;
    let mut others = interfaces.iter();
    others
        .all(|one| one.segment == first)
        .then_some(Endpoint::Segment(first))
}
