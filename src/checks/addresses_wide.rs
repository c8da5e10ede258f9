//! A permit for far more addresses than there are.

use num_bigint::BigUint;

use boundwalk_diagnostic::{Check, Severity};

use super::extent::{RegionExtent, counted, extents};
use super::measured::of_permit;
use super::permits::segments;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "addresses-wide",
    severity: Severity::Warning,
    summary: "a permit for far more addresses than there are",
    why: "Addresses that nobody has today are permitted in advance: a network that is added later, or a device that takes such an address, is let in without anybody deciding it.",
    fine_when: "The prefix is what another site or a provider owns, and its parts change often.",
    remedy: "Write the prefixes of the segments that are meant, or name the segments in `from` or `to`.",
    references: &[
        "NIST SP 800-41 rev. 1, executive summary: rule sets as specific as possible about the traffic they control",
        "NIST SP 800-53 AC-6 and CM-7: least privilege, least functionality",
    ],
    fires: include_str!("examples/addresses-wide.fires.toml"),
    quiet: include_str!("examples/addresses-wide.quiet.toml"),
};

/// How many times more than exist, and how many more at least, before it is worth a word: a rule of this house.
const TIMES: u32 = 4;
const MORE: u32 = 256;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        for (key, field, places) in [
            ("source", &permit.rule.source, &permit.senders),
            ("destination", &permit.rule.destination, &permit.targets),
        ] {
            let Some(field) = field else {
                continue;
            };
            for extent in extents(view, field, &segments(places)) {
                if is_wide(&extent) {
                    let gateway = permit.gateway;
                    let (place, name) = (gateway.place(permit.number), gateway.name(permit.number));
                    let draft = found(&CHECK, place, name, what(key, &extent));
                    let draft = draft.help(tightened(key, &extent));
                    report.add(draft.measured(of_permit(view, permit)));
                }
            }
        }
    }
}

fn is_wide(extent: &RegionExtent) -> bool {
    let more = &extent.existing + BigUint::from(MORE);
    extent.existing > BigUint::ZERO
        && extent.permitted > &extent.existing * TIMES
        && extent.permitted > more
}

fn what(key: &str, extent: &RegionExtent) -> String {
    format!(
        "`{key}` holds {} {} addresses, of which {} are in segments that it can meet",
        counted(&extent.permitted),
        extent.family.word(),
        counted(&extent.existing)
    )
}

fn tightened(key: &str, extent: &RegionExtent) -> String {
    const MOST: usize = 12;
    if extent.written.len() > MOST {
        return format!("name the segments that are meant instead of `{key}`");
    }
    format!("write `{key} = [{}]`", extent.written.join(", "))
}
