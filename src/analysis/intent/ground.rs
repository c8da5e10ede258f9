//! What a line speaks of, as addresses and services of one family.

use std::sync::OnceLock;

use boundwalk_forwarding::{Network, Plan, Written};
use boundwalk_model::{AddressMatch, Family, RuleParty as Named, SegmentId, ServiceMatch};
use boundwalk_packet::{ClassSet, IntervalSet, ServiceBox};

use super::super::matrix::elsewhere;
use super::super::party::{Column, Endpoint, columns};

/// A network in one family, with what every line asks for.
pub(crate) struct Ground<'n> {
    pub network: &'n Network<'n>,
    pub plan: &'n Plan,
    /// Segments by number, then gateways and routers.
    pub columns: Vec<Column>,
    /// For each column the destinations of others that may be delivered there all the same.
    extra: Vec<OnceLock<IntervalSet>>,
    /// Whether a port is ever rewritten.
    pub rewrites_ports: bool,
}

impl<'n> Ground<'n> {
    pub fn new(network: &'n Network<'n>, family: Family) -> Self {
        let plan = network.plan(family);
        let columns = columns(network, plan, false);
        let mut arrivals = plan
            .devices
            .iter()
            .filter_map(|device| device.filter.as_ref())
            .flat_map(|filter| &filter.arrivals);
        Self {
            network,
            plan,
            extra: columns.iter().map(|_| OnceLock::new()).collect(),
            columns,
            rewrites_ports: arrivals.any(|line| line.port.is_some()),
        }
    }

    pub fn family(&self) -> Family {
        self.plan.family
    }

    /// Destinations of others that may be delivered at a column: by translation, or because a device puts them out
    /// there.
    pub fn extra(&self, column: usize) -> &IntervalSet {
        self.extra[column].get_or_init(|| {
            let own = std::slice::from_ref(&self.columns[column]);
            elsewhere(self.plan, &self.columns, own)
        })
    }

    /// Destinations that a translation turns into one of these.
    fn other_names(&self, own: &IntervalSet) -> IntervalSet {
        let leads = self
            .plan
            .devices
            .iter()
            .filter_map(|device| device.filter.as_ref())
            .flat_map(|filter| &filter.arrivals)
            .filter(
                |line| matches!(line.written, Written::Address(address) if own.contains(address)),
            );
        leads
            .filter_map(|line| line.destination.as_ref())
            .fold(IntervalSet::empty(), |all, one| all.union(one))
    }

    /// The numbers of the columns that parties come to.
    pub fn targets(&self, parties: &[Named]) -> Vec<usize> {
        let segments = self.network.site.segments.len();
        let mut numbers: Vec<usize> = Vec::new();
        for party in parties {
            match *party {
                Named::Segment(segment) => numbers.push(segment.0),
                Named::Zone(zone) => {
                    let members = self.network.site.segments_in(zone);
                    numbers.extend(members.map(|segment| segment.0));
                }
                Named::Gateway => numbers.extend(segments..self.columns.len()),
            }
        }
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }

    /// What a line speaks of.
    pub fn scope(
        &self,
        (from, to): (&[Named], &[Named]),
        source: Option<&AddressMatch>,
        destination: Option<&AddressMatch>,
        services: Option<&ServiceMatch>,
    ) -> Scope {
        let family = self.family();
        let segments = self.network.site.segments.len();
        let from = self.targets(from).into_iter();
        let addresses = |list: &AddressMatch| list.set.of(family).clone();
        Scope {
            from: from.filter(|&at| at < segments).map(SegmentId).collect(),
            to: self.targets(to),
            source: source.map(addresses),
            destination: destination.map(addresses),
            services: services.map(|list| self.services(list)),
        }
    }

    /// The classes of a list of services.
    pub fn services(&self, list: &ServiceMatch) -> ClassSet {
        let boxes: Vec<ServiceBox> = list
            .services
            .iter()
            .filter_map(|service| service.packets(self.family()))
            .collect();
        self.network.classes.of(&boxes)
    }
}

/// What a line speaks of, in one family.
#[derive(Clone, Debug)]
pub(crate) struct Scope {
    /// Segments that send.
    pub from: Vec<SegmentId>,
    /// Columns that receive.
    pub to: Vec<usize>,
    /// Sources; `None`: any.
    pub source: Option<IntervalSet>,
    /// Destinations; `None`: any.
    pub destination: Option<IntervalSet>,
    /// Services; `None`: every one.
    pub services: Option<ClassSet>,
}

impl Scope {
    /// Ordered pairs of a segment and a column, without a segment and itself.
    pub fn pairs(&self) -> impl Iterator<Item = (SegmentId, usize)> + '_ {
        let to = |from: SegmentId| self.to.iter().map(move |&to| (from, to));
        self.from
            .iter()
            .flat_map(move |&from| to(from))
            .filter(|(from, to)| from.0 != *to)
    }

    /// Sources of a segment that the line speaks of.
    pub fn sources(&self, ground: &Ground<'_>, from: SegmentId) -> IntervalSet {
        let own = &ground.plan.segment(from).addresses;
        match &self.source {
            Some(source) => own.intersection(source),
            None => own.clone(),
        }
    }

    /// Destinations of a column that the line speaks of, as they are sent: its own, and where the line names some
    /// those that a translation turns into its own.
    pub fn destinations(&self, ground: &Ground<'_>, to: usize) -> IntervalSet {
        let own = &ground.columns[to].addresses;
        match &self.destination {
            Some(destination) => own
                .union(&ground.other_names(own))
                .intersection(destination),
            None => own.clone(),
        }
    }

    /// Whether a packet that it speaks of can exist between a pair.
    pub fn exists(
        &self,
        ground: &Ground<'_>,
        (from, to): (SegmentId, usize),
        hostile: bool,
    ) -> bool {
        let served = self
            .services
            .as_ref()
            .is_none_or(|services| !services.is_empty());
        served && self.may_send(ground, (from, to), hostile)
    }

    /// Whether a packet of any service between the addresses that it speaks of can exist between a pair.
    pub fn may_send(
        &self,
        ground: &Ground<'_>,
        (from, to): (SegmentId, usize),
        hostile: bool,
    ) -> bool {
        let sends = if hostile {
            self.source.as_ref().is_none_or(|source| !source.is_empty())
        } else {
            !self.sources(ground, from).is_empty()
        };
        sends && !self.destinations(ground, to).is_empty()
    }

    /// The same the other way round: who receives here sends there. Gateways start nothing.
    pub fn turned(&self, ground: &Ground<'_>) -> Self {
        let segments = ground.network.site.segments.len();
        let from = self.to.iter().copied().filter(|&at| at < segments);
        Self {
            from: from.map(SegmentId).collect(),
            to: self.from.iter().map(|segment| segment.0).collect(),
            source: self.destination.clone(),
            destination: self.source.clone(),
            services: None,
        }
    }

    /// The party of a column.
    pub fn party(ground: &Ground<'_>, to: usize) -> Endpoint {
        ground.columns[to].party
    }
}
