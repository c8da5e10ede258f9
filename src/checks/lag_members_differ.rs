//! Ports of one LAG that are not alike.

use crate::diagnostic::{Check, Severity};
use crate::model::{Lag, Port, Speed};

use super::report::{Report, found};
use super::view::View;
use super::wiring::{Far, Socket};

pub(super) static CHECK: Check = Check {
    name: "lag-members-differ",
    severity: Severity::Warning,
    summary: "ports of one LAG that differ in speed or in being enabled, or ends of different size",
    why: "Only ports of one speed form a LAG; the odd one stays out, or carries frames by itself, past what \
        is set for the LAG. A disabled member is a spare that will not help when the other cable fails.",
    fine_when: "While cables are being exchanged one by one.",
    remedy: "Set all members, at both ends, to one speed, and enable or remove the odd one.",
    references: &[
        "IEEE 802.1AX: members of one LAG have one speed (from memory)",
        "Linux kernel documentation, bonding, mode 802.3ad: groups share the same speed and duplex",
    ],
    fires: include_str!("examples/lag-members-differ.fires.toml"),
    quiet: include_str!("examples/lag-members-differ.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (number, socket) in view.wiring.sockets.iter().enumerate() {
        let Some(lag) = socket.lag else {
            continue;
        };
        let ports = members(view, socket, lag);
        let off: Vec<&str> = ports
            .iter()
            .filter(|port| !port.enabled)
            .map(|port| port.name.value.as_str())
            .collect();
        let mut odd = Vec::new();
        if !off.is_empty() && off.len() < ports.len() {
            odd.push(format!("has the disabled port {}", off.join(", ")));
        }
        odd.extend(speeds(lag, &ports));
        odd.extend(
            socket
                .far
                .iter()
                .filter_map(|far| unlike(view, lag, &ports, far)),
        );
        for what in odd {
            report.add(
                found(&CHECK, lag.name.span, view.wiring.name(number), what)
                    .help("make all its ports alike, at both ends"),
            );
        }
    }
}

fn members<'s>(view: &View<'s>, socket: &Socket<'s>, lag: &Lag) -> Vec<&'s Port> {
    let ports = view.site.switches[socket.switch.0].ports.iter();
    ports
        .filter(|port| lag.ports.contains(&port.name))
        .collect()
}

/// The speed of a LAG's members, as far as the file tells.
fn speed(lag: &Lag, ports: &[&Port]) -> Option<Speed> {
    let mut known = ports.iter().filter_map(|port| port.speed);
    lag.speed.or_else(|| known.next())
}

fn speeds(lag: &Lag, ports: &[&Port]) -> Option<String> {
    let common = speed(lag, ports)?;
    let mut known = ports.iter().filter_map(|port| Some((port, port.speed?)));
    let (port, other) = known.find(|(_, speed)| *speed != common)?;
    Some(format!(
        "runs at {common}, its port {} at {other}",
        port.name.value
    ))
}

/// How the LAG at the other end differs.
fn unlike(view: &View<'_>, lag: &Lag, ports: &[&Port], far: &Far<'_>) -> Option<String> {
    let (name, count, there) = match *far {
        Far::Socket(peer) => {
            let socket = &view.wiring.sockets[peer];
            let other = socket.lag?;
            let others = members(view, socket, other);
            (view.wiring.name(peer), others.len(), speed(other, &others))
        }
        Far::Router(router, port) => {
            let router = view.site.router(router);
            let other = router.lags.iter().find(|lag| lag.name.value == port)?;
            let name = format!("{}:{port}", router.name.value);
            (name, other.ports.len(), other.speed)
        }
        Far::Host(..) => return None,
    };
    if count != lag.ports.len() {
        let own = lag.ports.len();
        return Some(format!(
            "has {own} ports, and {name} at its other end {count}"
        ));
    }
    let (here, there) = (speed(lag, ports)?, there?);
    (here != there).then(|| format!("runs at {here}, and {name} at its other end at {there}"))
}
