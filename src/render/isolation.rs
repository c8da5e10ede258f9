//! Whether segments are isolated, for people and for programs.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::analysis::{
    Certificate, Closed, Contact, Direction, Distance, End, EndReason, Fault, Form, Met, Opening,
    Verdict, foot_name, vlan_name,
};
use crate::diagnostic::Sources;
use crate::forwarding::Network;
use crate::forwarding::layer2::{Far, FootOf};
use crate::model::{LinkEnd, SegmentId, Site};

use super::flows::packet_text;
use super::frames::{
    frame_lines, frame_text, node_name, refused_text, segment_name, socket_name, way_lines,
};
use super::matrix::Paint;
use super::text::{clean, wrapped};

/// Faults of one kind that are listed by name.
const MOST_NAMED: usize = 6;

/// The answer for one segment with its distance, if that was asked for.
pub struct Isolated<'a> {
    /// The segment.
    pub segment: SegmentId,
    /// The answer.
    pub verdict: &'a Verdict,
    /// How far it is from another one.
    pub distance: Option<&'a Distance>,
}

/// The answer for one segment as text. With `all`, every fault and every port is listed.
pub fn isolation_text(
    network: &Network<'_>,
    sources: &Sources,
    answer: &Isolated<'_>,
    all: bool,
    paint: Paint,
) -> String {
    let view = View {
        network,
        sources,
        all,
        paint,
    };
    let mut out = String::new();
    view.answer(&mut out, answer);
    out
}

pub(super) struct View<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) sources: &'a Sources,
    pub(super) all: bool,
    pub(super) paint: Paint,
}

impl View<'_> {
    fn site(&self) -> &Site {
        self.network.site
    }

    fn line(&self, out: &mut String, indent: usize, label: &str, text: &str) {
        let room = self
            .paint
            .columns
            .saturating_sub(indent + label.len())
            .max(30);
        for (number, part) in wrapped(&clean(text), room).into_iter().enumerate() {
            let label = match number {
                0 => label.to_owned(),
                _ => " ".repeat(label.len()),
            };
            let _ = writeln!(out, "{}{label}{part}", " ".repeat(indent));
        }
    }

    fn heading(&self, out: &mut String, text: &str) {
        let _ = writeln!(out, "\n{}", self.paint.strong(&clean(text)));
    }

    fn answer(&self, out: &mut String, answer: &Isolated<'_>) {
        let name = segment_name(self.site(), answer.segment);
        let word = verdict_text(answer.verdict);
        let _ = writeln!(
            out,
            "{}",
            self.paint.strong(&clean(&format!("{name}: {word}")))
        );
        let claimed = self.site().segment(answer.segment).isolated;
        if let Some(claim) = claimed.filter(|claim| claim.value) {
            let place = self.sources.place(claim.span);
            let holds = match answer.verdict {
                Verdict::ByDesign(_) => "the claim holds",
                Verdict::ByRule { .. } => {
                    "the claim does not hold: there are paths, rules close them"
                }
                Verdict::Reachable { .. } => "the claim does not hold",
            };
            self.line(out, 2, "", &format!("claimed at {place}: {holds}"));
        }
        match answer.verdict {
            Verdict::ByDesign(certificate) => self.certificate(out, certificate),
            Verdict::ByRule {
                contacts,
                denied_by,
            } => {
                self.contacts(out, contacts);
                self.denied(out, denied_by);
            }
            Verdict::Reachable {
                contacts,
                out: outward,
                into,
            } => {
                self.opening(out, "From it", outward.as_ref());
                self.opening(out, "Into it", into.as_ref());
                if outward.is_none() && into.is_none() {
                    self.contacts(out, contacts);
                }
            }
        }
        if let Some(distance) = answer.distance {
            self.distance(out, answer.segment, distance);
        }
    }

    fn certificate(&self, out: &mut String, certificate: &Certificate) {
        self.heading(
            out,
            "Where its frames can be, whatever a device there sends",
        );
        for (node, vlans) in self.by_node(certificate) {
            self.line(out, 2, "- ", &format!("{node}: {vlans}"));
        }
        let takers: Vec<String> = certificate
            .takers
            .iter()
            .map(|&foot| self.network.fabric.foot(foot).of)
            .map(|foot| self.taker(foot))
            .collect();
        let text = match takers.is_empty() {
            true => "no device described takes them".to_owned(),
            false => format!("taken by {}", takers.join(", ")),
        };
        self.line(out, 2, "- ", &text);
        self.heading(out, "Why they go no further");
        for text in self.borders(certificate) {
            self.line(out, 2, "- ", &text);
        }
        self.heading(out, "Why nothing comes in");
        for text in self.closed(certificate) {
            self.line(out, 2, "- ", &text);
        }
    }

    /// Each switch of the set, with the ports that its frames leave by.
    fn by_node(&self, certificate: &Certificate) -> Vec<(String, String)> {
        let fabric = &self.network.fabric;
        let site = self.site();
        let rows = certificate.inside.iter().map(|&(node, vlan)| {
            let mut ports: Vec<String> = certificate
                .sends
                .iter()
                .filter(|(socket, _)| fabric.socket(*socket).node == node)
                .map(|(socket, frame)| {
                    let name = socket_name(self.network, *socket);
                    let port = name.split_once(':').map_or(&*name, |(_, port)| port);
                    format!(
                        "{port} ({}, {})",
                        frame_text(*frame),
                        self.attached(*socket)
                    )
                })
                .collect();
            ports.dedup();
            let inside =
                vlan.map_or_else(String::new, |vlan| format!("{}, ", vlan_name(site, vlan)));
            let ports = match ports.is_empty() {
                true => "no port to leave by".to_owned(),
                false => format!("out by {}", ports.join(", ")),
            };
            (node_name(self.network, node), format!("{inside}{ports}"))
        });
        rows.collect()
    }

    /// What is plugged in at a socket.
    pub(super) fn attached(&self, socket: crate::forwarding::layer2::SocketId) -> String {
        let fabric = &self.network.fabric;
        match &fabric.socket(socket).far {
            Far::Open => "nothing plugged in".to_owned(),
            Far::Dead => "a disabled end".to_owned(),
            Far::Sockets(far) => {
                let names: Vec<String> = far
                    .iter()
                    .map(|&far| socket_name(self.network, far))
                    .collect();
                format!("to {}", names.join(", "))
            }
            Far::Feet(feet) => {
                let names = feet
                    .iter()
                    .map(|&foot| foot_name(self.site(), fabric.foot(foot).of));
                let names: Vec<String> = names.collect();
                format!("to {}", names.join(", "))
            }
        }
    }

    fn taker(&self, foot: FootOf) -> String {
        let name = foot_name(self.site(), foot);
        let FootOf::Host(host, _) = foot else {
            return name;
        };
        let host = self.site().host(host);
        match host.interfaces.len() {
            1 => name,
            homes => format!(
                "{name} (one of {homes} interfaces; the host does not forward, but answers for its other addresses)"
            ),
        }
    }

    fn borders(&self, certificate: &Certificate) -> Vec<String> {
        let mut lines = vec!["no interface of a gateway or router takes any of them".to_owned()];
        lines.extend(certificate.ends.iter().map(|end| self.end(end)));
        let mut by_switch: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for closed in &certificate.closed {
            let name = socket_name(self.network, closed.socket);
            let (switch, port) = name.split_once(':').unwrap_or((&name, ""));
            let key = format!("{switch}: not in {}", vlan_name(self.site(), closed.vlan));
            by_switch.entry(key).or_default().push(port.to_owned());
        }
        lines.extend(
            by_switch
                .into_iter()
                .map(|(key, ports)| format!("{key}: {}", ports.join(", "))),
        );
        lines
    }

    pub(super) fn end(&self, end: &End) -> String {
        let from = socket_name(self.network, end.from);
        let frame = frame_text(end.frame);
        match end.why {
            EndReason::Dropped(at, why) => format!(
                "{} drops what {from} sends ({frame}): {}",
                socket_name(self.network, at),
                refused_text(why)
            ),
            EndReason::NoInterface => {
                format!("no interface beyond {from} takes {frame}")
            }
            EndReason::Dead => format!("the far end of {from} is disabled"),
        }
    }

    /// Ports beside the set, by why nothing enters there.
    fn closed(&self, certificate: &Certificate) -> Vec<String> {
        let mut groups: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for closed in &certificate.closed {
            let reason = self.closed_reason(closed);
            let name = socket_name(self.network, closed.socket);
            groups.entry(reason).or_default().push(name);
        }
        let mut lines: Vec<String> = groups
            .into_iter()
            .map(|(reason, ports)| format!("{}: {reason}", self.some(&ports)))
            .collect();
        lines.push(
            "checked from every seat of every other segment, with up to two tags, and from every interface of a \
             gateway or router"
                .to_owned(),
        );
        lines
    }

    pub(super) fn closed_reason(&self, closed: &Closed) -> String {
        let site = self.site();
        let untagged = match closed.untagged {
            Some(vlan) => format!("untagged frames take {}", vlan_name(site, vlan)),
            None => "untagged frames are dropped".to_owned(),
        };
        format!(
            "{untagged}; tag {} is dropped, {}",
            closed.vlan,
            refused_text(closed.tagged)
        )
    }

    /// Names, shortened unless everything is asked for.
    fn some(&self, names: &[String]) -> String {
        if self.all || names.len() <= MOST_NAMED {
            return names.join(", ");
        }
        let shown = names[..MOST_NAMED - 1].join(", ");
        format!("{shown} and {} more", names.len() + 1 - MOST_NAMED)
    }

    fn contacts(&self, out: &mut String, contacts: &[Contact]) {
        for contact in contacts {
            let met = met_text(self.site(), contact.met);
            let title = match contact.direction {
                Direction::Out => format!("Its frames reach {met}"),
                Direction::Into => format!("Frames of {met} reach it"),
            };
            self.heading(out, &title);
            let lines = frame_lines(self.network, &contact.way, None);
            for (number, text) in lines.into_iter().enumerate() {
                self.line(out, 2, &format!("{}. ", number + 1), &text);
            }
        }
    }

    fn denied(&self, out: &mut String, denied_by: &[(crate::model::RouterId, Option<usize>)]) {
        self.heading(out, "What closes it");
        if denied_by.is_empty() {
            self.line(out, 2, "- ", "the rules of the gateways, or no route");
        }
        let rules = denied_by
            .iter()
            .map(|&(router, rule)| Fault::Flipped(router, rule));
        for rule in rules {
            let place = self.sources.place(rule.place(self.site()));
            let text = rule.clause(self.site());
            let text = text.strip_suffix(" permits").unwrap_or(&text).to_owned();
            self.line(out, 2, "- ", &format!("{text} ({place})"));
        }
    }

    fn opening(&self, out: &mut String, title: &str, opening: Option<&Opening>) {
        match opening {
            None => self.heading(out, &format!("{title}: nothing passes")),
            Some(Opening::Around { other, way }) => {
                let other = segment_name(self.site(), *other);
                self.heading(out, &format!("{title}: {other}, round the gateway"));
                for (number, text) in way_lines(self.network, way).into_iter().enumerate() {
                    self.line(out, 2, &format!("{}. ", number + 1), &text);
                }
            }
            Some(Opening::Through {
                other,
                flow,
                packet,
            }) => {
                let other = segment_name(self.site(), *other);
                self.heading(out, &format!("{title}: {other}, through the rules"));
                self.line(out, 2, "for example ", &packet_text(packet));
                for hop in &flow.hops {
                    self.line(out, 2, "", &self.hop(hop));
                }
            }
        }
    }

    pub(super) fn hop(&self, hop: &crate::forwarding::Hop) -> String {
        let plan = self.network.plan(crate::model::Family::V4);
        match plan.device(hop.device).id {
            crate::forwarding::DeviceId::Router(router) => {
                let name = &self.site().router(router).name.value;
                let filter = self.site().router(router).filter();
                match (hop.filtered, hop.rule, filter) {
                    (true, Some(rule), Some(filter)) => {
                        let rule = &filter.rules[rule];
                        let place = self.sources.place(rule.place);
                        format!("{name}: permitted by \"{}\" ({place})", rule.name.value)
                    }
                    (true, ..) => format!("{name}: permitted by default"),
                    _ => format!("{name}: forwards without rules"),
                }
            }
            crate::forwarding::DeviceId::Host(host) => {
                format!(
                    "{}: forwards without rules",
                    self.site().host(host).name.value
                )
            }
        }
    }

    fn distance(&self, out: &mut String, segment: SegmentId, distance: &Distance) {
        if distance.faults == 0 {
            return;
        }
        let title = match (distance.one.len(), distance.two.len()) {
            (0, 0) => "Distance: more than the faults tried".to_owned(),
            (0, _) => "Two faults away".to_owned(),
            _ => "One fault away".to_owned(),
        };
        self.heading(out, &title);
        for text in self.grouped(segment, &distance.one) {
            self.line(out, 2, "- ", &text);
        }
        let most = if self.all { usize::MAX } else { MOST_NAMED };
        for [one, other] in distance.two.iter().take(most) {
            let (one, other) = (one.clause(self.site()), other.clause(self.site()));
            self.line(out, 2, "- ", &format!("both: {one}, and {other}"));
        }
        if distance.two.len() > most {
            let rest = format!(
                "{} further pairs of faults (--all)",
                distance.two.len() - most
            );
            self.line(out, 2, "- ", &rest);
        }
        let tried = match (distance.complete, distance.tried == distance.faults) {
            (true, _) => format!(
                "tried: {} single faults and every pair that could matter",
                distance.tried
            ),
            (false, true) => format!("tried: {} single faults, not every pair", distance.tried),
            (false, false) => format!(
                "tried: {} of {} single faults: the site is too large for more",
                distance.tried, distance.faults
            ),
        };
        self.line(out, 2, "", &self.paint.faint(&tried));
    }

    /// Single faults, alike ones on one line.
    fn grouped(&self, segment: SegmentId, faults: &[Fault]) -> Vec<String> {
        let mut groups: Vec<(String, &str, Vec<String>)> = Vec::new();
        for &fault in faults {
            let (group, what, name) = self.group(segment, fault);
            match groups.iter_mut().find(|(known, ..)| *known == group) {
                Some((_, _, names)) if !names.contains(&name) => names.push(name),
                Some(_) => {}
                None => groups.push((group, what, vec![name])),
            }
        }
        let lines = groups
            .into_iter()
            .map(|(group, what, names)| match names.len() {
                1 => group.replace("{}", &names[0]),
                count => {
                    let group = group.replace("{}", &format!("any of {count} {what}"));
                    format!("{group}: {}", self.some(&names))
                }
            });
        lines.collect()
    }

    /// A sentence with a gap, what fills it in the plural, and the name for the gap.
    fn group(&self, segment: SegmentId, fault: Fault) -> (String, &'static str, String) {
        let site = self.site();
        let own = site.segment(segment).vlan.map(|vlan| vlan.value);
        let vlan_text = |vlan| match own == Some(vlan) {
            true => vlan_name(site, vlan),
            false => "the VLAN of another segment".to_owned(),
        };
        match fault {
            Fault::Pvid(port, vlan) => (
                format!("{{}} gets the PVID of {}", vlan_text(vlan)),
                "ports",
                port.name(site),
            ),
            Fault::Joins(port, vlan, form) => {
                let form = match form {
                    Form::Untagged => "untagged",
                    Form::Tagged => "tagged",
                };
                let text = format!("{{}} carries {} {form} as well", vlan_text(vlan));
                (text, "ports", port.name(site))
            }
            Fault::FilterOff(port) => (
                "{} stops filtering on arrival".to_owned(),
                "ports",
                port.name(site),
            ),
            Fault::Moved(link, end, to) => {
                let ends = &site.links[link].ends;
                let far = crate::analysis::end_name(site, &ends[1 - end].value);
                let host = matches!(ends[1 - end].value, LinkEnd::Host(..));
                let vlans = to.vlans(site);
                let into = own.is_some_and(|own| vlans.is_some_and(|vlans| vlans.carries(own)));
                match (host, into) {
                    (true, true) => (
                        format!("the cable of {{}} is moved to {}", to.name(site)),
                        "devices",
                        far,
                    ),
                    (true, false) => (
                        format!("the cable of {far} is moved to {{}}"),
                        "ports",
                        to.name(site),
                    ),
                    (false, _) => {
                        let near = crate::analysis::end_name(site, &ends[end].value);
                        let text = format!("the {near} end of the cable to {far} is moved to {{}}");
                        (text, "ports", to.name(site))
                    }
                }
            }
            Fault::Forwards(..) | Fault::Flipped(..) => {
                let place = self.sources.place(fault.place(site));
                (
                    format!("{} ({place})", fault.clause(site)),
                    "",
                    String::new(),
                )
            }
        }
    }
}

/// The answer in a few words.
pub(super) fn verdict_text(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::ByDesign(_) => "isolated by design",
        Verdict::ByRule { .. } => "closed by rule only",
        Verdict::Reachable { .. } => "reachable",
    }
}

pub(super) fn met_text(site: &Site, met: Met) -> String {
    match met {
        Met::Segment(segment) => format!("devices of {}", segment_name(site, segment)),
        Met::Router(router) => {
            let router = site.router(router);
            let word = if router.filter().is_some() {
                "gateway"
            } else {
                "router"
            };
            format!("the {word} {}", router.name.value)
        }
        Met::Forwarder(host) => format!("{}, which routes", site.host(host).name.value),
    }
}
