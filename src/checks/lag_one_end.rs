//! A LAG whose cables do not all lead to one LAG.

use boundwalk_analysis::{CableEnd, Equipment};
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::RouterId;

use super::lags::{far_ends, lags};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "lag-one-end",
    severity: Severity::Error,
    summary: "a LAG whose cables do not all lead to one LAG of one device",
    why: "Without a partner the LAG does not form, or forms with some of its cables. The others are dead, or \
        carry frames as single cables: a loop, or a way that nobody meant.",
    fine_when: "The other end is two devices that act as one; describe them as one switch.",
    remedy: "Make a LAG of the ports at the other end, or single ports of this one.",
    references: &[
        "IEEE 802.1AXdz-2025, module ieee802-dot1ax-linkagg, partner-system: an aggregator has one system as its partner",
    ],
    fires: include_str!("examples/lag-one-end.fires.toml"),
    quiet: include_str!("examples/lag-one-end.quiet.toml"),
};

const HELP: &str = "make a LAG of the ports at the other end, or take this one apart";

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for end in lags(view) {
        if end.forms(view) {
            continue;
        }
        if let Some(what) = parted(view, &end.far) {
            let place = end.lag.name.span;
            report.add(found(&CHECK, place, end.name(view), what).help(HELP));
        }
    }
    for (number, router) in view.site.routers.iter().enumerate() {
        let device = Equipment::Router(RouterId(number));
        for lag in &router.lags {
            let port = lag.name.value.as_str();
            let end = CableEnd { device, port };
            if let Some(what) = parted(view, &far_ends(view, end)) {
                let subject = end.name(view.site);
                report.add(found(&CHECK, lag.name.span, subject, what).help(HELP));
            }
        }
    }
}

/// Why what the cables of a LAG lead to is no partner for it.
fn parted(view: &CheckContext<'_>, far: &[CableEnd<'_>]) -> Option<String> {
    match far {
        [] => None,
        [one] if is_lag(view, *one) => None,
        [one] => Some(format!("leads to {}, which is no LAG", one.name(view.site))),
        several => {
            let names: Vec<String> = several.iter().map(|end| end.name(view.site)).collect();
            Some(format!("leads to {} at once", names.join(" and ")))
        }
    }
}

/// Whether a LAG may have its partner there. A host's own LAG can't be described, so it is taken for one.
fn is_lag(view: &CheckContext<'_>, far: CableEnd<'_>) -> bool {
    matches!(far.device, Equipment::Host(_)) || view.cabling.lag(far).is_some()
}
