//! A gateway that lets an interface reach every service of its own.

use num_bigint::BigUint;

use boundwalk_diagnostic::{Check, Magnitude, Severity};
use boundwalk_model::{Action, Family};
use boundwalk_packet::Region;

use super::extent::addresses;
use super::report::{FindingReport, found};
use super::reviewed::Reviewed;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "gateway-unprotected",
    severity: Severity::Error,
    summary: "a gateway that lets an interface reach every service of its own",
    why: "The gateway is what keeps the zones apart: who gets into it is everywhere. It must answer to few services and few hosts.",
    fine_when: "Never: what the gateway must answer is a short list.",
    remedy: "Permit what the gateway must answer (address assignment, names, its management) and deny the rest `to = [\"gateway\"]`.",
    references: &[
        "RFC 6192 section 3.2: traffic to the router itself is allowed by a list, and the rest is discarded",
        "DISA Router SRG, SRG-NET-000205-RTR-000001: restrict traffic destined to the router itself",
    ],
    fires: include_str!("examples/gateway-unprotected.fires.toml"),
    quiet: include_str!("examples/gateway-unprotected.quiet.toml"),
};

/// Sources up to which rules may be said to name them: a rule of this house.
const FEW: u32 = 16;
/// Pieces that a walk through the rules may hold open.
const OPEN_PIECES: usize = 20_000;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        for (ingress, interface) in gateway.router.interfaces.iter().enumerate() {
            let mut open = Family::ALL
                .iter()
                .filter_map(|&family| Some((family, open_to(view, gateway, ingress, family)?)));
            if let Some((family, count)) = open.next() {
                let subject = format!("{}:{}", gateway.router.name.value, interface.name.value);
                let what = format!(
                    "every service of the gateway itself is open over {} to {} here",
                    family.word(),
                    addresses(&count)
                );
                let mut measure = Magnitude::default();
                for (family, count) in std::iter::once((family, count)).chain(open) {
                    measure.add(family.word());
                    // So many addresses, whichever they are.
                    let most = u128::try_from(&count).unwrap_or(u128::MAX);
                    measure.extend(format!("addresses of {}", family.word()), [(0, most)]);
                }
                let draft = found(&CHECK, interface.name.span, subject, what).measured(measure);
                report.add(
                    draft.help(
                        "deny `to = [\"gateway\"]` after the few rules for what it must answer",
                    ),
                );
            }
        }
    }
}

/// To how many addresses at an interface every service is open at some address of the gateway; `None` where there are
/// so few that somebody named them. Sources that are denied, such as forged ones, don't protect it from the others.
fn open_to(
    view: &CheckContext<'_>,
    gateway: Reviewed<'_>,
    ingress: usize,
    family: Family,
) -> Option<BigUint> {
    let plan = view.network.plan(family);
    let device = plan.device(plan.router_index(gateway.id));
    let filter = device.filter.as_ref()?;
    let segment = device.interfaces[ingress].segment;
    let start = Region {
        source: plan.segment(segment).addresses.clone(),
        destination: device.own.clone(),
        services: view.network.classes.all(),
    };
    let all = start.source.clone();
    let mut candidates = filter.between(ingress, filter.itself);
    candidates.and_assign(&filter.lines.from_source(&start.source));
    candidates.and_assign(&filter.lines.to_destination(&start.destination));
    let mut denied: Vec<Region> = Vec::new();
    let walked = filter
        .lines
        .walk(&candidates, start, OPEN_PIECES, &mut |line, region| {
            if filter.action(line) != Action::Permit {
                denied.push(region);
            }
        });
    walked.ok()?;
    let left = device
        .own
        .intervals()
        .iter()
        .flat_map(|part| part.low()..=part.high())
        .map(|address| {
            denied
                .iter()
                .filter(|region| region.destination.contains(address))
                .fold(all.clone(), |left, region| left.difference(&region.source))
        });
    left.filter(|left| *left == all || left.size() > BigUint::from(FEW))
        .map(|left| left.size())
        .max()
        .filter(|count| *count > BigUint::ZERO)
}
