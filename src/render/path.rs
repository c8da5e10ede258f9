//! One packet's way on a terminal.

use boundwalk_analysis::{CAUTION, Fate, Leg, PathResult, origin_name, stop_text};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::{
    DeviceId, DeviceIndex, Network, NextHop, Origin, Outcome, Place, Plan, Reply, ReplyPass,
    RuleTry, Sender, Step, Trace,
};
use boundwalk_model::{Family, Filter, Interface, Router, Site, SourceCheck, show_interval};
use boundwalk_packet::Interval;

use super::document::{Document, Mark, Rank};
use super::frames::{assumed, frame_lines};
use super::words::{doubt_text, mismatch_text, rule_name};

/// The way of a packet. With `all_rules`, each rule tried gets a line; else they are counted.
pub fn path_document<'a>(
    network: &'a Network<'_>,
    sources: &Sources,
    results: &[PathResult],
    all_rules: bool,
) -> Document<'a> {
    let mut out = Document::new("Path", &network.site.name);
    let Some((result, others)) = results.split_first() else {
        return out;
    };
    let plan = network.plan(Family::of(result.packet.source));
    let view = PathView {
        network,
        plan,
        sources,
        all_rules,
    };
    out.heading(Rank::Answer, result.packet.to_string());
    out.plain(2, view.sender(result));
    let several = result.traces.len() > 1;
    for (number, trace) in result.traces.iter().enumerate() {
        if several {
            let title = format!("Way {} of {}", number + 1, result.traces.len());
            out.heading(Rank::Answer, title);
        }
        view.trace(&mut out, trace, &result.legs[number]);
        if result.fate(network, trace) == Fate::Elsewhere {
            let text = "it does not arrive where it was sent to";
            out.line(0, STOPPED, text);
        }
    }
    if !others.is_empty() {
        out.heading(Rank::Part, "To its other addresses");
    }
    for other in others {
        let fate = fate_text(other.best(network));
        out.plain(2, format!("{}: {fate}", other.packet));
    }
    let site = network.site;
    let layer_2 = if site.switches.is_empty() && site.links.is_empty() {
        "Layer 2 is assumed clean."
    } else {
        "Layer 2 is computed from switches and cables."
    };
    out.gap();
    out.plain(0, format!("{layer_2} {CAUTION}"));
    out
}

const ARRIVES: Mark = Mark::Sign("=> ");
const STOPPED: Mark = Mark::Sign("x  ");
const UNCERTAIN: Mark = Mark::Sign("?  ");
const REPLY: Mark = Mark::Sign("<- ");

/// What becomes of a packet, in a few words.
pub(super) fn fate_text(fate: Fate) -> &'static str {
    match fate {
        Fate::Stops => "stops",
        Fate::Elsewhere => "does not arrive where it was sent to",
        Fate::Unanswered => "arrives, not answered",
        Fate::Answered => "arrives, answered",
    }
}

/// One packet's way, with what it is told in.
pub(super) struct PathView<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) plan: &'a Plan,
    pub(super) sources: &'a Sources,
    pub(super) all_rules: bool,
}

impl PathView<'_> {
    fn site(&self) -> &Site {
        self.network.site
    }

    pub(super) fn sender(&self, result: &PathResult) -> String {
        let segment = |segment| &self.site().segment(segment).name.value;
        match result.sender {
            Sender::Segment(from) => format!("sent by a device on segment {}", segment(from)),
            Sender::Host(host) => format!("sent by host {}", self.site().host(host).name.value),
            Sender::Hostile(Origin::Segment(from)) => format!(
                "sent by a hostile device on segment {}: the source address is not one of its own",
                segment(from)
            ),
            Sender::Hostile(from) => format!(
                "sent by a hostile device at {}",
                origin_name(self.site(), &self.network.fabric, from)
            ),
        }
    }

    fn trace(&self, out: &mut Document<'_>, trace: &Trace, legs: &[Option<Leg>]) {
        for (number, step) in trace.steps.iter().enumerate() {
            self.leg(out, legs.get(number).and_then(Option::as_ref));
            self.step(out, number + 1, step);
        }
        self.leg(out, legs.last().and_then(Option::as_ref));
        for &doubt in &trace.doubts {
            let text = format!("not certain: {}", doubt_text(doubt));
            out.line(0, UNCERTAIN, text);
        }
        let mark = match trace.outcome {
            Outcome::Delivered(_) => ARRIVES,
            _ => STOPPED,
        };
        out.line(0, mark, self.outcome(trace));
        if let Some(reply) = &trace.reply {
            self.reply(out, reply);
        }
    }

    /// The frames between two devices, where switches or cables are described.
    fn leg(&self, out: &mut Document<'_>, leg: Option<&Leg>) {
        let Some(leg) = leg.filter(|leg| !assumed(self.network, &leg.way)) else {
            return;
        };
        let lines = frame_lines(self.network, &leg.way, Some(&leg.end));
        for (number, text) in lines.into_iter().enumerate() {
            let label = if number == 0 {
                "frames        "
            } else {
                "              "
            };
            out.labelled(3, label, text);
        }
    }

    fn step(&self, out: &mut Document<'_>, number: usize, step: &Step) {
        let name = self.device_name(step.device);
        let mut title = name.clone();
        if let Some(ingress) = step.ingress {
            title.push_str(&format!(
                ": arrives on {}",
                self.interface_name(step.device, ingress)
            ));
        }
        out.line(0, Mark::Number { number, digits: 1 }, title);
        if let Some(passed) = step.source_check {
            let check = self.source_check(step);
            let word = if passed { "passed" } else { "refused" };
            out.labelled(3, "source check  ", format!("{check}: {word}"));
        }
        self.translation(out, step, true);
        if let Some(route) = &step.route {
            let low_high = Interval::new(route.prefix.0, route.prefix.1);
            let prefix =
                low_high.map_or_else(String::new, |range| show_interval(self.plan.family, range));
            let text = format!(
                "{prefix}: {} ({})",
                self.next_hop(step, route.next_hop),
                self.sources.place(route.place)
            );
            out.labelled(3, "route         ", text);
        }
        self.rules(out, step);
        self.translation(out, step, false);
    }

    fn translation(&self, out: &mut Document<'_>, step: &Step, arrival: bool) {
        let Some(filter) = self.router(step.device).and_then(|router| router.filter()) else {
            return;
        };
        let (line, list) = if arrival {
            (
                step.destination_translation,
                &filter.destination_translations,
            )
        } else {
            (step.source_translation, &filter.source_translations)
        };
        let Some(translation) = line.map(|line| &list[line]) else {
            return;
        };
        let name = &translation.name.value;
        let place = self.sources.place(translation.name.span);
        let (label, text) = if arrival {
            let to = std::net::SocketAddr::new(step.left.destination, step.left.destination_port);
            let to = if step.left.protocol.has_ports() {
                to.to_string()
            } else {
                to.ip().to_string()
            };
            (
                "destination   ",
                format!("now {to}, by \"{name}\" ({place})"),
            )
        } else {
            (
                "source        ",
                format!("now {}, by \"{name}\" ({place})", step.left.source),
            )
        };
        out.labelled(3, label, text);
    }

    fn rules(&self, out: &mut Document<'_>, step: &Step) {
        let Some(decision) = &step.decision else {
            return;
        };
        let Some(filter) = self.router(step.device).and_then(|router| router.filter()) else {
            return;
        };
        self.passed_over(out, filter, &decision.tried);
        let word = decision.action.word();
        let text = match decision.rule {
            Some(number) => {
                let rule = &filter.rules[number];
                let place = self.sources.place(rule.place);
                format!("{word} by rule {} ({place})", rule_name(number, rule))
            }
            None => format!(
                "{word} by default ({})",
                self.sources.place(filter.default.span)
            ),
        };
        out.labelled(3, "decision      ", text);
    }

    /// The rules before the one that decided: each, or how many there are.
    fn passed_over(&self, out: &mut Document<'_>, filter: &Filter, tried: &[RuleTry]) {
        let passed_over = tried.iter().filter(|tried| tried.mismatch.is_some());
        if self.all_rules {
            for tried in passed_over {
                let name = rule_name(tried.rule, &filter.rules[tried.rule]);
                let why = tried.mismatch.map_or("", mismatch_text);
                out.labelled(3, "rule          ", format!("{name}: {why}"));
            }
            return;
        }
        let text = match passed_over.count() {
            0 => return,
            1 => "1 before does not match (--rules shows it)".to_owned(),
            count => format!("{count} before do not match (--rules lists them)"),
        };
        out.labelled(3, "rules         ", text);
    }

    pub(super) fn outcome(&self, trace: &Trace) -> String {
        let at = trace
            .steps
            .last()
            .map_or_else(String::new, |step| self.device_name(step.device));
        let text = match trace.outcome {
            Outcome::Delivered(Place::Segment(segment)) => {
                let name = &self.site().segment(segment).name.value;
                let external = self.site().segment(segment).external;
                let alone = trace.steps.iter().all(|step| step.ingress.is_none());
                match (external, alone) {
                    (true, _) => format!("handed out to {name}"),
                    (false, true) => format!("delivered on {name} itself: no gateway between"),
                    (false, false) => format!("delivered on segment {name}"),
                }
            }
            Outcome::Delivered(Place::Router(router)) => {
                format!(
                    "delivered to {} itself",
                    self.site().router(router).name.value
                )
            }
            Outcome::NotForwardable => {
                "stops: no router forwards this source or destination (RFC 6890)".to_owned()
            }
            Outcome::Stopped(stop) => format!("stops{}: {}", at_device(&at), stop_text(stop)),
        };
        let packet = match trace.outcome {
            Outcome::Delivered(_) if trace.steps.iter().any(rewritten) => {
                format!(", as {}", trace.packet)
            }
            _ => String::new(),
        };
        format!("{text}{packet}")
    }

    fn reply(&self, out: &mut Document<'_>, reply: &Reply) {
        let (steps, text) = match reply {
            Reply::NotExpected => {
                out.line(0, REPLY, "this message expects no reply");
                return;
            }
            Reply::Back(steps) => (steps, "the reply comes back"),
            Reply::HalfOpen(steps, _) => (
                steps,
                "the first answer comes back, then the connection stops: not answered",
            ),
            Reply::Lost(steps) => (steps, "the reply does not come back: one-way"),
        };
        out.line(0, REPLY, text);
        for step in steps {
            let name = self.device_name(step.device);
            let place = step.ingress.map_or_else(String::new, |ingress| {
                format!(" on {}", self.interface_name(step.device, ingress))
            });
            out.plain(
                3,
                format!("{name}{place}: {}", self.pass(step.device, &step.pass)),
            );
        }
        if let Reply::HalfOpen(_, device) = reply {
            let text = format!(
                "{} sees one direction only of the TCP connection, and stops it",
                self.device_name(*device)
            );
            out.plain(3, text);
        } else if steps.is_empty() && !reply.two_way() {
            out.plain(3, "the receiver has no router to send it to");
        }
    }

    fn pass(&self, device: DeviceIndex, pass: &ReplyPass) -> String {
        let rule = |number: &Option<usize>| {
            let filter = self.router(device).and_then(|router| router.filter());
            match (number, filter) {
                (Some(number), Some(filter)) => {
                    format!("rule {}", rule_name(*number, &filter.rules[*number]))
                }
                _ => "the default".to_owned(),
            }
        };
        match pass {
            ReplyPass::Unfiltered => "forwards without rules".to_owned(),
            ReplyPass::State => "passes by the state of the connection".to_owned(),
            ReplyPass::Rules(number) => format!("stateless: permitted by {}", rule(number)),
            ReplyPass::NewFlow(number) => {
                format!(
                    "has no state for it: passes as a new flow, permitted by {}",
                    rule(number)
                )
            }
            ReplyPass::Translated => {
                "has no state for it: would translate it as a new flow, so it is no reply"
                    .to_owned()
            }
            ReplyPass::NoState => {
                "stopped: this gateway never saw the packet, so it has no state".to_owned()
            }
            ReplyPass::SourceCheck => "stopped by the source check".to_owned(),
            ReplyPass::Denied(number) => {
                let filter = self.router(device).and_then(|router| router.filter());
                let why = if filter.is_some_and(|filter| filter.stateful) {
                    "no state for it, and as a new flow"
                } else {
                    "stateless:"
                };
                format!("{why} stopped by {}", rule(number))
            }
            ReplyPass::NoRoute => "stopped: no route back".to_owned(),
            ReplyPass::NotForwarding => "stopped: not forwarded here".to_owned(),
            ReplyPass::TooManyWays => "unknown: it may take more ways than are followed".to_owned(),
            ReplyPass::Loop => "stopped: routing loop".to_owned(),
        }
    }

    pub(super) fn router(&self, device: DeviceIndex) -> Option<&Router> {
        match self.plan.device(device).id {
            DeviceId::Router(router) => Some(self.site().router(router)),
            DeviceId::Host(_) => None,
        }
    }

    pub(super) fn device_name(&self, device: DeviceIndex) -> String {
        match self.plan.device(device).id {
            DeviceId::Router(router) => self.site().router(router).name.value.clone(),
            DeviceId::Host(host) => self.site().host(host).name.value.clone(),
        }
    }

    fn interface(&self, device: DeviceIndex, number: usize) -> Option<&Interface> {
        self.router(device).map(|router| &router.interfaces[number])
    }

    pub(super) fn interface_name(&self, device: DeviceIndex, number: usize) -> String {
        let segment = self.plan.device(device).interfaces[number].segment;
        let segment = &self.site().segment(segment).name.value;
        match self.interface(device, number) {
            Some(interface) if interface.name.value != *segment => {
                format!("{} (segment {segment})", interface.name.value)
            }
            _ => segment.clone(),
        }
    }

    fn source_check(&self, step: &Step) -> &'static str {
        let interface = step
            .ingress
            .and_then(|ingress| self.interface(step.device, ingress));
        match interface.map(|interface| interface.source_check) {
            Some(SourceCheck::Strict) => "strict, the way back must be this interface",
            Some(SourceCheck::Loose) => "loose, some route back must exist",
            _ => "off",
        }
    }

    fn next_hop(&self, step: &Step, next_hop: NextHop) -> String {
        let leaves =
            |interface| format!("leaves by {}", self.interface_name(step.device, interface));
        match next_hop {
            NextHop::OnLink { interface } => format!("on-link, {}", leaves(interface)),
            NextHop::Address { interface, address } => {
                format!(
                    "next hop {}, {}",
                    self.plan.family.address(address),
                    leaves(interface)
                )
            }
            NextHop::AnyRouter { interface } => {
                format!("the segment's router, {}", leaves(interface))
            }
            NextHop::Discard => "discarded".to_owned(),
        }
    }
}

fn at_device(name: &str) -> String {
    if name.is_empty() {
        String::new()
    } else {
        format!(" at {name}")
    }
}

fn rewritten(step: &Step) -> bool {
    step.arrived != step.left
}
