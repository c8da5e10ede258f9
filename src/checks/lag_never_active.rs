//! Two ends of a LAG that never agree.

use boundwalk_analysis::{CableEnd, Equipment};
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_forwarding::layer2::lacp_forms;
use boundwalk_model::Lacp;

use super::lags::{LagEnd, lags, place};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "lag-never-active",
    severity: Severity::Error,
    summary: "a LAG that can't form: both ends wait for the other, or only one speaks LACP",
    why: "A passive end speaks when spoken to, so two of them stay silent for ever; an end without LACP never \
        answers one that speaks it. The cables are then dead, or carry frames one by one.",
    fine_when: "Never: the LAG is not there.",
    remedy: "Set `lacp = \"active\"` at one end at least, better at both.",
    references: &[
        "IEEE 802.1AXdz-2025, module ieee802-dot1ax-types, lacp-activity: a passive end sends only when its partner is active",
        "Linux kernel documentation, bonding, lacp_active: off is \"speak when spoken to\"",
    ],
    fires: include_str!("examples/lag-never-active.fires.toml"),
    quiet: include_str!("examples/lag-never-active.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for end in lags(view) {
        for &far in end.far.iter().filter(|&&far| tells(&end, far, view)) {
            let Some(lacp) = view.cabling.lag(far).map(|there| there.lacp) else {
                continue;
            };
            if lacp_forms(end.lag.lacp, lacp) {
                continue;
            }
            let peer = far.name(view.site);
            let what = quarrel(end.lag.lacp, lacp, &peer);
            let mut draft = found(&CHECK, end.lag.name.span, end.name(view), what);
            if let Some(place) = place(view, far) {
                draft = draft.note(place, format!("{peer} is described here"));
            }
            report.add(draft.help("write `lacp = \"active\"` at both ends"));
        }
    }
}

/// Of two LAGs of switches the first tells.
fn tells(end: &LagEnd<'_>, far: CableEnd<'_>, view: &CheckContext<'_>) -> bool {
    match far.device {
        Equipment::Switch(switch) => {
            let there = view.site.switches[switch.0].lag(far.port);
            there.is_some_and(|there| (end.switch, end.number) < (switch, there))
        }
        Equipment::Router(_) => true,
        Equipment::Host(_) => false,
    }
}

fn quarrel(here: Lacp, there: Lacp, peer: &str) -> String {
    match (here, there) {
        (Lacp::Static, _) => format!("speaks no LACP, and {peer} does"),
        (_, Lacp::Static) => format!("speaks LACP, and {peer} does not"),
        _ => format!("passive, and so is {peer}: neither begins"),
    }
}
