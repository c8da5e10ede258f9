//! Ports of one LAG that are not alike.

use boundwalk_analysis::CableEnd;
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Lag, Port, Speed};

use super::lags::{LagEnd, lags};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "lag-members-differ",
    severity: Severity::Warning,
    summary: "ports of one LAG that differ in speed or in being enabled, or ends of different size",
    why: "Many devices join ports of one speed only; the odd one stays out, or carries frames by itself, past what \
        is set for the LAG. A disabled member is a spare that will not help when the other cable fails.",
    fine_when: "While cables are being exchanged one by one.",
    remedy: "Set all members, at both ends, to one speed, and enable or remove the odd one.",
    references: &[
        "IEEE 802.1AX-2008, scope: links operating at the same data rate (the scope of the edition of 2020 does not ask for it)",
        "Linux kernel documentation, bonding, mode 802.3ad: groups share the same speed and duplex",
    ],
    fires: include_str!("examples/lag-members-differ.fires.toml"),
    quiet: include_str!("examples/lag-members-differ.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for end in lags(view) {
        let ports = members(view, &end);
        let off: Vec<&str> = ports
            .iter()
            .filter(|port| !port.enabled)
            .map(|port| port.name.value.as_str())
            .collect();
        let mut odd = Vec::new();
        if !off.is_empty() && off.len() < ports.len() {
            odd.push(format!("has the disabled port {}", off.join(", ")));
        }
        odd.extend(speeds(end.lag, &ports));
        let far = end.far.iter();
        odd.extend(far.filter_map(|&far| unlike(view, end.lag, &ports, far)));
        for what in odd {
            report.add(
                found(&CHECK, end.lag.name.span, end.name(view), what)
                    .help("make all its ports alike, at both ends"),
            );
        }
    }
}

fn members<'s>(view: &CheckContext<'s>, end: &LagEnd<'_>) -> Vec<&'s Port> {
    view.site.switches[end.switch.0]
        .ports
        .iter()
        .filter(|port| end.lag.ports.contains(&port.name))
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
fn unlike(
    view: &CheckContext<'_>,
    lag: &Lag,
    ports: &[&Port],
    far: CableEnd<'_>,
) -> Option<String> {
    let there = view.cabling.lag(far)?;
    let name = far.name(view.site);
    let (own, count) = (lag.ports.len(), there.ports.len());
    if count != own {
        return Some(format!(
            "has {own} ports, and {name} at its other end {count}"
        ));
    }
    let (here, there) = (speed(lag, ports)?, there.speed?);
    (here != there).then(|| format!("runs at {here}, and {name} at its other end at {there}"))
}
