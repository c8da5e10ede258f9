//! Two ends of a LAG that never agree.

use crate::diagnostic::{Check, Severity, Span};
use crate::model::Lacp;

use super::report::{Report, found};
use super::view::View;
use super::wiring::Far;

pub(super) static CHECK: Check = Check {
    name: "lag-never-active",
    severity: Severity::Error,
    summary: "a LAG that can't form: both ends wait for the other, or only one speaks LACP",
    why: "A passive end speaks when spoken to, so two of them stay silent for ever; an end without LACP never \
        answers one that speaks it. The cables are then dead, or carry frames one by one.",
    fine_when: "Never: the LAG is not there.",
    remedy: "Set `lacp = \"active\"` at one end at least, better at both.",
    references: &[
        "IEEE 802.1AX: LACP activity, active and passive (from memory)",
        "Linux kernel documentation, bonding, lacp_active: off is \"speak when spoken to\"",
    ],
    fires: include_str!("examples/lag-never-active.fires.toml"),
    quiet: include_str!("examples/lag-never-active.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (number, socket) in view.wiring.sockets.iter().enumerate() {
        let Some(lag) = socket.lag else {
            continue;
        };
        for far in &socket.far {
            // Of two LAGs of switches the first tells.
            let Some((peer, lacp, place)) = partner(view, number, far) else {
                continue;
            };
            let Some(what) = quarrel(lag.lacp, lacp, &peer) else {
                continue;
            };
            report.add(
                found(&CHECK, lag.name.span, view.wiring.name(number), what)
                    .note(place, format!("{peer} is described here"))
                    .help("write `lacp = \"active\"` at both ends"),
            );
        }
    }
}

fn partner(view: &View<'_>, number: usize, far: &Far<'_>) -> Option<(String, Lacp, Span)> {
    match *far {
        Far::Socket(peer) if peer > number => {
            let lag = view.wiring.sockets[peer].lag?;
            Some((view.wiring.name(peer), lag.lacp, lag.name.span))
        }
        Far::Router(router, port) => {
            let router = view.site.router(router);
            let lag = router.lags.iter().find(|lag| lag.name.value == port)?;
            let name = format!("{}:{port}", router.name.value);
            Some((name, lag.lacp, lag.name.span))
        }
        Far::Socket(_) | Far::Host(..) => None,
    }
}

fn quarrel(here: Lacp, there: Lacp, peer: &str) -> Option<String> {
    match (here, there) {
        (Lacp::Passive, Lacp::Passive) => {
            Some(format!("passive, and so is {peer}: neither begins"))
        }
        (Lacp::Static, Lacp::Active | Lacp::Passive) => {
            Some(format!("speaks no LACP, and {peer} does"))
        }
        (Lacp::Active | Lacp::Passive, Lacp::Static) => {
            Some(format!("speaks LACP, and {peer} does not"))
        }
        _ => None,
    }
}
