//! Lost notices that a packet was too big.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Family, ICMP};

use super::report::{FindingReport, found};
use super::rule_asked::{message, rule_place, talks};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "too-big-denied",
    severity: Severity::Warning,
    summary: "a stateless gateway that denies the notice that a packet was too big (ICMP 3/4)",
    why: "Most senders forbid routers to cut their packets and wait for this notice to send smaller ones. \
        Where it is lost, connections start, then hang as soon as much is sent.",
    fine_when: "Every cable and tunnel on the way takes packets of the same size.",
    remedy: "Permit `icmp/3/4` in both directions, before any rule that denies. (A stateful gateway lets errors \
        that belong to a connection through by itself.)",
    references: &[
        "RFC 2979 section 3: a firewall that lets packets out that must not be cut MUST NOT block the answer",
        "RFC 1191 section 2: routers discard what is too big and return this notice, by which senders learn the size",
    ],
    fires: include_str!("examples/too-big-denied.fires.toml"),
    quiet: include_str!("examples/too-big-denied.quiet.toml"),
};

/// Destination unreachable, fragmentation needed (RFC 792).
const TOO_BIG: (u8, u8) = (3, 4);

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    // State knows which notice belongs to what.
    if view.network.plan(Family::V4).stateful {
        return;
    }
    for talk in talks(view, Family::V4) {
        let packet = talk.packet;
        for crossing in talk.crossings(view, Family::V4) {
            let filter = view.site.router(crossing.router).filter();
            if filter.is_none_or(|filter| filter.stateful) {
                continue;
            }
            let notice = message(ICMP, TOO_BIG, packet.destination, packet.source);
            if let Some(rule) = crossing.turned().denied(view, &notice) {
                let (place, rule) = rule_place(view, crossing.router, rule);
                let what = format!("{rule} denies the notice that a packet was too big");
                report.add(
                    found(&CHECK, place, talk.name(view), what)
                        .help("permit `icmp/3/4` before that rule"),
                );
            }
        }
    }
}
