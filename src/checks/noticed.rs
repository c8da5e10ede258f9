//! What loading noticed in a text and did not refuse, as findings.

use boundwalk_diagnostic::Check;

use super::report::FindingReport;
use super::view::CheckContext;

/// Reports what loading noticed under the name of a check. Cost: one look at each remark.
pub(super) fn noticed(view: &CheckContext<'_>, report: &mut FindingReport, check: &'static Check) {
    let remarks = view.site.remarks.iter();
    for remark in remarks.filter(|remark| remark.kind.name == check.name) {
        report.add_remark(check, remark);
    }
}
