//! Pairs of segments that talk, the gateways between them, and what those would say to another packet.

use crate::analysis::{Cell, Party};
use crate::diagnostic::Span;
use crate::forwarding::{DeviceId, Outcome, Packet, Sender, Trace, trace};
use crate::model::{Action, Family, RouterId, SegmentId};

use super::view::View;

/// A packet that one segment gets through to another segment, gateway or router.
pub(super) struct Talk<'v> {
    pub(super) from: SegmentId,
    pub(super) to: Party,
    pub(super) cell: &'v Cell,
    /// Its way; one of several where the sender may use several routers.
    pub(super) trace: Trace,
}

/// A gateway that lets a packet through, with the interfaces of arrival and departure.
pub(super) struct Crossing {
    pub(super) router: RouterId,
    pub(super) ingress: usize,
    pub(super) egress: usize,
}

/// The witness packet of each pair of which something passes, with each way that it takes.
pub(super) fn talks<'v>(view: &'v View<'_>, family: Family) -> Vec<Talk<'v>> {
    let matrix = view.matrix(family);
    let mut talks = Vec::new();
    for (row, cells) in matrix.rows.iter().zip(&matrix.cells) {
        let Party::Segment(from) = *row else {
            continue;
        };
        for (&to, cell) in matrix.columns.iter().zip(cells) {
            let Some(packet) = &cell.witness else {
                continue;
            };
            let ways = trace(view.network, Sender::Segment(from), packet);
            let delivered = |way: &Trace| matches!(way.outcome, Outcome::Delivered(_));
            for trace in ways.into_iter().filter(delivered) {
                talks.push(Talk {
                    from,
                    to,
                    cell,
                    trace,
                });
            }
        }
    }
    talks
}

impl Talk<'_> {
    /// `office -> plant`.
    pub(super) fn name(&self, view: &View<'_>) -> String {
        let from = &view.site.segment(self.from).name.value;
        let to = crate::analysis::party_name(view.site, self.to);
        format!("{from} -> {to}")
    }

    /// Whether any device writes an address: then an answer looks different on each side.
    pub(super) fn translated(&self) -> bool {
        let mut steps = self.trace.steps.iter();
        steps.any(|step| step.arrived != step.left)
    }

    /// The gateways on the way, without one that the packet is for.
    pub(super) fn crossings(&self, view: &View<'_>, family: Family) -> Vec<Crossing> {
        let plan = view.network.plan(family);
        let steps = self.trace.steps.iter();
        let crossed = steps.filter_map(|step| {
            let DeviceId::Router(router) = plan.device(step.device).id else {
                return None;
            };
            step.decision.as_ref()?;
            Some(Crossing {
                router,
                ingress: step.ingress?,
                egress: step.route?.next_hop.interface()?,
            })
        });
        crossed.collect()
    }
}

impl Crossing {
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
    pub(super) fn denied(&self, view: &View<'_>, packet: &Packet) -> Option<Option<usize>> {
        let plan = view.network.plan(Family::of(packet.source));
        let filter = plan
            .device(plan.router_index(self.router))
            .filter
            .as_ref()?;
        let classes = &view.network.classes;
        let class = classes.class_of(
            packet.protocol.0,
            packet.source_port,
            packet.destination_port,
        );
        let line = filter.lines.first_match(
            self.ingress as u32,
            self.egress as u32,
            Family::value(packet.source),
            Family::value(packet.destination),
            class,
        );
        (filter.action(line) != Action::Permit).then(|| line.map(|line| filter.rules[line]))
    }
}

/// A message of ICMP or ICMPv6 with these addresses.
pub(super) fn message(
    protocol: crate::model::Protocol,
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
pub(super) fn rule_place(view: &View<'_>, router: RouterId, rule: Option<usize>) -> (Span, String) {
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
