//! Whether segments are isolated, for people.

use boundwalk_analysis::{
    Contact, Counterpart, Direction, Distance, Fault, Form, IsolationVerdict, Opening, end_name,
    origin_name, vlan_name,
};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::{DeviceId, Hop, Limit, Network, Origin};
use boundwalk_model::{Family, LinkEnd, RouterId, SegmentId, Site};

use super::document::{Document, Mark, Rank, Tone};
use super::frames::{frame_lines_to_interface, segment_name, way_lines};

/// Faults of one kind that are listed by name.
const MOST_NAMED: usize = 6;

/// The answer for one segment with its distance, if that was asked for.
#[derive(Clone, Copy)]
pub struct Isolated<'a> {
    /// The segment.
    pub segment: SegmentId,
    /// The answer.
    pub verdict: &'a IsolationVerdict,
    /// How far it is from another one.
    pub distance: Option<&'a Distance>,
}

/// The answers for some segments; `notes`: what they rest on, or none where that stands elsewhere. With `all`, every fault and every port is listed.
pub fn isolation_document<'a>(
    network: &'a Network<'_>,
    sources: &Sources,
    answers: &[Isolated<'_>],
    notes: &'a [String],
    all: bool,
) -> Document<'a> {
    let mut out = Document::new("Isolation", &network.site.name);
    let view = IsolationView {
        network,
        sources,
        all,
    };
    for (number, answer) in answers.iter().enumerate() {
        if number > 0 {
            out.gap();
        }
        view.answer(&mut out, answer);
    }
    if answers.is_empty() {
        out.plain(
            0,
            "No segment claims `isolated = true`; name those to look at.",
        );
    }
    if !notes.is_empty() {
        out.notes(notes);
    }
    out
}

pub(super) struct IsolationView<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) sources: &'a Sources,
    pub(super) all: bool,
}

impl IsolationView<'_> {
    pub(super) fn site(&self) -> &Site {
        self.network.site
    }

    pub(super) fn origin(&self, origin: Origin) -> std::borrow::Cow<'_, str> {
        origin_name(self.site(), &self.network.fabric, origin)
    }

    fn answer(&self, out: &mut Document<'_>, answer: &Isolated<'_>) {
        let name = segment_name(self.site(), answer.segment);
        let word = verdict_text(answer.verdict);
        out.heading(Rank::Answer, format!("{name}: {word}"));
        if let Some(claim) = self.site().segment(answer.segment).claims_isolation() {
            let place = self.sources.place(claim);
            let holds = match answer.verdict {
                IsolationVerdict::ByDesign(_) => "the claim holds",
                IsolationVerdict::ByRule { .. } => {
                    "the claim does not hold: there are paths, rules close them"
                }
                IsolationVerdict::Reachable { .. } => "the claim does not hold",
                IsolationVerdict::Unknown { .. } => {
                    "the claim does not hold: there are paths, and whether rules close them is unknown"
                }
            };
            out.plain(2, format!("claimed at {place}: {holds}"));
        }
        match answer.verdict {
            IsolationVerdict::ByDesign(certificate) => self.certificate(out, certificate),
            IsolationVerdict::ByRule {
                contacts,
                denied_by,
            } => {
                self.contacts(out, contacts);
                self.denied(out, denied_by);
            }
            IsolationVerdict::Reachable {
                contacts,
                out: outward,
                into,
                limit,
            } => {
                self.opening(out, "From it", outward.as_ref(), *limit);
                self.opening(out, "Into it", into.as_ref(), *limit);
                if outward.is_none() && into.is_none() {
                    self.contacts(out, contacts);
                }
            }
            IsolationVerdict::Unknown { contacts, limit } => {
                out.heading(Rank::Part, "Unknown what passes");
                out.plain(2, format!("a limit was met: {limit}"));
                self.contacts(out, contacts);
            }
        }
        if let Some(distance) = answer.distance {
            self.distance(out, answer.segment, distance);
        }
    }

    /// Names, shortened unless everything is asked for.
    pub(super) fn some(&self, names: &[String]) -> String {
        if self.all || names.len() <= MOST_NAMED {
            return names.join(", ");
        }
        let shown = names[..MOST_NAMED - 1].join(", ");
        format!("{shown} and {} more", names.len() + 1 - MOST_NAMED)
    }

    fn contacts(&self, out: &mut Document<'_>, contacts: &[Contact]) {
        for contact in contacts {
            let met = met_text(self.network, contact.met);
            let title = match contact.direction {
                Direction::Out => format!("Its frames reach {met}"),
                Direction::Into => format!("Frames of {met} reach it"),
            };
            out.heading(Rank::Part, title);
            out.steps(frame_lines_to_interface(self.network, &contact.way));
        }
    }

    fn denied(&self, out: &mut Document<'_>, denied_by: &[(RouterId, Option<usize>)]) {
        out.heading(Rank::Part, "What closes it");
        if denied_by.is_empty() {
            out.line(2, Mark::Bullet, "the rules of the gateways, or no route");
        }
        let rules = denied_by
            .iter()
            .map(|&(router, rule)| Fault::Flipped(router, rule));
        for rule in rules {
            let place = self.sources.place(rule.place(self.site()));
            let text = rule.clause(self.site());
            let text = text.strip_suffix(" permits").unwrap_or(&text).to_owned();
            out.line(2, Mark::Bullet, format!("{text} ({place})"));
        }
    }

    fn opening(
        &self,
        out: &mut Document<'_>,
        title: &str,
        opening: Option<&Opening>,
        limit: Option<Limit>,
    ) {
        match opening {
            None if limit.is_some() => {
                let limit = limit.map(|limit| limit.to_string()).unwrap_or_default();
                out.heading(Rank::Part, format!("{title}: unknown ({limit})"));
            }
            None => out.heading(Rank::Part, format!("{title}: nothing passes")),
            Some(Opening::Around { other, way }) => {
                let other = self.origin(*other);
                out.heading(Rank::Part, format!("{title}: {other}, round the gateway"));
                out.steps(way_lines(self.network, way));
            }
            Some(Opening::Through {
                other,
                flow,
                packet,
            }) => {
                let other = self.origin(*other);
                out.heading(Rank::Part, format!("{title}: {other}, through the rules"));
                out.labelled(2, "for example ", packet.to_string());
                for hop in &flow.hops {
                    out.plain(2, self.hop(hop));
                }
            }
        }
    }

    pub(super) fn hop(&self, hop: &Hop) -> String {
        let plan = self.network.plan(Family::V4);
        match plan.device(hop.device).id {
            DeviceId::Router(router) => {
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
            DeviceId::Host(host) => {
                format!(
                    "{}: forwards without rules",
                    self.site().host(host).name.value
                )
            }
        }
    }

    fn distance(&self, out: &mut Document<'_>, segment: SegmentId, distance: &Distance) {
        if distance.faults == 0 {
            return;
        }
        let title = match (distance.one.len(), distance.two.len()) {
            (0, 0) => "Distance: more than the faults tried".to_owned(),
            (0, _) => "Two faults away".to_owned(),
            _ => "One fault away".to_owned(),
        };
        out.heading(Rank::Part, title);
        out.bullets(self.grouped(segment, &distance.one));
        let most = if self.all { usize::MAX } else { MOST_NAMED };
        for [one, other] in distance.two.iter().take(most) {
            let (one, other) = (one.clause(self.site()), other.clause(self.site()));
            out.line(2, Mark::Bullet, format!("both: {one}, and {other}"));
        }
        if distance.two.len() > most {
            let rest = format!(
                "{} further pairs of faults (--all)",
                distance.two.len() - most
            );
            out.line(2, Mark::Bullet, rest);
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
        out.toned(Tone::Faint, 2, Mark::None, tried);
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
        let vlan_text = |vlan| {
            if own == Some(vlan) {
                vlan_name(site, vlan)
            } else {
                "the VLAN of another segment".to_owned()
            }
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
                let far = end_name(site, &ends[1 - end].value);
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
                        let near = end_name(site, &ends[end].value);
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
pub fn verdict_text(verdict: &IsolationVerdict) -> &'static str {
    match verdict {
        IsolationVerdict::ByDesign(_) => "isolated by design",
        IsolationVerdict::ByRule { .. } => "closed by rule only",
        IsolationVerdict::Reachable { .. } => "reachable",
        IsolationVerdict::Unknown { .. } => "unknown",
    }
}

pub(super) fn met_text(network: &Network<'_>, met: Counterpart) -> String {
    let site = network.site;
    match met {
        Counterpart::Home(host) => format!(
            "{}, which has an address on another segment as well",
            site.host(host).name.value
        ),
        Counterpart::Unclaimed(group) => {
            origin_name(site, &network.fabric, Origin::Unclaimed(group)).into_owned()
        }
        Counterpart::Segment(segment) => format!("devices of {}", segment_name(site, segment)),
        Counterpart::Router(router) => {
            let router = site.router(router);
            let word = if router.filter().is_some() {
                "gateway"
            } else {
                "router"
            };
            format!("the {word} {}", router.name.value)
        }
        Counterpart::Forwarder(host) => format!("{}, which routes", site.host(host).name.value),
    }
}
