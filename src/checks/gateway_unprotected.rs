//! A gateway that lets an interface reach every service of its own.

use crate::diagnostic::{Check, Severity};
use crate::model::{Action, Family};
use crate::packet::Region;

use super::report::{Report, found};
use super::reviewed::Reviewed;
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "gateway-unprotected",
    severity: Severity::Error,
    summary: "a gateway that lets an interface reach every service of its own",
    why: "The gateway is what keeps the zones apart: who gets into it is everywhere. It must answer to few services and few hosts.",
    fine_when: "Never: what the gateway must answer is a short list.",
    remedy: "Permit what the gateway must answer (address assignment, names, its management) and deny the rest `to = [\"gateway\"]`.",
    references: &[
        "Wool 2004, error class: no rule that protects the firewall itself (from memory)",
        "NIST SP 800-41 rev. 1: traffic to the firewall itself only as needed (from memory)",
    ],
    fires: include_str!("examples/gateway-unprotected.fires.toml"),
    quiet: include_str!("examples/gateway-unprotected.quiet.toml"),
};

/// Pieces that a walk through the rules may hold open.
const OPEN_PIECES: usize = 20_000;

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for gateway in view.reviewed() {
        let book = gateway.0;
        for (ingress, interface) in book.router.interfaces.iter().enumerate() {
            let open = Family::ALL.iter();
            let mut open = open.filter(|&&family| is_open(view, gateway, ingress, family));
            if let Some(family) = open.next() {
                let subject = format!("{}:{}", book.router.name.value, interface.name.value);
                let what = format!(
                    "every service of the gateway itself is open to {} from here",
                    family.word()
                );
                report.add(
                    found(&CHECK, interface.name.span, subject, what).help(
                        "deny `to = [\"gateway\"]` after the few rules for what it must answer",
                    ),
                );
            }
        }
    }
}

/// Whether some plain device at an interface reaches every service of the gateway.
fn is_open(view: &View<'_>, gateway: Reviewed<'_>, ingress: usize, family: Family) -> bool {
    let plan = view.network.plan(family);
    let device = plan.device(plan.router_index(gateway.0.id));
    let Some(filter) = &device.filter else {
        return false;
    };
    let segment = device.interfaces[ingress].segment;
    let mut candidates = filter.between(ingress, filter.itself);
    let start = Region {
        source: plan.segment(segment).addresses.clone(),
        destination: device.own.clone(),
        services: view.network.classes.all(),
    };
    candidates.and_assign(&filter.lines.from_source(&start.source));
    candidates.and_assign(&filter.lines.to_destination(&start.destination));
    let mut denied = view.network.classes.none();
    let all = start.clone();
    let walked = filter
        .lines
        .walk(&candidates, start, OPEN_PIECES, &mut |line, region| {
            if filter.action(line) != Action::Permit {
                denied.union_with(&region.services);
            }
        });
    walked.is_ok() && !all.is_empty() && denied.is_empty()
}
