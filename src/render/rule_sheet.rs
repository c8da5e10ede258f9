//! One rule in words: what it decides, who hides it, what it hides, what it opens.

use num_bigint::BigUint;

use boundwalk_analysis::rules::{
    Dead, GatewayReview, Hidden, Part, RulePacket, RulePair, RuleSheet, RuleStatus, Share, Without,
};
use boundwalk_analysis::{ServiceLabels, party_name};
use boundwalk_diagnostic::Finding;
use boundwalk_model::{Action, Rule, RuleParty, Site};

use super::document::{Document, Mark, Rank};
use super::rules::RulesShown;

/// Rows of a list that are shown.
const MOST: usize = 12;

/// A title and sentences.
struct Section {
    title: &'static str,
    lines: Vec<String>,
}

/// One rule: what is written, what it decides, what it takes of others, its findings.
pub fn rule_document<'a>(
    shown: &RulesShown<'a>,
    gateway_review: &GatewayReview<'_>,
    sheet: &RuleSheet,
    findings: &'a [Finding],
) -> Document<'a> {
    let mut out = Document::new("One rule", &shown.site.name);
    out.heading(Rank::Answer, title(shown, gateway_review, sheet));
    for section in sections(shown, gateway_review, sheet) {
        out.heading(Rank::Part, section.title);
        for line in section.lines {
            out.line(2, Mark::Hanging, line);
        }
    }
    if !findings.is_empty() {
        out.heading(Rank::Part, "Findings");
        out.gap();
        out.findings(shown.sources, findings, true);
    }
    out.notes(shown.notes);
    out
}

fn title(shown: &RulesShown<'_>, gateway_review: &GatewayReview<'_>, sheet: &RuleSheet) -> String {
    let rule = &gateway_review.rules[sheet.rule];
    format!(
        "{} rule {}: \"{}\" ({})",
        gateway_review.router.name.value,
        sheet.rule + 1,
        rule.name.value,
        shown.sources.place(rule.name.span)
    )
}

fn sections(
    shown: &RulesShown<'_>,
    gateway_review: &GatewayReview<'_>,
    sheet: &RuleSheet,
) -> Vec<Section> {
    let words = Words {
        shown,
        gateway_review,
    };
    let mut sections = vec![
        Section {
            title: "As written",
            lines: written(shown.site, &gateway_review.rules[sheet.rule]),
        },
        Section {
            title: "What it does",
            lines: words.status(sheet.rule),
        },
        Section {
            title: "What earlier rules take of it",
            lines: sheet
                .shares
                .families
                .iter()
                .map(|share| words.share(share))
                .collect(),
        },
        Section {
            title: "What it decides",
            lines: words.parts(sheet),
        },
        Section {
            title: "What it takes of later rules",
            lines: words.hides(sheet),
        },
        Section {
            title: "Where the order matters",
            lines: cut(sheet.pairs.iter().map(|pair| words.pair(pair)).collect()),
        },
        Section {
            title: "Pairs of segments that it opens",
            lines: words.opens(sheet),
        },
    ];
    sections.retain(|section| !section.lines.is_empty());
    sections
}

/// The fields of a rule, one a line.
fn written(site: &Site, rule: &Rule) -> Vec<String> {
    let mut lines = vec![format!("action: {}", rule.action.value.word())];
    for (name, parties) in [("from", &rule.from), ("to", &rule.to)] {
        let names = parties.as_ref().map(|parties| {
            let names = parties.iter().map(|party| match *party {
                RuleParty::Zone(zone) => site.zone(zone).name.value.as_str(),
                RuleParty::Segment(segment) => site.segment(segment).name.value.as_str(),
                RuleParty::Gateway => "gateway",
            });
            names.collect::<Vec<_>>().join(", ")
        });
        lines.push(format!("{name}: {}", names.as_deref().unwrap_or("any")));
    }
    let items = |written: &[boundwalk_diagnostic::Spanned<String>]| {
        written
            .iter()
            .map(|item| item.value.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    for (name, field) in [("source", &rule.source), ("destination", &rule.destination)] {
        let text = field.as_ref().map(|field| items(&field.written));
        lines.push(format!("{name}: {}", text.as_deref().unwrap_or("any")));
    }
    let services = rule.services.as_ref().map(|list| items(&list.written));
    lines.push(format!(
        "services: {}",
        services.as_deref().unwrap_or("any")
    ));
    if let Some(hits) = rule.hits {
        lines.push(format!("counted by the gateway: {hits} packets"));
    }
    lines
}

/// The first rows of a list, and how many more there are.
fn cut(mut lines: Vec<String>) -> Vec<String> {
    if lines.len() > MOST {
        let more = lines.len() - MOST;
        lines.truncate(MOST);
        lines.push(format!("and {more} more"));
    }
    lines
}

/// Puts a rule into words.
struct Words<'a> {
    shown: &'a RulesShown<'a>,
    gateway_review: &'a GatewayReview<'a>,
}

impl Words<'_> {
    fn rule(&self, rule: usize) -> String {
        format!(
            "{} \"{}\"",
            rule + 1,
            self.gateway_review.rules[rule].name.value
        )
    }

    fn list(&self, rules: &[usize]) -> String {
        let names: Vec<String> = rules.iter().map(|&rule| self.rule(rule)).collect();
        cut(names).join(", ")
    }

    fn packet(&self, packet: &RulePacket) -> String {
        let interface = |at: usize| {
            self.gateway_review.router.interfaces[at]
                .name
                .value
                .as_str()
        };
        let out = packet.egress.map_or("the gateway itself", interface);
        format!(
            "{}, in by {}, to {out}",
            packet.packet,
            interface(packet.ingress)
        )
    }

    fn status(&self, rule: usize) -> Vec<String> {
        match &self.gateway_review.review.rules[rule] {
            RuleStatus::Off => vec!["Nothing: it is disabled or has expired.".to_owned()],
            RuleStatus::Irrelevant => vec![format!(
                "Nothing: no packet can match it: {}.",
                self.gateway_review.obstacle_text(rule)
            )],
            RuleStatus::Dead(dead) => self.dead(dead),
            RuleStatus::Unknown => vec![UNSETTLED.to_owned()],
            RuleStatus::Decides { witness, without } => {
                let word = self.gateway_review.rules[rule].action.value.word();
                let first = format!(
                    "It decides packets ({word}), for example {}.",
                    self.packet(witness)
                );
                vec![first, self.without(witness, without)]
            }
        }
    }

    fn dead(&self, dead: &Dead) -> Vec<String> {
        let size = match (dead.by.len(), dead.smallest) {
            (1, _) => "",
            (_, true) => " No smaller set of such rules does.",
            (_, false) => " A smaller set may do, this one is not proved smallest.",
        };
        let mut lines = vec![format!(
            "Nothing: before it, {} {} all that it names.{size}",
            self.list(&dead.by),
            if dead.by.len() == 1 { "takes" } else { "take" }
        )];
        lines.push(match &dead.against {
            Some(against) => format!(
                "Not all as it says: {} decides {}; it {} that.",
                self.rule(against.rule),
                self.packet(&against.packet),
                match self.gateway_review.rules[against.rule].action.value {
                    Action::Permit => "permits",
                    Action::Deny => "denies",
                    Action::Reject => "rejects",
                }
            ),
            None => "All as it says: it only repeats what stands before it.".to_owned(),
        });
        lines
    }

    fn without(&self, witness: &RulePacket, without: &Without) -> String {
        match without {
            Without::Changed(packet) if packet == witness => {
                "It is needed: without it, that packet would be decided otherwise.".to_owned()
            }
            Without::Changed(packet) => format!(
                "It is needed: without it, this packet would be decided otherwise: {}.",
                self.packet(packet)
            ),
            Without::Same { by } if by.is_empty() => {
                "Without it nothing changes: the default does the same.".to_owned()
            }
            Without::Same { by } => format!(
                "Without it nothing changes; that rests on {}.",
                self.list(by)
            ),
            Without::Unknown => {
                "Whether anything changes without it is not settled: a bound on the work was met."
                    .to_owned()
            }
        }
    }

    fn share(&self, share: &Share) -> String {
        let family = share.family.word();
        if share.taken.is_empty() {
            return format!("{family}: nothing");
        }
        let mut order: Vec<&(usize, BigUint)> = share.taken.iter().collect();
        order.sort_by(|one, other| other.1.cmp(&one.1));
        let mut taken: Vec<String> = order
            .iter()
            .filter(|(_, size)| share.permille(size) > 0)
            .map(|(rule, size)| format!("{} by {}", percent(share, size), self.rule(*rule)))
            .collect();
        match order.len() - taken.len() {
            0 => {}
            1 => taken.push("less than 0.1 % by one other rule".to_owned()),
            small => taken.push(format!("less than 0.1 % each by {small} other rules")),
        }
        let left = match share.exact {
            true if share.decided == BigUint::ZERO => "nothing is left".to_owned(),
            true => format!("{} is left", percent(share, &share.decided)),
            false => "what is left falls into too many pieces to count".to_owned(),
        };
        format!("{family}: {}; {left}", cut(taken).join(", "))
    }

    fn parts(&self, sheet: &RuleSheet) -> Vec<String> {
        let mut lines = Vec::new();
        for part in &sheet.shares.parts {
            let naming = self.shown.namings.iter();
            let mut naming = naming.filter(|naming| naming.plan().family == part.family);
            let Some(naming) = naming.next() else {
                continue;
            };
            lines.push(format!(
                "{} -> {}: from {} to {}: {}",
                self.interfaces(&part.ingress),
                self.interfaces(&part.egress),
                self.sources(naming, part),
                naming.addresses(&part.region.destination),
                naming.services(&part.region.services)
            ));
        }
        cut(lines)
    }

    /// Sources in few words. Whether the gateway's own addresses are among them, which only a forger sends with, is
    /// left open where that makes it shorter.
    fn sources(&self, naming: &ServiceLabels<'_>, part: &Part) -> String {
        let own = self.gateway_review.router.own_addresses();
        let others = part.region.source.difference(own.of(part.family));
        let all = naming.addresses(&part.region.source);
        let few = naming.addresses(&others);
        if others.is_empty() || all.len() <= few.len() {
            all
        } else {
            few
        }
    }

    fn interfaces(&self, numbers: &[usize]) -> String {
        let interfaces = &self.gateway_review.router.interfaces;
        if numbers.len() > 1 && numbers.len() >= interfaces.len() {
            return "any interface".to_owned();
        }
        let name = |&at: &usize| match interfaces.get(at) {
            Some(interface) => interface.name.value.clone(),
            None => "the gateway itself".to_owned(),
        };
        cut(numbers.iter().map(name).collect()).join(", ")
    }

    fn hides(&self, sheet: &RuleSheet) -> Vec<String> {
        let mut hides: Vec<&Hidden> = sheet.hides.iter().collect();
        hides.sort_by_key(|hidden| {
            (
                !hidden.dead,
                std::cmp::Reverse(hidden.permille),
                hidden.rule,
            )
        });
        let line = |hidden: &&Hidden| {
            let dead = if hidden.dead {
                "; nothing is left of it"
            } else {
                ""
            };
            format!(
                "{} of {}{dead}",
                tenths(hidden.permille),
                self.rule(hidden.rule)
            )
        };
        let mut lines = cut(hides.iter().map(line).collect());
        if !sheet.all_hidden {
            lines.push("not all later rules were looked at".to_owned());
        }
        lines
    }

    fn pair(&self, pair: &RulePair) -> String {
        format!(
            "{} before {}: both name {}",
            self.rule(pair.first),
            self.rule(pair.second),
            self.packet(&pair.packet)
        )
    }

    fn opens(&self, sheet: &RuleSheet) -> Vec<String> {
        if self.gateway_review.rules[sheet.rule].action.value != Action::Permit {
            return Vec::new();
        }
        let Some(opens) = &sheet.opens else {
            return vec!["not asked: the site has too many segments".to_owned()];
        };
        if opens.is_empty() {
            return vec!["none, as devices are configured".to_owned()];
        }
        let site = self.shown.site;
        let line = |opened: &boundwalk_analysis::rules::Opened| {
            let pair = format!(
                "{} -> {} ({})",
                party_name(site, opened.from),
                party_name(site, opened.to),
                opened.family.word()
            );
            let naming = self.shown.namings.iter();
            let mut naming = naming.filter(|naming| naming.plan().family == opened.family);
            match naming.next() {
                Some(naming) => {
                    let services = naming.services(&opened.services);
                    format!("{pair}; what passes there by any rule: {services}")
                }
                None => pair,
            }
        };
        cut(opens.iter().map(line).collect())
    }
}

const UNSETTLED: &str = "Not settled: a bound on the work was met.";

/// How much of a share some packets are.
fn percent(share: &Share, size: &BigUint) -> String {
    match share.permille(size) {
        0 if *size > BigUint::ZERO => "less than 0.1 %".to_owned(),
        1000 => "all".to_owned(),
        permille => tenths(permille),
    }
}

fn tenths(permille: u32) -> String {
    match permille {
        0 => "less than 0.1 %".to_owned(),
        1000 => "all".to_owned(),
        _ => format!("{}.{} %", permille / 10, permille % 10),
    }
}
