//! Pairs of segments that talk, the gateways between them, and what those would say to another packet.

use boundwalk_analysis::{Cell, Endpoint, party_name};
use boundwalk_diagnostic::Span;
use boundwalk_forwarding::{DeviceId, Outcome, Packet, Sender, Trace, trace};
use boundwalk_model::{Action, Family, RouterId, SegmentId};
use boundwalk_packet::IntervalSet;

use super::view::CheckContext;

/// A packet that one segment gets through to another segment, gateway or router.
pub(super) struct Conversation<'v> {
    pub(super) from: SegmentId,
    pub(super) to: Endpoint,
    pub(super) cell: &'v Cell,
    pub(super) packet: Packet,
}

/// A gateway that lets a packet through, with the interfaces of arrival and departure.
#[derive(Clone, Copy)]
pub(super) struct AskedCrossing {
    pub(super) router: RouterId,
    pub(super) ingress: usize,
    pub(super) egress: usize,
}

/// The witness packet of each pair of which something passes.
pub(super) fn talks<'v>(
    view: &'v CheckContext<'_>,
    family: Family,
) -> impl Iterator<Item = Conversation<'v>> {
    let matrix = view.matrix(family);
    let rows = matrix
        .rows
        .iter()
        .zip(&matrix.cells)
        .filter_map(|(row, cells)| match *row {
            Endpoint::Segment(from) => Some((from, cells)),
            _ => None,
        });
    rows.flat_map(|(from, cells)| {
        matrix
            .columns
            .iter()
            .zip(cells)
            .filter_map(move |(&to, cell)| {
                let packet = cell.witness?;
                Some(Conversation {
                    from,
                    to,
                    cell,
                    packet,
                })
            })
    })
}

impl Conversation<'_> {
    /// `office -> plant`.
    pub(super) fn name(&self, view: &CheckContext<'_>) -> String {
        let from = &view.site.segment(self.from).name.value;
        let to = party_name(view.site, self.to);
        format!("{from} -> {to}")
    }

    /// The ways on which it arrives; several where the sender may use several routers. Looks at each rule.
    pub(super) fn ways(&self, view: &CheckContext<'_>) -> Vec<Trace> {
        let mut ways = trace(view.network, Sender::Segment(self.from), &self.packet);
        ways.retain(|way| matches!(way.outcome, Outcome::Delivered(_)));
        ways
    }

    /// The gateways on its ways, without one that it is for. None where any device writes an address: then an
    /// answer looks different on each side.
    pub(super) fn crossings(&self, view: &CheckContext<'_>, family: Family) -> Vec<AskedCrossing> {
        if let Some(only) = self.straight(view, family) {
            return vec![only];
        }
        let ways = self.ways(view);
        let mut steps = ways.iter().flat_map(|way| &way.steps);
        if steps.any(|step| step.arrived != step.left) {
            return Vec::new();
        }
        ways.iter()
            .flat_map(|way| crossings_of(view, family, way))
            .collect()
    }

    /// The one gateway on the way, where the matrix says it all.
    fn straight(&self, view: &CheckContext<'_>, family: Family) -> Option<AskedCrossing> {
        let (&[router], Endpoint::Segment(to)) = (self.cell.crossed.as_slice(), self.to) else {
            return None;
        };
        let plan = view.network.plan(family);
        let device = plan.device(plan.router_index(router));
        let filter = device.filter.as_ref()?;
        if view.hosts_route || !filter.arrivals.is_empty() || !filter.departures.is_empty() {
            return None;
        }
        let on = |segment: SegmentId| {
            let mut own = device
                .interfaces
                .iter()
                .enumerate()
                .filter(|(_, interface)| interface.segment == segment);
            let (at, _) = own.next()?;
            own.next().is_none().then_some(at)
        };
        Some(AskedCrossing {
            router,
            ingress: on(self.from)?,
            egress: on(to)?,
        })
    }
}

/// The gateways on a way, without one that it ends at.
pub(super) fn crossings_of(
    view: &CheckContext<'_>,
    family: Family,
    way: &Trace,
) -> Vec<AskedCrossing> {
    let plan = view.network.plan(family);
    let crossed = way.steps.iter().filter_map(|step| {
        let DeviceId::Router(router) = plan.device(step.device).id else {
            return None;
        };
        step.decision.as_ref()?;
        Some(AskedCrossing {
            router,
            ingress: step.ingress?,
            egress: step.route?.next_hop.interface()?,
        })
    });
    crossed.collect()
}

impl AskedCrossing {
    /// The same gateway on the way back.
    pub(super) fn turned(&self) -> Self {
        Self {
            router: self.router,
            ingress: self.egress,
            egress: self.ingress,
        }
    }

    /// The rule of the gateway that denies a packet, `Some(None)` where the default does; `None` where the rules
    /// permit it.
    pub(super) fn denied(&self, view: &CheckContext<'_>, packet: &Packet) -> Option<Option<usize>> {
        let plan = view.network.plan(Family::of(packet.source));
        let device = plan.device(plan.router_index(self.router));
        let filter = device.filter.as_ref()?;
        let classes = &view.network.classes;
        let class = classes.class_of(
            packet.protocol.0,
            packet.source_port,
            packet.destination_port,
        );
        let source = IntervalSet::point(Family::value(packet.source));
        let destination = IntervalSet::point(Family::value(packet.destination));
        let mut candidates = filter.between(self.ingress, self.egress);
        candidates.and_assign(&filter.lines.from_source(&source));
        candidates.and_assign(&filter.lines.to_destination(&destination));
        let mut matching = candidates.iter();
        let line = matching.find(|&line| {
            let services = &filter.lines.lines()[line].services;
            services.as_ref().is_none_or(|set| set.contains(class))
        });
        (filter.action(line) != Action::Permit).then(|| line.map(|line| filter.rules[line]))
    }
}

/// A message of ICMP or ICMPv6 with these addresses.
pub(super) fn message(
    protocol: boundwalk_model::Protocol,
    (kind, code): (u8, u8),
    source: std::net::IpAddr,
    destination: std::net::IpAddr,
) -> Packet {
    Packet {
        source,
        destination,
        protocol,
        source_port: 0,
        destination_port: u16::from(kind) * 256 + u16::from(code),
    }
}

/// Where a rule stands, or the default, and its name.
pub(super) fn rule_place(
    view: &CheckContext<'_>,
    router: RouterId,
    rule: Option<usize>,
) -> (Span, String) {
    let router = view.site.router(router);
    let name = &router.name.value;
    match (router.filter(), rule) {
        (Some(filter), Some(number)) => {
            let rule = &filter.rules[number];
            let text = format!("the rule \"{}\" of {name}", rule.name.value);
            (rule.name.span, text)
        }
        (Some(filter), None) => (filter.default.span, format!("the default of {name}")),
        (None, _) => (router.name.span, name.clone()),
    }
}
