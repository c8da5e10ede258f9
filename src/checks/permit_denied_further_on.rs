//! A permit that comes to nothing, because the next gateway denies it.

use boundwalk_analysis::Denial;
use boundwalk_diagnostic::{Check, Severity};

use super::in_a_row;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-denied-further-on",
    severity: Severity::Note,
    summary: "a rule permits what a gateway further on denies",
    why: "What crosses two gateways arrives only where both permit it. This rule opens the first one for packets \
        that never arrive: either somebody waits for something that does not work, or the rule is left over, and \
        lets strangers into the network between the two.",
    fine_when: "The further gateway is somebody else's and opens later. Pairs of which the addresses are translated \
        between the gateways are not looked at; a wide permit that the next gateway narrows is not meant.",
    remedy: "Permit it at the further gateway too, or take it out of this rule.",
    references: &[
        "Discovery of Policy Anomalies in Distributed Firewalls (INFOCOM 2004), abstract: anomalies between several firewalls, as well as inside one",
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
    ],
    fires: include_str!("examples/permit-denied-further-on.fires.toml"),
    quiet: include_str!("examples/permit-denied-further-on.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    in_a_row::find(&CHECK, Denial::Downstream, view, report);
}
