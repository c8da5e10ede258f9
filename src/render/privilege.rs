//! Least privilege, for people.

use num_bigint::BigUint;

use boundwalk_analysis::intent::IntentStatus;
use boundwalk_analysis::privilege::{Axis, Impossible, Measure, Privilege, RuleUse};
use boundwalk_analysis::{counted, party_name, rule_name, rule_span, stopped};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::{Network, Stop};
use boundwalk_model::{Family, PerFamily, ZoneId};

use super::document::{Document, Mark, Rank};

/// What is shown of what nobody needs.
pub struct PrivilegeShown<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// Its text.
    pub sources: &'a Sources,
    /// What was found.
    pub privilege: &'a Privilege,
    /// What was read from logs of observed flows, a line each; empty: none was given.
    pub logs: &'a [String],
    /// What the answers rest on.
    pub notes: &'a [String],
}

/// One pair of zones.
pub(super) struct ZoneUse<'a> {
    pub from: &'a str,
    pub to: std::borrow::Cow<'a, str>,
    pub packets: Axis,
}

impl PrivilegeShown<'_> {
    /// Rules of which a part is used, the widest first: by how many times more they permit than is used. Then rules
    /// of which nothing is used, the largest first.
    pub(super) fn ranked(&self) -> [Vec<&RuleUse>; 2] {
        let wide = self
            .privilege
            .rules
            .iter()
            .filter(|rule| rule.measure.packets.used != rule.measure.packets.permitted);
        let (mut unused, mut used): (Vec<&RuleUse>, Vec<&RuleUse>) =
            wide.partition(|rule| rule.measure.packets.used == BigUint::ZERO);
        for list in [&mut used, &mut unused] {
            list.sort_by_key(|rule| std::cmp::Reverse(rule.measure.packets.excess_bits()));
        }
        [used, unused]
    }

    pub(super) fn rule(&self, rule: &RuleUse) -> String {
        rule_name(self.network, rule.router, rule.rule)
    }

    pub(super) fn place(&self, rule: &RuleUse) -> String {
        let span = rule_span(self.network.site, rule.router, rule.rule);
        span.map_or_else(String::new, |span| self.sources.place(span))
    }

    /// Pairs of zones between which something is permitted, the widest first.
    pub(super) fn zones(&self) -> Vec<ZoneUse<'_>> {
        let site = self.network.site;
        let mut zones: Vec<(ZoneId, Option<ZoneId>, ZoneUse<'_>)> = Vec::new();
        for pair in &self.privilege.pairs {
            let from = site.segment(pair.from).zone;
            let (to, name) = match pair.to {
                boundwalk_analysis::Endpoint::Segment(id) => {
                    let zone = site.segment(id).zone;
                    let name = site.zone(zone).name.value.as_str();
                    (Some(zone), std::borrow::Cow::Borrowed(name))
                }
                party => (None, party_name(site, party)),
            };
            let known = zones
                .iter()
                .position(|(one, other, zone)| *one == from && *other == to && zone.to == name);
            let at = known.unwrap_or_else(|| {
                zones.push((
                    from,
                    to,
                    ZoneUse {
                        from: &site.zone(from).name.value,
                        to: name,
                        packets: Axis::default(),
                    },
                ));
                zones.len() - 1
            });
            let packets = &mut zones[at].2.packets;
            packets.permitted += &pair.packets.permitted;
            packets.used += &pair.packets.used;
        }
        let mut zones: Vec<ZoneUse<'_>> = zones.into_iter().map(|(_, _, zone)| zone).collect();
        zones.sort_by_key(|zone| {
            let unused = zone.packets.used == BigUint::ZERO;
            (unused, std::cmp::Reverse(zone.packets.excess_bits()))
        });
        zones
    }

    pub(super) fn impossible(&self, one: &Impossible) -> String {
        let records = match one.observed.records {
            1 => "1 record".to_owned(),
            more => format!("{} records", counted(&BigUint::from(more))),
        };
        let why = match (one.from, one.stop) {
            (None, _) => "no segment has its source".to_owned(),
            (_, Some(Stop::Denied(_))) => {
                let by = one.deciders.last();
                let by = by.map(|&(router, rule)| rule_name(self.network, router, rule));
                by.map_or("denied".to_owned(), |by| format!("denied by {by}"))
            }
            (_, Some(stop)) => stopped(stop),
            (_, None) => "it ends elsewhere".to_owned(),
        };
        format!("{} ({records}): {why}", one.packet)
    }

    /// Needs that are not met, and needs of which no log shows a flow.
    pub(super) fn need_lines(&self) -> (Vec<String>, Vec<String>) {
        let needs = &self.network.site.needs;
        let mut lines = (Vec::new(), Vec::new());
        for one in &self.privilege.needs {
            let need = &needs[one.need];
            let place = self.sources.place(need.name.span);
            if let IntentStatus::Broken(breaches) = &one.status {
                let by = breaches.iter().flat_map(|breach| &breach.deciders).next();
                let by = by.map(|&(router, rule)| rule_name(self.network, router, rule));
                let by = by.map_or(String::new(), |by| format!(", denied by {by}"));
                lines.0.push(format!("{}{by} ({place})", need.name.value));
            } else if one.observed == 0 && !self.logs.is_empty() {
                lines.1.push(format!("{} ({place})", need.name.value));
            }
        }
        lines
    }
}

/// The three likely causes of a flow that the model says can't pass.
pub(super) const CAUSES: &str = "Three likely causes: the gateway does not run these rules (an older or newer list, \
    one entered by hand); the flow took a way that is not described (a cable, a radio, a second router: see \
    `boundwalk bypass`); or the log tells of packets that were sent and then denied, or of replies.";

/// `2 of 65,536`, or `all 3`.
pub(super) fn of(axis: &Axis) -> String {
    if axis.used == axis.permitted && axis.used > BigUint::from(1u8) {
        return format!("all {}", counted(&axis.used));
    }
    format!("{} of {}", counted(&axis.used), counted(&axis.permitted))
}

/// What a rule needs of its fields, in words.
pub(super) fn needs_text(measure: &Measure) -> String {
    let addresses = |pair: &PerFamily<Axis>| {
        let parts = Family::ALL
            .into_iter()
            .filter(|&family| pair[family].permitted != BigUint::ZERO)
            .map(|family| format!("{} {}", of(&pair[family]), family.word()));
        parts.collect::<Vec<_>>().join(" and ")
    };
    format!(
        "needs {} services, from {} addresses, to {} addresses",
        of(&measure.services),
        addresses(&measure.sources),
        addresses(&measure.destinations)
    )
}

/// `2^17 times more than used`.
pub(super) fn excess_text(packets: &Axis) -> String {
    match (packets.used == BigUint::ZERO, packets.excess_bits()) {
        (_, 0) => "all of it used".to_owned(),
        (true, _) => format!("{} packets, none used", counted(&packets.permitted)),
        (false, bits) if bits < 10 => format!("up to {} times more than used", 1u64 << bits),
        (false, bits) => format!("about 2^{bits} times more than used"),
    }
}

/// What nobody needs: `most` rules and pairs of zones each.
pub fn privilege_document<'a>(shown: &PrivilegeShown<'a>, most: usize) -> Document<'a> {
    let mut out = Document::new("Least privilege", &shown.network.site.name);
    shown.logs.iter().for_each(|log| out.plain(0, log));
    let [used, unused] = shown.ranked();
    let total = shown.privilege.rules.len();
    out.heading(
        Rank::Answer,
        format!(
            "Rules that permit more than is used: {} of {total}",
            used.len()
        ),
    );
    for (at, rule) in used.iter().take(most).enumerate() {
        let number = at + 1;
        out.line(2, Mark::Number { number, digits: 2 }, shown.rule(rule));
        out.plain(6, excess_text(&rule.measure.packets));
        out.plain(6, needs_text(&rule.measure));
        out.labelled(6, "at ", shown.place(rule));
    }
    more(&mut out, used.len(), most);
    if !unused.is_empty() {
        out.heading(
            Rank::Part,
            "Rules of which nothing is used: no need, no observed flow",
        );
        let first = unused.iter().take(most);
        out.bullets(first.map(|rule| format!("{} ({})", shown.rule(rule), shown.place(rule))));
        more(&mut out, unused.len(), most);
    }
    out.heading(Rank::Part, "Pairs of zones, the widest first");
    let zones = shown.zones();
    let first = zones.iter().take(most);
    out.bullets(first.map(|zone| {
        let excess = excess_text(&zone.packets);
        format!("{} -> {}: {excess}", zone.from, zone.to)
    }));
    let (unmet, unseen) = shown.need_lines();
    out.section("Needs that are not met", unmet);
    out.section("Needs of which no flow was observed", unseen);
    impossible(&mut out, shown, most);
    out.notes(shown.notes);
    out
}

fn more(out: &mut Document<'_>, count: usize, most: usize) {
    if count > most {
        out.plain(2, format!("and {} more (--all shows them)", count - most));
    }
}

fn impossible(out: &mut Document<'_>, shown: &PrivilegeShown<'_>, most: usize) {
    let count = shown.privilege.impossible_count;
    if count == 0 {
        return;
    }
    let title = format!("Observed, but the model says it can't pass: {count}");
    out.heading(Rank::Part, title);
    let first = shown.privilege.impossible.iter().take(most);
    out.bullets(first.map(|one| shown.impossible(one)));
    let listed = most.min(shown.privilege.impossible.len());
    if count > listed {
        out.plain(2, format!("and {} more", count - listed));
    }
    out.plain(2, CAUSES);
}
