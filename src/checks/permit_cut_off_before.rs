//! A permit that comes to nothing, because an earlier gateway denies it.

use boundwalk_analysis::Denial;
use boundwalk_diagnostic::{Check, Severity};

use super::in_a_row;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-cut-off-before",
    severity: Severity::Note,
    summary: "a rule permits what a gateway before it never lets through",
    why: "What crosses two gateways arrives only where both permit it. This rule waits for packets that the gateway \
        before it drops: either somebody waits for something that does not work, or the rule is left over and opens \
        a way as soon as the other gateway is changed.",
    fine_when: "The gateway before is somebody else's and opens later. Pairs of which the addresses are translated \
        between the gateways are not looked at; a wide permit that the gateway before narrows is not meant.",
    remedy: "Permit it at the gateway before too, or take it out of this rule.",
    references: &[
        "Discovery of Policy Anomalies in Distributed Firewalls (INFOCOM 2004), abstract: anomalies between several firewalls, as well as inside one",
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
    ],
    fires: include_str!("examples/permit-cut-off-before.fires.toml"),
    quiet: include_str!("examples/permit-cut-off-before.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    in_a_row::find(&CHECK, Denial::Upstream, view, report);
}
