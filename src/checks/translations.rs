//! What translations of gateways take and what becomes of it.

use boundwalk_analysis::stopped;
use boundwalk_analysis::witness;
use boundwalk_forwarding::{
    Arrival, DeviceIndex, FilterPlan, Flow, Origin, Outcome, Place, Plan, Sender, Target,
    TranslationPlan, WalkCoverage, reach, returns, trace,
};
use boundwalk_model::{Family, Filter, RouterId, SegmentId, Translation};
use boundwalk_packet::{IntervalSet, Region};

use super::translation::{List, Published, TranslationFate, TranslationLine};
use super::view::CheckContext;

/// All lines of all gateways that are switched on.
pub(super) fn lines<'v>(view: &CheckContext<'v>) -> Vec<TranslationLine<'v>> {
    let site = view.site;
    let mut all = Vec::new();
    for router in (0..site.routers.len()).map(RouterId) {
        let Some(filter) = site.router(router).filter() else {
            continue;
        };
        for (list, translations) in both(filter) {
            let on = translations
                .iter()
                .enumerate()
                .filter(|(_, translation)| translation.enabled);
            all.extend(on.map(|(number, translation)| TranslationLine {
                router,
                list,
                number,
                translation,
            }));
        }
    }
    all
}

fn both(filter: &Filter) -> [(List, &[Translation]); 2] {
    [
        (List::Arriving, &filter.destination_translations),
        (List::Leaving, &filter.source_translations),
    ]
}

/// What a line takes on one interface in one family, and which earlier lines took parts before it.
pub(super) struct Taken {
    pub(super) family: Family,
    pub(super) interface: usize,
    pub(super) regions: Vec<Region>,
    pub(super) before: Vec<usize>,
}

/// What a line takes, by interface and family; only where it names anything.
pub(super) fn taken(view: &CheckContext<'_>, line: TranslationLine<'_>) -> Vec<Taken> {
    let mut all = Vec::new();
    for family in Family::ALL {
        let plan = view.network.plan(family);
        let device = plan.device(plan.router_index(line.router));
        let Some(filter) = &device.filter else {
            continue;
        };
        for (interface, attachment) in device.interfaces.iter().enumerate() {
            let anywhere = family.full().difference(&plan.nobody);
            let source = match (line.list, &attachment.accepts) {
                (List::Arriving, Some(accepts)) => anywhere.intersection(&accepts.all()),
                _ => anywhere.clone(),
            };
            let everything = Region {
                source,
                destination: anywhere,
                services: view.network.classes.all(),
            };
            all.extend(on_interface(filter, line, family, interface, everything));
        }
    }
    all
}

fn on_interface(
    filter: &FilterPlan,
    line: TranslationLine<'_>,
    family: Family,
    interface: usize,
    everything: Region,
) -> Option<Taken> {
    let list: &[TranslationPlan] = match line.list {
        List::Arriving => &filter.arrivals,
        List::Leaving => &filter.departures,
    };
    let own = list.iter().find(|plan| plan.line == line.number)?;
    let mut regions = vec![own.matched(interface, &everything)?];
    let mut before = Vec::new();
    for earlier in list.iter().take_while(|plan| plan.line < line.number) {
        let Some(part) = earlier.matched(interface, &everything) else {
            continue;
        };
        if regions
            .iter()
            .any(|region| !region.intersection(&part).is_empty())
        {
            before.push(earlier.line);
        }
        let left = regions.iter().flat_map(|region| region.difference(&part));
        regions = left.collect();
    }
    Some(Taken {
        family,
        interface,
        regions,
        before,
    })
}

impl<'a> CheckContext<'a> {
    /// Each destination translation that applies, with what becomes of what it takes.
    ///
    /// Cost: for each line a walk of its destinations from each segment, and from hostile devices until one gets
    /// through.
    pub(super) fn published(&self) -> &[Published<'a>] {
        self.published.get_or_init(|| published(self))
    }
}

fn published<'v>(view: &CheckContext<'v>) -> Vec<Published<'v>> {
    let applying = lines(view)
        .into_iter()
        .filter(|line| line.list == List::Arriving)
        .filter_map(|line| {
            let mut taken = taken(view, line);
            taken
                .iter_mut()
                .for_each(|one| one.regions.retain(|region| !region.is_empty()));
            taken.retain(|one| !one.regions.is_empty());
            (!taken.is_empty()).then(|| Published {
                line,
                fate: fate(view, line, &taken),
            })
        });
    applying.collect()
}

/// Sends what a destination translation takes, from everywhere.
fn fate(view: &CheckContext<'_>, line: TranslationLine<'_>, taken: &[Taken]) -> TranslationFate {
    let mut fate = TranslationFate {
        arrives: Some(false),
        why: None,
        unanswered: Vec::new(),
    };
    for family in Family::ALL {
        let of_family = || taken.iter().filter(move |taken| taken.family == family);
        let regions = || of_family().flat_map(|taken| &taken.regions);
        let destinations = regions().fold(IntervalSet::empty(), |all, region| {
            all.union(&region.destination)
        });
        if destinations.is_empty() {
            continue;
        }
        let plan = view.network.plan(family);
        let device = plan.device(plan.router_index(line.router));
        let near: Vec<SegmentId> = of_family()
            .map(|taken| device.interfaces[taken.interface].segment)
            .collect();
        let arrives = arrives(view, plan, line, &near, &destinations);
        fate.arrives = match (fate.arrives, arrives) {
            (Some(true), _) | (_, Some(true)) => Some(true),
            (Some(false), Some(false)) => Some(false),
            _ => None,
        };
        // Behind the only device that forwards nobody else meets it.
        let alone = view.site.routers.len() == 1 && !view.hosts_route;
        for from in view.site.segment_ids() {
            if (!alone || near.contains(&from))
                && !fate.unanswered.contains(&from)
                && is_unanswered(view, plan, line, from, &destinations)
            {
                fate.unanswered.push(from);
            }
        }
        fate.why = fate.why.or_else(|| why(view, plan, line, of_family()));
    }
    fate
}

/// Whether something that the line translates arrives, from a hostile device anywhere: near ones first. `None`: a limit
/// was met before.
fn arrives(
    view: &CheckContext<'_>,
    plan: &Plan,
    line: TranslationLine<'_>,
    near: &[SegmentId],
    destinations: &IntervalSet,
) -> Option<bool> {
    let mut origins: Vec<Origin> = view.network.fabric.origins().collect();
    origins.sort_by_key(|origin| !origin.segment().is_some_and(|one| near.contains(&one)));
    let mut complete = true;
    for origin in origins {
        let (flows, coverage) = through(view, plan, line, Sender::Hostile(origin), destinations);
        if !flows.is_empty() {
            return Some(true);
        }
        complete &= coverage.is_complete();
    }
    complete.then_some(false)
}

/// Flows of a sender that the line translates and that arrive.
fn through(
    view: &CheckContext<'_>,
    plan: &Plan,
    line: TranslationLine<'_>,
    sender: Sender,
    destinations: &IntervalSet,
) -> (Vec<(Place, Flow)>, WalkCoverage) {
    let device = plan.router_index(line.router);
    let target = Target {
        addresses: destinations,
        segment: None,
        services: None,
    };
    let mut flows = Vec::new();
    let coverage = reach(view.network, plan, sender, target, &mut |arrival| {
        if let Arrival::Delivered(place, flow) = arrival
            && translated_by(&flow, device, line.number)
        {
            flows.push((place, flow));
        }
    });
    view.met(&super::translation_undelivered::CHECK, coverage);
    (flows, coverage)
}

fn translated_by(flow: &Flow, device: DeviceIndex, line: usize) -> bool {
    flow.hops.iter().any(|hop| {
        let written = hop
            .translated
            .as_ref()
            .and_then(|one| one.destination.as_ref());
        hop.device == device && written.is_some_and(|(number, _)| *number == line)
    })
}

/// Whether plain devices of a segment get something through by the line, and no answer to any of it comes back.
fn is_unanswered(
    view: &CheckContext<'_>,
    plan: &Plan,
    line: TranslationLine<'_>,
    from: SegmentId,
    destinations: &IntervalSet,
) -> bool {
    let sender = Sender::Segment(from);
    let (flows, coverage) = through(view, plan, line, sender, destinations);
    let answered = flows.iter().any(|(place, flow)| {
        let (back, coverage) = returns(view.network, plan, sender, *place, flow);
        !back.is_empty() || !coverage.is_complete()
    });
    !flows.is_empty() && !answered && coverage.is_complete()
}

/// Why one packet that the line takes stops behind it.
fn why<'t>(
    view: &CheckContext<'_>,
    plan: &Plan,
    line: TranslationLine<'_>,
    taken: impl Iterator<Item = &'t Taken>,
) -> Option<String> {
    let device = plan.router_index(line.router);
    for one in taken {
        let segment = plan.device(device).interfaces[one.interface].segment;
        for region in &one.regions {
            let Some(packet) = witness(view.network, plan, region) else {
                continue;
            };
            let sender = Sender::Hostile(Origin::Segment(segment));
            for way in trace(view.network, sender, &packet) {
                let by_line = way.steps.iter().any(|step| {
                    step.device == device && step.destination_translation == Some(line.number)
                });
                if let (true, Outcome::Stopped(stop)) = (by_line, way.outcome) {
                    return Some(stopped(stop));
                }
            }
        }
    }
    None
}
