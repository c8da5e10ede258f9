//! A way as stops and the cables between them: what a picture of it shows.

use boundwalk_analysis::{
    Bypass, CableEnd, Equipment, Leg, PathResult, Way, interface_name, origin_name, vlan_name,
};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::layer2::{
    FrameStep, FrameWay, InterfaceId, InterfaceOf, NodeKind, PortId, PortName, Start,
};
use boundwalk_forwarding::{DeviceId, Network, Outcome, Step};
use boundwalk_model::{Family, Site};

use super::super::frames::{node_name, port_name_of, segment_name, short_port, tags_text};
use super::super::path::PathView;
use super::super::words::rule_name;

/// A place on a way.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct PictureStop<'s> {
    /// Its name.
    pub name: String,
    /// What it is: `switch`, `gateway`.
    pub what: String,
    /// What happens there, a line each.
    pub lines: Vec<String>,
    /// The device, if it is one of the site.
    pub device: Option<Equipment>,
    /// By what the way comes in.
    pub into: Option<CableEnd<'s>>,
    /// By what it goes on.
    pub out_of: Option<CableEnd<'s>>,
}

/// What lies between two stops.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct PictureHop {
    /// The port that the frame leaves by; empty where none is described.
    pub from: String,
    /// The port that it arrives at.
    pub to: String,
    /// Its tags on the cable.
    pub tags: String,
}

/// A way from end to end: one hop less than stops.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Chain<'s> {
    /// What it shows.
    pub title: String,
    /// The stops in order.
    pub stops: Vec<PictureStop<'s>>,
    /// Between them.
    pub hops: Vec<PictureHop>,
    /// How it ends.
    pub end: String,
    /// What would close it, if that was asked.
    pub closing: Vec<String>,
}

impl<'s> Chain<'s> {
    /// A way round the gateway, with the settings that would close it.
    pub fn bypass(network: &Network<'s>, pair: &Bypass, closing: Vec<String>) -> Self {
        let (from, to) = (
            origin_name(network.site, &network.fabric, pair.from),
            origin_name(network.site, &network.fabric, pair.to),
        );
        let mut chain = Self {
            title: format!("Round the gateway: {from} to {to}"),
            closing,
            end: format!("reached {to}, and no gateway decided"),
            ..Self::default()
        };
        chain.way(network, &pair.way);
        chain
    }

    fn way(&mut self, network: &Network<'s>, way: &Way) {
        for (number, leg) in way.legs.iter().enumerate() {
            if number == 0 {
                self.start(network, leg);
            }
            self.leg(network, leg);
            let last = number + 1 == way.legs.len();
            if last && leg.interface.is_none() {
                self.anybody(network, leg, way.end.port);
            }
            if let Some(handover) = way.handovers.get(number)
                && let Some(stop) = self.stops.last_mut()
            {
                let plan = network.plan(Family::V4);
                let device = &plan.device(handover.device).interfaces[handover.egress];
                let onto = segment_name(network.site, device.segment);
                stop.lines
                    .push(format!("routes it on to {onto}, without rules"));
            }
        }
    }

    /// One packet's way, by the first of the routers that the sender may use.
    pub fn path(network: &'s Network<'s>, sources: &'s Sources, result: &PathResult) -> Self {
        let plan = network.plan(Family::of(result.packet.source));
        let view = PathView {
            network,
            plan,
            sources,
            all_rules: false,
        };
        let mut chain = Self {
            title: result.packet.to_string(),
            ..Self::default()
        };
        let Some((trace, legs)) = result.traces.first().zip(result.legs.first()) else {
            return chain;
        };
        chain.stops.push(PictureStop {
            name: view.sender(result),
            lines: vec![result.packet.to_string()],
            ..PictureStop::default()
        });
        for (number, step) in trace.steps.iter().enumerate() {
            chain.crossed(network, legs.get(number).and_then(Option::as_ref));
            chain.device(&view, step);
        }
        chain.crossed(network, legs.last().and_then(Option::as_ref));
        chain.end = view.outcome(trace);
        if let Outcome::Delivered(_) = trace.outcome
            && let Some(reply) = &trace.reply
            && !reply.two_way()
        {
            chain.end.push_str("; no reply comes back");
        }
        chain
    }

    /// The frames between two devices.
    fn crossed(&mut self, network: &Network<'s>, leg: Option<&Leg>) {
        let Some(leg) = leg else {
            return;
        };
        if let (1, Start::AttachPoint(port_id, _)) = (self.stops.len(), leg.way.start) {
            self.stops[0].what = format!("at {}", port_name_of(network, port_id));
        }
        self.leg(network, &leg.way);
        if leg.way.interface.is_none() {
            self.anybody(network, &leg.way, leg.end.port);
        }
    }

    fn device(&mut self, view: &PathView<'s>, step: &Step) {
        let network = view.network;
        let device = match view.plan.device(step.device).id {
            DeviceId::Router(id) => Equipment::Router(id),
            DeviceId::Host(id) => Equipment::Host(id),
        };
        let known = self
            .stops
            .last()
            .is_some_and(|stop| stop.device == Some(device));
        if !known {
            let stop = device_stop(network.site, device);
            self.arrive("", stop);
        }
        let lines = step_lines(view, step);
        if let Some(stop) = self.stops.last_mut() {
            stop.lines.extend(lines);
        }
    }

    fn start(&mut self, network: &Network<'s>, leg: &FrameWay) {
        let mut stop = PictureStop::default();
        match leg.start {
            Start::AttachPoint(port_id, _) => {
                stop.name = "a device".to_owned();
                stop.what = format!("at {}", port_name_of(network, port_id));
            }
            Start::WiredInterface(interface) => {
                stop.name = interface_name(network.site, network.fabric.interface(interface).of);
            }
            Start::Inside(node, ..) => stop.name = node_name(network, node),
        }
        stop.lines.push(format!("sends {}", sent(&leg.sent)));
        self.stops.push(stop);
    }

    /// Switches of a leg, and the interface that takes the frame.
    fn leg(&mut self, network: &Network<'s>, leg: &FrameWay) {
        let mut tags = tags_text(&leg.sent);
        for step in &leg.steps {
            let kind = network.fabric.node(step.node).kind;
            if let NodeKind::Neighbours(_) | NodeKind::Assumed(_) = kind {
                tags = tags_text(&step.left);
                continue;
            }
            self.arrive(
                &short_port(network, step.ingress),
                switch_stop(network, step),
            );
            if let Some(hop) = self.hops.last_mut() {
                hop.tags = tags;
            }
            tags = tags_text(&step.left);
        }
        if let Some(interface) = leg.interface {
            let (to, stop) = interface_stop(network, interface);
            self.arrive(&to, stop);
            if let Some(hop) = self.hops.last_mut() {
                hop.tags = tags;
            }
        }
    }

    /// A device that no host of the file is.
    fn anybody(&mut self, network: &Network<'s>, leg: &FrameWay, port_id: PortId) {
        let Some(step) = leg.steps.last() else {
            return;
        };
        if port_end(network, port_id).is_none() {
            return;
        }
        self.arrive(
            "",
            PictureStop {
                name: "whatever is plugged in".to_owned(),
                what: format!("at {}", port_name_of(network, port_id)),
                lines: vec!["takes it".to_owned()],
                ..PictureStop::default()
            },
        );
        if let Some(hop) = self.hops.last_mut() {
            hop.tags = tags_text(&step.left);
        }
    }

    /// Goes on to a stop, by what the one before leaves by.
    fn arrive(&mut self, to: &str, stop: PictureStop<'s>) {
        if let Some(before) = self.stops.last() {
            self.hops.push(PictureHop {
                from: before
                    .out_of
                    .map_or_else(String::new, |end| end.port.to_owned()),
                to: to.to_owned(),
                tags: String::new(),
            });
        }
        self.stops.push(stop);
    }
}

fn sent(tags: &[u16]) -> String {
    match tags {
        [] => "an untagged frame".to_owned(),
        tags => format!("a frame with {}", tags_text(tags)),
    }
}

fn device_stop<'s>(site: &'s Site, device: Equipment) -> PictureStop<'s> {
    let what = match device {
        Equipment::Router(id) => match site.router(id).filter() {
            Some(_) => "gateway",
            None => "router",
        },
        Equipment::Switch(_) => "switch",
        Equipment::Host(_) => "host",
    };
    PictureStop {
        name: device.name(site).to_owned(),
        what: what.to_owned(),
        device: Some(device),
        ..PictureStop::default()
    }
}

fn switch_stop<'s>(network: &Network<'s>, step: &FrameStep) -> PictureStop<'s> {
    let site = network.site;
    let device = match network.fabric.node(step.node).kind {
        NodeKind::Aware(id) | NodeKind::Unaware(id) => Some(Equipment::Switch(id)),
        NodeKind::Bridge(id) => Some(Equipment::Host(id)),
        NodeKind::Neighbours(_) | NodeKind::Assumed(_) => None,
    };
    let mut stop = match device {
        Some(device) => device_stop(site, device),
        None => PictureStop {
            name: node_name(network, step.node),
            ..PictureStop::default()
        },
    };
    stop.lines.push(match step.vlan {
        Some((vlan, _)) => vlan_name(site, vlan),
        None => "passes tags unchanged".to_owned(),
    });
    stop.into = port_end(network, step.ingress);
    stop.out_of = port_end(network, step.egress);
    stop
}

fn interface_stop<'s>(network: &Network<'s>, interface: InterfaceId) -> (String, PictureStop<'s>) {
    let site = network.site;
    let interface = network.fabric.interface(interface);
    let (device, port, name) = match interface.of {
        InterfaceOf::Router(id, at) => {
            let on = &site.router(id).interfaces[at];
            (
                Equipment::Router(id),
                on.port.as_ref().map(|port| port.value.as_str()),
                &on.name,
            )
        }
        InterfaceOf::Host(id, at) => {
            let name = &site.host(id).interfaces[at].name;
            (Equipment::Host(id), Some(name.value.as_str()), name)
        }
    };
    let mut stop = device_stop(site, device);
    let segment = segment_name(site, interface.segment);
    stop.lines
        .push(format!("takes it by {}, on {segment}", name.value));
    stop.into = port.map(|port| CableEnd { device, port });
    (port.unwrap_or(&name.value).to_owned(), stop)
}

fn port_end<'s>(network: &Network<'s>, port_id: PortId) -> Option<CableEnd<'s>> {
    let site = network.site;
    let port_id = network.fabric.ports.get(port_id.0 as usize)?;
    match port_id.name {
        PortName::Port(id, port) => Some(CableEnd {
            device: Equipment::Switch(id),
            port: &site.switches[id.0].ports[port].name.value,
        }),
        PortName::Lag(id, lag) => Some(CableEnd {
            device: Equipment::Switch(id),
            port: &site.switches[id.0].lags[lag].name.value,
        }),
        PortName::Interface(id, at) => Some(CableEnd {
            device: Equipment::Host(id),
            port: &site.host(id).interfaces[at].name.value,
        }),
        PortName::Unnamed => None,
    }
}

/// Which rule decides at a device.
fn decided(view: &PathView<'_>, step: &Step) -> Option<String> {
    let router = view.router(step.device);
    match (&step.decision, router.and_then(|router| router.filter())) {
        (Some(decision), Some(filter)) => {
            let word = decision.action.word();
            Some(match decision.rule {
                Some(number) => {
                    let rule = &filter.rules[number];
                    let place = view.sources.place(rule.place);
                    format!("{word} by rule {} ({place})", rule_name(number, rule))
                }
                None => {
                    let place = view.sources.place(filter.default.span);
                    format!("{word} by default ({place})")
                }
            })
        }
        (None, None) => router.map(|_| "no rules here".to_owned()),
        _ => None,
    }
}

/// What a device does with a packet, a line each.
fn step_lines(view: &PathView<'_>, step: &Step) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(ingress) = step.ingress {
        lines.push(format!(
            "arrives on {}",
            view.interface_name(step.device, ingress)
        ));
    }
    let filter = view.router(step.device).and_then(|router| router.filter());
    if let (Some(line), Some(filter)) = (step.destination_translation, filter) {
        let name = &filter.destination_translations[line].name.value;
        lines.push(format!(
            "destination translated by \"{name}\": now {}",
            step.left.destination
        ));
    }
    lines.extend(decided(view, step));
    if let (Some(line), Some(filter)) = (step.source_translation, filter) {
        let name = &filter.source_translations[line].name.value;
        lines.push(format!(
            "source translated by \"{name}\": now {}",
            step.left.source
        ));
    }
    let route = step
        .route
        .as_ref()
        .and_then(|route| route.next_hop.interface());
    if let Some(egress) = route {
        lines.push(format!(
            "leaves by {}",
            view.interface_name(step.device, egress)
        ));
    }
    lines
}
