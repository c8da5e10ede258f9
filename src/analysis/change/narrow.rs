//! What to ask of a pair where only rules differ: packets that those rules name, as plain and as hostile devices send
//! them.

use boundwalk_forwarding::{DeviceId, SendPoint};
use boundwalk_model::{AddressMatch, Rule, SegmentId};
use boundwalk_packet::{ClassSet, IntervalSet};

use super::super::intent::Ground;
use super::disagreement::{Arriving, Disagreement};
use super::seen::{Narrow, Seen};

/// A sender as rules see it, with the lines of rules that may match what it sends.
pub(super) struct SeenSender {
    seen: Seen,
    arriving: Option<Arriving>,
}

/// What the rules that differ name, in one family.
pub(super) struct Named<'n> {
    rules: Vec<NamedRule>,
    /// Whether rules see the source that was sent.
    sees_source: bool,
    /// Whether rules see the destination that the packet arrives at.
    sees_destination: bool,
    /// Whether no destination is rewritten.
    keeps_destination: bool,
    /// Whether ports are rewritten.
    rewrites_ports: bool,
    /// Whether packets arrive at the only device that forwards by the interfaces that their sender's frames reach, and
    /// leave it into the segment of their target.
    direct: bool,
    /// Where the versions decide differently, if packets pass one list of rules only.
    disagreement: Option<Disagreement<'n>>,
}

struct NamedRule {
    /// Columns of the interfaces that it names; `None`: any.
    from: Option<Vec<usize>>,
    to: Option<Vec<usize>>,
    source: Option<IntervalSet>,
    destination: Option<IntervalSet>,
    services: Option<ClassSet>,
}

impl<'n> Named<'n> {
    pub(super) fn new(universe: &[Ground<'n>; 2], rules: &[&Rule]) -> Self {
        let ground = &universe[1];
        let devices = ground.plan.devices.iter();
        let filters: Vec<_> = devices
            .clone()
            .filter_map(|device| device.filter.as_ref())
            .collect();
        // Nobody brings a packet back to it with other headers.
        let alone = filters.len() < 2 && devices.filter(|device| device.forwards).count() < 2;
        let direct = universe.iter().all(direct);
        Self {
            disagreement: direct.then(|| Disagreement::new(universe, rules)).flatten(),
            rules: rules
                .iter()
                .filter_map(|rule| named(ground, rule))
                .collect(),
            sees_source: alone || filters.iter().all(|filter| filter.departures.is_empty()),
            sees_destination: alone || filters.iter().all(|filter| filter.arrivals.is_empty()),
            keeps_destination: filters.iter().all(|filter| filter.arrivals.is_empty()),
            rewrites_ports: ground.rewrites_ports,
            direct,
        }
    }

    /// A sender as rules see it, with the lines that may match what it sends.
    pub(super) fn sender(&self, ground: &Ground<'_>, seen: Seen) -> SeenSender {
        let arriving = self
            .disagreement
            .as_ref()
            .map(|one| one.arriving(ground, &seen));
        SeenSender { seen, arriving }
    }

    /// What to ask of a pair; `None`: no rule that differs names any of its packets.
    pub(super) fn between(
        &self,
        ground: &Ground<'_>,
        from: &SeenSender,
        to: usize,
    ) -> Option<Narrow> {
        let rules = self.naming(ground, &from.seen, to);
        if rules.is_empty() {
            return None;
        }
        let known = self.disagreement.as_ref().zip(from.arriving.as_ref());
        let narrow =
            known.and_then(|(rules, arriving)| rules.between(ground, (&from.seen, arriving), to));
        Some(narrow.unwrap_or_else(|| self.around(ground, &rules)))
    }

    /// The rules that differ and name packets of a pair.
    fn naming(&self, ground: &Ground<'_>, from: &Seen, to: usize) -> Vec<&NamedRule> {
        let own = &ground.columns[to].addresses;
        let meets = |set: &Option<IntervalSet>, other: &IntervalSet| {
            set.as_ref().is_none_or(|set| set.overlaps(other))
        };
        self.rules
            .iter()
            .filter(|rule| !self.direct || rule.between(&from.ingress, to))
            .filter(|rule| !self.sees_source || meets(&rule.source, &from.sources))
            .filter(|rule| {
                let there = |rule: &NamedRule| {
                    // A device may put out there what is another segment's.
                    meets(&rule.destination, own) || meets(&rule.destination, ground.extra(to))
                };
                !self.sees_destination || there(rule)
            })
            .collect()
    }

    /// A box around all that some rules name.
    fn around(&self, ground: &Ground<'_>, rules: &[&NamedRule]) -> Narrow {
        let destinations = rules
            .iter()
            .map(|rule| rule.destination.as_ref())
            .collect::<Option<IntervalSet>>();
        let services = rules
            .iter()
            .map(|rule| rule.services.as_ref())
            .collect::<Option<Vec<_>>>();
        Narrow {
            destinations: destinations.filter(|_| self.keeps_destination),
            services: services.filter(|_| !self.rewrites_ports).map(|sets| {
                let none = ground.network.classes.none();
                sets.into_iter().fold(none, |all, one| all.union(one))
            }),
        }
    }
}

/// Whether one device forwards, and is found by everybody who does as configured at interfaces of their own segment.
fn direct(ground: &Ground<'_>) -> bool {
    let plan = ground.plan;
    let forwarding = plan.devices.iter().filter(|device| device.forwards);
    // A host with several interfaces takes what is for another of its addresses.
    let mut hosts = plan.devices.iter().filter(|device| !device.forwards);
    let segments =
        (0..plan.segments.len()).map(|at| (SegmentId(at), SendPoint::Segment(SegmentId(at))));
    let single = hosts.clone().all(|host| host.interfaces.len() < 2);
    let own = hosts.by_ref().filter_map(|host| match host.id {
        DeviceId::Host(id) => Some((
            host.interfaces.first()?.segment,
            SendPoint::WiredInterface(plan.host_index(id), 0),
        )),
        DeviceId::Router(_) => None,
    });
    forwarding.count() < 2
        && single
        && segments.chain(own).all(|(segment, send_point)| {
            let wire = plan.wire(send_point);
            let learned = wire.learned.iter().map(|one| (one.device, one.ingress));
            let mut found = wire.attached.iter().copied().chain(learned);
            found.all(|(device, at)| {
                let here = plan.device(device);
                !here.forwards || here.interfaces[at].segment == segment
            })
        })
}

impl NamedRule {
    /// Whether the interfaces that it names are among those of a pair.
    fn between(&self, from: &[usize], to: usize) -> bool {
        let among = |columns: &Option<Vec<usize>>, column: usize| {
            let named = columns.as_ref();
            named.is_none_or(|columns| columns.contains(&column))
        };
        from.iter().any(|&from| among(&self.from, from)) && among(&self.to, to)
    }
}

/// A rule in one family; `None` where it matches no packet of it.
fn named(ground: &Ground<'_>, rule: &Rule) -> Option<NamedRule> {
    let family = ground.family();
    let set = |list: &Option<AddressMatch>| {
        let set = list.as_ref().map(|list| list.set.of(family).clone());
        match set {
            Some(set) if set.is_empty() => Err(()),
            other => Ok(other),
        }
    };
    let services = rule.services.as_ref().map(|list| ground.services(list));
    let (source, destination) = (set(&rule.source).ok()?, set(&rule.destination).ok()?);
    if services.as_ref().is_some_and(ClassSet::is_empty) {
        return None;
    }
    Some(NamedRule {
        from: rule.from.as_ref().map(|from| ground.targets(from)),
        to: rule.to.as_ref().map(|to| ground.targets(to)),
        source,
        destination,
        services,
    })
}
