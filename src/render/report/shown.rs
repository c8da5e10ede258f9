//! What a report shows.

use boundwalk_analysis::{Bypasses, Cabling, ServiceLabels};
use boundwalk_checks::JudgedFindings;
use boundwalk_diagnostic::{Problem, Sources};
use boundwalk_forwarding::Network;

use super::super::expectations::IntentShown;
use super::super::isolation::Isolated;
use super::super::legend::Legend;
use super::super::ports_cells::Worksheets;
use super::super::privilege::PrivilegeShown;
use super::super::rules::RulesShown;
use super::super::shape::{PairFlows, Sheet};

/// All that a report shows.
pub struct ReportShown<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// Its text, under the names that the report may tell.
    pub sources: &'a Sources,
    /// Problems that did not keep the site from loading.
    pub problems: &'a [Problem],
    /// Findings.
    pub reviewed: &'a JudgedFindings<'a>,
    /// One line that sums them up.
    pub summary: &'a str,
    /// The day of the report.
    pub today: String,
    /// The matrix by segment, its key and codes.
    pub matrix: (&'a Sheet, &'a Legend, &'a [Vec<String>]),
    /// The matrix by zone with its codes.
    pub zones: (&'a Sheet, &'a [Vec<String>]),
    /// Names, one for each family.
    pub namings: &'a [ServiceLabels<'a>],
    /// Flows of pairs through which something passes: row, column, a list for each family; `None` where there are
    /// too many pairs for that.
    pub flows: Option<&'a [(usize, usize, Vec<PairFlows>)]>,
    /// Ways round the gateway.
    pub bypasses: &'a Bypasses,
    /// Segments that claim to be isolated.
    pub isolated: &'a [Isolated<'a>],
    /// Rules and their findings.
    pub rules: &'a RulesShown<'a>,
    /// What nobody needs; `None` where no need is written down.
    pub privilege: Option<&'a PrivilegeShown<'a>>,
    /// Expectations and needs.
    pub intent: &'a IntentShown<'a>,
    /// Worksheets of the switches.
    pub worksheets: &'a Worksheets<'a>,
    /// Cables.
    pub cabling: &'a Cabling<'a>,
    /// What was modelled and assumed.
    pub notes: &'a [String],
}
