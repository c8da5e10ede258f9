//! A LAG that no line of `ports` describes.

use boundwalk_diagnostic::{Check, Severity};

use super::noticed::noticed;
use super::report::FindingReport;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "lag-without-vlans",
    severity: Severity::Warning,
    summary: "a LAG that the file puts into no VLAN",
    why: "The file says which ports make up the LAG and not which VLANs it carries. It is taken to carry \
        none of the site's, and VLAN 1 untagged: whatever else the real switch carries there is missing \
        from every answer.",
    fine_when: "The LAG is cabled and not in use yet.",
    remedy: "Add a line to `ports` with the name of the LAG and its VLANs.",
    references: &["IEEE 802.1AX-2008, scope: whatever uses a LAG treats it as a single link"],
    fires: include_str!("examples/lag-without-vlans.fires.toml"),
    quiet: include_str!("examples/lag-without-vlans.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    noticed(view, report, &CHECK);
}
