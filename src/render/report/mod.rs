//! The report: one page that opens anywhere, explains itself and asks for nothing from outside.

mod change;
mod change_heat;
mod fabric;
mod html;
mod matrix;
mod pairs;
mod rules;
mod shown;
mod summary;

pub use shown::ReportShown;

pub use change::change_html;

use boundwalk_analysis::CAUTION;

use super::svg::xml;
use html::Html;

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
    let interface = format!(
        "<p class=\"dim\">Made by boundwalk {} from the files named above. {}</p>",
        env!("CARGO_PKG_VERSION"),
        xml(CAUTION)
    );
    html.finish(&title, &head(shown, name), &interface)
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
