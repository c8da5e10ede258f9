//! A LAG whose cables do not all lead to one LAG.

use crate::diagnostic::{Check, Severity};
use crate::model::RouterId;

use super::report::{Report, found};
use super::view::View;
use super::wiring::Far;

pub(super) static CHECK: Check = Check {
    name: "lag-one-end",
    severity: Severity::Error,
    summary: "a LAG whose cables do not all lead to one LAG of one device",
    why: "Without a partner the LAG does not form, or forms with some of its cables. The others are dead, or \
        carry frames as single cables: a loop, or a way that nobody meant.",
    fine_when: "The other end is two devices that act as one; describe them as one switch.",
    remedy: "Make a LAG of the ports at the other end, or single ports of this one.",
    references: &[
        "IEEE 802.1AX: a LAG joins two systems, with an aggregation at each (from memory)",
    ],
    fires: include_str!("examples/lag-one-end.fires.toml"),
    quiet: include_str!("examples/lag-one-end.quiet.toml"),
};

const HELP: &str = "make a LAG of the ports at the other end, or take this one apart";

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (number, socket) in view.wiring.sockets.iter().enumerate() {
        let Some(lag) = socket.lag else {
            continue;
        };
        let what = match socket.far.as_slice() {
            [] => continue,
            [one] if is_lag(view, one) => continue,
            [one] => format!("leads to {}, which is no LAG", name(view, one)),
            several => format!("leads to {} at once", names(view, several)),
        };
        report.add(found(&CHECK, lag.name.span, view.wiring.name(number), what).help(HELP));
    }
    for number in 0..view.site.routers.len() {
        of_router(view, report, RouterId(number));
    }
}

/// LAGs of a gateway or router.
fn of_router(view: &View<'_>, report: &mut Report, id: RouterId) {
    let router = view.site.router(id);
    for lag in &router.lags {
        let own = Far::Router(id, &lag.name.value);
        let numbered = view.wiring.sockets.iter().enumerate();
        let there = numbered.filter(|(_, socket)| socket.far.contains(&own));
        let there: Vec<Far<'_>> = there.map(|(number, _)| Far::Socket(number)).collect();
        let what = match there.as_slice() {
            [] => continue,
            [one] if is_lag(view, one) => continue,
            [one] => format!("leads to {}, which is no LAG", name(view, one)),
            several => format!("leads to {} at once", names(view, several)),
        };
        let subject = format!("{}:{}", router.name.value, lag.name.value);
        report.add(found(&CHECK, lag.name.span, subject, what).help(HELP));
    }
}

/// Whether a LAG may have its partner there. A host's own LAG can't be described, so it is taken for one.
fn is_lag(view: &View<'_>, far: &Far<'_>) -> bool {
    match *far {
        Far::Socket(peer) => view.wiring.sockets[peer].lag.is_some(),
        Far::Router(router, port) => {
            let mut lags = view.site.router(router).lags.iter();
            lags.any(|lag| lag.name.value == port)
        }
        Far::Host(..) => true,
    }
}

fn name(view: &View<'_>, far: &Far<'_>) -> String {
    match *far {
        Far::Socket(peer) => view.wiring.name(peer),
        Far::Router(router, port) => format!("{}:{port}", view.site.router(router).name.value),
        Far::Host(host, at) => {
            let host = view.site.host(host);
            format!("{}:{}", host.name.value, host.interfaces[at].name.value)
        }
    }
}

fn names(view: &View<'_>, several: &[Far<'_>]) -> String {
    let names: Vec<String> = several.iter().map(|far| name(view, far)).collect();
    names.join(" and ")
}
