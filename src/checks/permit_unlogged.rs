//! A permit from an untrusted zone that does not log.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::RouterId;

use super::measured::of_permit;
use super::permits::zone_of;
use super::report::{FindingReport, found};
use super::reviewed::Reviewed;
use super::trust::untrusted;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-unlogged",
    severity: Severity::Note,
    summary: "a permit from an untrusted zone that does not log",
    why: "What comes in from people nobody knows is what one wants to see afterwards. Without a log nobody can say what came in, or when.",
    fine_when: "The device that it leads to keeps its own log, and somebody reads that.",
    remedy: "Add `log = true` to the rule.",
    references: &["CIS Controls v8 13.6: collect network traffic flow logs"],
    fires: include_str!("examples/permit-unlogged.fires.toml"),
    quiet: include_str!("examples/permit-unlogged.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    // Where nothing logs at all, logs are kept elsewhere.
    let logs = |gateway: &Reviewed<'_>| gateway.0.rules.iter().any(|rule| rule.log);
    let logging: Vec<RouterId> = view
        .reviewed()
        .filter(logs)
        .map(|gateway| gateway.0.id)
        .collect();
    for permit in view.permits() {
        let logs = logging.contains(&permit.gateway.0.id);
        if permit.rule.log || permit.only_messages() || permit.for_gateway_only() || !logs {
            continue;
        }
        let site = view.site;
        let mut zones: Vec<&str> = Vec::new();
        // A rule that names no sender is another check's.
        let named = permit.rule.from.is_some();
        let mut targets = permit.targets.iter();
        let inside = targets.any(|to| !untrusted(zone_of(site, to.segment)));
        for from in permit.senders.iter().filter(|_| named) {
            let zone = zone_of(site, from.segment);
            if untrusted(zone) && inside && !zones.contains(&zone.name.value.as_str()) {
                zones.push(&zone.name.value);
            }
        }
        if zones.is_empty() {
            continue;
        }
        let gateway = permit.gateway;
        let what = format!("lets packets in from {} without a log", zones.join(", "));
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .measured(of_permit(view, permit))
            .help("add `log = true`"),
        );
    }
}
