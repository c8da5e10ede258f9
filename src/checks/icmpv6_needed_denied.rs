//! ICMPv6 messages that IPv6 can't do without.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Family, ICMPV6};

use super::report::{FindingReport, found};
use super::rule_asked::{AskedCrossing, Conversation, message, rule_place, talks};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "icmpv6-needed-denied",
    severity: Severity::Warning,
    summary: "rules that deny ICMPv6 messages which segments that talk IPv6 need",
    why: "IPv6 routers do not cut packets to size: they send Packet Too Big back and rely on its getting \
        through. Where this or another error message is lost, connections start and then hang.",
    fine_when: "The gateway is known to let errors that belong to a permitted connection through without a \
        rule; then only echo requests need one.",
    remedy: "Permit, before any rule that denies: \
        `icmpv6/1`, `icmpv6/2`, `icmpv6/3/0`, `icmpv6/4/1`, `icmpv6/4/2`, `icmpv6/128`, `icmpv6/129`.",
    references: &["RFC 4890 section 4.3.1 (traffic that must not be dropped)"],
    fires: include_str!("examples/icmpv6-needed-denied.fires.toml"),
    quiet: include_str!("examples/icmpv6-needed-denied.quiet.toml"),
};

/// A message, and whether it answers something and so takes the way back.
struct Needed {
    name: &'static str,
    kind: (u8, u8),
    back: bool,
}

const fn needed(name: &'static str, kind: (u8, u8), back: bool) -> Needed {
    Needed { name, kind, back }
}

/// RFC 4890 section 4.3.1; of type 1 the code for an unreachable address stands for all.
const NEEDED: [Needed; 7] = [
    needed("1", (1, 3), true),
    needed("2", (2, 0), true),
    needed("3/0", (3, 0), true),
    needed("4/1", (4, 1), true),
    needed("4/2", (4, 2), true),
    needed("128", (128, 0), false),
    needed("129", (129, 0), true),
];

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for talk in talks(view, Family::V6) {
        for crossing in talk.crossings(view, Family::V6) {
            for (rule, missing) in missing(view, &talk, &crossing) {
                let (place, rule) = rule_place(view, crossing.router, rule);
                let what = format!(
                    "{rule} denies ICMPv6 {}, which IPv6 needs",
                    missing.join(", ")
                );
                report.add(
                    found(&CHECK, place, talk.name(view), what)
                        .help("permit these messages before that rule"),
                );
            }
        }
    }
}

/// Messages that a gateway denies, by the rule that does.
fn missing(
    view: &CheckContext<'_>,
    talk: &Conversation<'_>,
    crossing: &AskedCrossing,
) -> Vec<(Option<usize>, Vec<&'static str>)> {
    let (source, destination) = (talk.packet.source, talk.packet.destination);
    let mut rules: Vec<(Option<usize>, Vec<&'static str>)> = Vec::new();
    for needed in &NEEDED {
        let denied = if needed.back {
            let packet = message(ICMPV6, needed.kind, destination, source);
            crossing.turned().denied(view, &packet)
        } else {
            crossing.denied(view, &message(ICMPV6, needed.kind, source, destination))
        };
        let Some(rule) = denied else {
            continue;
        };
        match rules.iter_mut().find(|(known, _)| *known == rule) {
            Some((_, names)) => names.push(needed.name),
            None => rules.push((rule, vec![needed.name])),
        }
    }
    rules
}
