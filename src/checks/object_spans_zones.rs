//! An address group in a permit with addresses of several zones.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{AddressMatch, Family, SegmentId};

use super::measured::of_permit;
use super::permits::{segments, zone_of};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "object-spans-zones",
    severity: Severity::Warning,
    summary: "an address group in a permit with addresses of several zones",
    why: "The rule says more than its name: it opens a way from or to zones that nobody had in mind, and grows when the group does.",
    fine_when: "The group is meant as it is, and the rule too.",
    remedy: "Split the group by zone, or name the zone in `from` or `to`.",
    references: &[
        "NIST SP 800-41 rev. 1, executive summary: rule sets as specific as possible about the traffic they control",
        "common practice, no source, for groups that stay within a zone",
    ],
    fires: include_str!("examples/object-spans-zones.fires.toml"),
    quiet: include_str!("examples/object-spans-zones.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        for (key, field, places) in [
            ("source", &permit.rule.source, &permit.senders),
            ("destination", &permit.rule.destination, &permit.targets),
        ] {
            let Some(field) = field else {
                continue;
            };
            for (group, zones) in spanning(view, field, &segments(places)) {
                let gateway = permit.gateway;
                let what = format!(
                    "`{key}` names the group \"{group}\", which lies in several zones: {}",
                    zones.join(", ")
                );
                report.add(
                    found(
                        &CHECK,
                        gateway.place(permit.number),
                        gateway.name(permit.number),
                        what,
                    )
                    .measured(of_permit(view, permit))
                    .help("split the group by zone, or name the zone that is meant"),
                );
            }
        }
    }
}

/// Groups that a field names and whose addresses lie in several zones of some segments, the world beyond left out.
fn spanning<'v>(
    view: &CheckContext<'v>,
    field: &'v AddressMatch,
    segments: &[SegmentId],
) -> Vec<(&'v str, Vec<&'v str>)> {
    let mut found = Vec::new();
    for item in &field.written {
        let mut groups = view.site.addresses.iter();
        let Some(group) = groups.find(|group| group.name.value == item.value) else {
            continue;
        };
        let mut zones: Vec<&str> = Vec::new();
        for &segment in segments {
            let meets = Family::ALL.iter().any(|&family| {
                let own = view.network.plan(family).segment(segment);
                !own.external && own.addresses.overlaps(group.set.of(family))
            });
            let zone = zone_of(view.site, segment).name.value.as_str();
            if meets && !zones.contains(&zone) {
                zones.push(zone);
            }
        }
        if zones.len() > 1 {
            found.push((item.value.as_str(), zones));
        }
    }
    found
}
