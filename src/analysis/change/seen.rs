//! A sender as rules see it, and what to ask of a pair where only rules differ.

use boundwalk_forwarding::{Accepts, Origin, SendPoint};
use boundwalk_model::SegmentId;
use boundwalk_packet::{ClassSet, Interval, IntervalSet};

use super::super::intent::Ground;

/// What to ask of a pair: everything, or only some destinations and services.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Narrow {
    pub destinations: Option<IntervalSet>,
    pub services: Option<ClassSet>,
}

impl Narrow {
    /// Whether there is nothing to ask.
    pub(super) fn is_nothing(&self) -> bool {
        self.destinations
            .as_ref()
            .is_some_and(IntervalSet::is_empty)
    }
}

/// A sender as rules see it: where its packets come to the first gateway, and from which addresses.
pub(super) struct Seen {
    /// Segments of the interfaces, by number.
    pub(super) ingress: Vec<usize>,
    pub(super) sources: IntervalSet,
}

impl Seen {
    /// All that is on a segment, as configured.
    pub(super) fn configured(ground: &Ground<'_>, from: SegmentId) -> Self {
        let plan = ground.plan;
        let mut sources = plan.segment(from).addresses.clone();
        for &host in plan.hosts_with_own_ways(from) {
            let own: IntervalSet = plan
                .device(host)
                .interfaces
                .iter()
                .filter(|interface| interface.segment == from)
                .flat_map(|interface| &interface.addresses)
                .map(|&address| Interval::point(address))
                .collect();
            sources = sources.union(&own);
        }
        Self {
            ingress: vec![from.0],
            sources,
        }
    }

    /// A hostile device: any source that an interface which its frames reach lets in.
    pub(super) fn hostile(ground: &Ground<'_>, from: Origin) -> Self {
        let plan = ground.plan;
        let anywhere = plan.family.full().difference(&plan.nobody);
        let mut seen = Self {
            ingress: Vec::new(),
            sources: IntervalSet::empty(),
        };
        for &(device, at) in &plan.wire(SendPoint::Hostile(from)).attached {
            let interface = &plan.device(device).interfaces[at];
            seen.ingress.push(interface.segment.0);
            let accepted = interface.accepts.as_ref().map(Accepts::all);
            let lets_in = accepted.as_deref().unwrap_or(&anywhere);
            seen.sources = seen.sources.union(lets_in);
        }
        seen.sources = seen.sources.intersection(&anywhere);
        seen
    }
}
