//! A permit that is far wider than what anybody needs.

use num_bigint::BigUint;

use boundwalk_analysis::counted;
use boundwalk_analysis::privilege::RuleUse;
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-exceeds-needs",
    severity: Severity::Note,
    summary: "a permitting rule that is at least 1,000 times wider than the needs that it serves",
    why: "What a rule permits beyond its needs is open to whoever gets hold of a device, and nobody would miss it. \
        Only rules that serve some need are judged: of the others the site says nothing.",
    fine_when: "The needs of the site are not all written down yet: then write them down.",
    remedy: "Narrow the rule to its needs; `boundwalk privilege --tighten` suggests how, and takes logs of observed \
        flows into account.",
    references: &[
        "NIST SP 800-53 Rev. 5, AC-6: least privilege",
        "NIST SP 800-53 Rev. 5, CM-7: least functionality",
        "PCI DSS v4.0.1, 1.2.5: services, protocols and ports are identified, with a business need",
    ],
    fires: include_str!("examples/permit-exceeds-needs.fires.toml"),
    quiet: include_str!("examples/permit-exceeds-needs.quiet.toml"),
};

/// Binary digits that a rule may be too wide; a threshold of this house.
const MOST_BITS: u64 = 10;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    if view.site.needs.is_empty() {
        return;
    }
    for rule in &view.privilege().rules {
        let wide = rule.measure.packets.excess_bits() >= MOST_BITS;
        if !wide || rule.measure.packets.used == BigUint::ZERO {
            continue;
        }
        let router = view.site.router(rule.router);
        let rules = router.filter().map(|filter| filter.rules.as_slice());
        let Some(own) = rule.rule.and_then(|number| rules?.get(number)) else {
            continue;
        };
        let subject = format!("{} \"{}\"", router.name.value, own.name.value);
        report.add(found(&CHECK, own.name.span, subject, told(rule)));
    }
}

fn told(rule: &RuleUse) -> String {
    let measure = &rule.measure;
    format!(
        "permits about 2^{} times more than its needs take: they need {} of {} services",
        measure.packets.excess_bits(),
        counted(&measure.services.used),
        counted(&measure.services.permitted)
    )
}
