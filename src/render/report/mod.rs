//! The report: one page that opens anywhere, explains itself and asks for nothing from outside.

mod change;
mod change_heat;
mod fabric;
mod html;
mod matrix;
mod pairs;
mod rules;
mod summary;

use boundwalk_analysis::{Bypasses, CAUTION, Cabling, Naming};
use boundwalk_checks::Standing;
use boundwalk_diagnostic::{Problem, Sources};
use boundwalk_forwarding::Network;

use super::expectations::IntentShown;
use super::isolation::Isolated;
use super::key::Key;
use super::ports_cells::Worksheets;
use super::privilege::PrivilegeShown;
use super::rules::RulesShown;
use super::shape::{PairFlows, Sheet};
use super::svg::xml;

pub use change::change_html;

use html::Html;

/// All that a report shows.
pub struct ReportShown<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// Its text, under the names that the report may tell.
    pub sources: &'a Sources,
    /// Problems that did not keep the site from loading.
    pub problems: &'a [Problem],
    /// Findings.
    pub standing: &'a Standing<'a>,
    /// One line that sums them up.
    pub summary: &'a str,
    /// The day of the report.
    pub today: String,
    /// The matrix by segment, its key and codes.
    pub matrix: (&'a Sheet, &'a Key, &'a [Vec<String>]),
    /// The matrix by zone with its codes.
    pub zones: (&'a Sheet, &'a [Vec<String>]),
    /// Names, one for each family.
    pub namings: &'a [Naming<'a>],
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

/// Above so many segments a page tells pairs by their services and rules, not flow by flow, and folds up its matrix.
pub const MOST_SEGMENTS: usize = 60;

/// The report as one HTML page.
pub fn report_html(shown: &ReportShown<'_>) -> String {
    let site = shown.network.site;
    let mut html = Html::new(shown.sources);
    summary::summary(&mut html, shown);
    matrix::matrix(&mut html, shown);
    fabric::topology(&mut html, shown);
    fabric::bypasses(&mut html, shown);
    fabric::isolation(&mut html, shown);
    rules::findings(&mut html, shown);
    rules::rules(&mut html, shown);
    rules::privilege(&mut html, shown);
    rules::expectations(&mut html, shown);
    fabric::switches(&mut html, shown);
    pairs::pairs(&mut html, shown);
    html.section("assumed", "What was modelled and assumed");
    html.list(shown.notes);
    html.section("source", "The site file");
    html.excerpts();
    let name = if site.name.is_empty() {
        "Unnamed site"
    } else {
        &site.name
    };
    let title = format!("{name}: segmentation report");
    let foot = format!(
        "<p class=\"dim\">Made by boundwalk {} from the files named above. {}</p>",
        env!("CARGO_PKG_VERSION"),
        xml(CAUTION)
    );
    html.finish(&title, &head(shown, name), &foot)
}

fn head(shown: &ReportShown<'_>, name: &str) -> String {
    let site = shown.network.site;
    let files: Vec<&str> = shown
        .sources
        .files()
        .iter()
        .map(|file| file.name())
        .collect();
    let count = |count: usize, one: &str, more: &str| match count {
        1 => format!("1 {one}"),
        _ => format!("{count} {more}"),
    };
    let counts = [
        count(site.zones.len(), "zone", "zones"),
        count(site.segments.len(), "segment", "segments"),
        count(
            site.routers.len(),
            "gateway or router",
            "gateways and routers",
        ),
        count(site.switches.len(), "switch", "switches"),
    ];
    format!(
        "<h1>{}</h1><p class=\"lead\">{}</p><p class=\"dim\">Segmentation report of {}: {}, from {}.</p><p>Who can reach whom on this network, which paths go round the gateway, \
         which segments are isolated and why, and what to change first, computed from the description of the network for \
         all packets, not from samples.</p><p class=\"caution\"><strong>Read this with care.</strong> {}</p>",
        xml(name),
        xml(&site.description),
        xml(&shown.today),
        xml(&counts.join(", ")),
        xml(&files.join(", ")),
        xml(CAUTION)
    )
}
