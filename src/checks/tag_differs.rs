//! An interface with the tag of another VLAN.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "tag-differs",
    severity: Severity::Warning,
    summary: "an interface with another tag than its segment",
    why: "The device puts its frames into another VLAN than the segment has. It is then not on its segment, \
        and it may be on one where it has no business.",
    fine_when: "A switch between them gives the VLAN another number.",
    remedy: "Write the VLAN of the segment, or name the segment of this VLAN.",
    references: &["RFC 4363, VlanId: the 12-bit VLAN-ID of the tag identifies a VLAN"],
    fires: include_str!("examples/tag-differs.fires.toml"),
    quiet: include_str!("examples/tag-differs.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
