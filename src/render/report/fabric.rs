//! Devices and cables: pictures, ways round the gateway, isolation, what to set each switch to.

use std::fmt::Write;

use boundwalk_analysis::{
    Bypass, Equipment, IsolationVerdict, Setting, Worksheet, origin_name, vlan_ranges,
};

use super::super::bypass::{NOT_FOUND, cuts, stays_open};
use super::super::frames::segment_name;
use super::super::isolation::{isolation_document, verdict_text};
use super::super::ports_cells::{COLUMNS, LEGEND, difference_text, fields, named_vlans};
use super::super::svg::{Chain, Trail, chain_svg, logical_svg, panels_svg, site_svg, xml};
use super::ReportShown;
use super::html::Html;
use super::pairs::steps;

/// Ways that are drawn; all are listed.
const MOST_DRAWN: usize = 6;

/// Pictures of the site.
pub(super) fn topology(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let site = shown.network.site;
    html.section("topology", "The network");
    html.raw("<h3>Zones, segments and gateways</h3>");
    html.picture(
        "Zones, segments and gateways",
        &logical_svg(site, shown.zones.0, shown.zones.1, false),
    );
    html.raw("<h3>What is plugged into what</h3>");
    html.picture(
        "What is plugged into what",
        &site_svg(site, shown.cabling, None, false),
    );
}

/// Ways round the gateway, each drawn, with the cut.
pub(super) fn bypasses(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let site = shown.network.site;
    let found = shown.bypasses;
    html.section("bypass", "Ways round the gateway");
    if found.pairs.is_empty() {
        html.tag("p", &format!(
            "None: between all {} ordered pairs of segments of different zones, every path crosses a filtering gateway \
             or there is none.", found.asked));
        return;
    }
    html.tag(
        "p",
        &format!(
            "{} of {} ordered pairs of segments of different zones have a way round.",
            found.pairs.len(),
            found.asked
        ),
    );
    let set = closed_by(html, shown);
    let cut = cuts(site, &set);
    for (number, pair) in found.pairs.iter().enumerate() {
        round(html, shown, (number, pair), &cut);
    }
}

/// What closes the ways round, as far as it is known and settings can; gives the settings.
fn closed_by(html: &mut Html<'_>, shown: &ReportShown<'_>) -> Vec<Setting> {
    let site = shown.network.site;
    let found = shown.bypasses;
    let (title, set, stay) = match &found.closing {
        Some(closing) => {
            let stay = stays_open(shown.network, closing);
            let title = if stay.is_empty() {
                "What closes them all"
            } else {
                "What closes them, as far as a setting can"
            };
            let first = closing.sets.first().cloned();
            (title, first.unwrap_or_default(), stay)
        }
        None => {
            let opening = found.pairs.iter().filter_map(|pair| pair.opened_by);
            let told = vec![NOT_FOUND.to_owned()];
            ("What opens them", opening.collect(), told)
        }
    };
    html.tag("h3", title);
    html.raw("<ul>");
    for setting in &set {
        html.raw("<li>");
        html.text(&setting.remedy(site));
        html.raw(" ");
        html.place(setting.place(site));
        html.raw("</li>");
    }
    for text in stay {
        html.tag("li", &text);
    }
    html.raw("</ul>");
    set
}

/// One way round: its steps, what opens it and, for the first few, pictures.
fn round(
    html: &mut Html<'_>,
    shown: &ReportShown<'_>,
    (number, pair): (usize, &Bypass),
    cut: &[(Equipment, String)],
) {
    let site = shown.network.site;
    let lines = cut.iter().map(|(_, text)| text.clone()).collect();
    let chain = Chain::bypass(shown.network, pair, lines);
    let name = |origin| origin_name(site, &shown.network.fabric, origin);
    let (from, to) = (name(pair.from), name(pair.to));
    let name = format!("{from} to {to}");
    let _ = write!(html.out, "<h3 id=\"w{number}\">{}</h3>", xml(&name));
    steps(html, &chain);
    if let Some(setting) = pair.opened_by {
        html.raw("<p>Opened by: ");
        html.text(&setting.fact(site));
        html.raw(" ");
        html.place(setting.place(site));
        html.raw("</p>");
    }
    if number < MOST_DRAWN {
        html.picture(&format!("{name}, hop by hop"), &chain_svg(&chain, false));
        let trail = Trail::new(site, shown.cabling, &chain, cut);
        let picture = site_svg(site, shown.cabling, Some(&trail), false);
        html.picture(&format!("{name}, on the site"), &picture);
    }
}

/// Isolation with its certificate, or what reaches the segment.
pub(super) fn isolation(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let site = shown.network.site;
    html.section("isolation", "Isolation");
    if shown.isolated.is_empty() {
        html.raw("<p>No segment claims to be isolated.</p>\n");
    }
    for one in shown.isolated {
        let good = matches!(one.verdict, IsolationVerdict::ByDesign(_));
        let name = segment_name(site, one.segment);
        let class = if good { "state" } else { "state no" };
        let _ = write!(
            html.out,
            "<h3 id=\"i{}\">{}</h3><p class=\"{class}\">{}</p>",
            one.segment.0,
            xml(name),
            verdict_text(one.verdict)
        );
        let document = isolation_document(shown.network, shown.sources, &[*one], &[], false);
        html.raw(&document.html());
    }
}

/// The front panel and the worksheet of each switch.
pub(super) fn switches(html: &mut Html<'_>, shown: &ReportShown<'_>) {
    let site = shown.network.site;
    html.section("switches", "Switches");
    if site.switches.is_empty() {
        html.raw("<p>No switch is described.</p>\n");
        return;
    }
    html.raw("<h3>Cables whose ends differ</h3>");
    let differ: Vec<String> = shown
        .worksheets
        .differences
        .iter()
        .map(|one| difference_text(shown.worksheets, one))
        .collect();
    if differ.is_empty() {
        html.raw("<p>None.</p>\n");
    } else {
        html.list(&differ);
    }
    for sheet in shown.worksheets.sheets {
        switch(html, shown, sheet);
    }
    html.raw("<dl class=\"key\">");
    for (word, text) in LEGEND {
        html.fact(word, text);
    }
    html.raw("</dl>\n");
}

/// One switch; columns in which nothing stands are left out.
fn switch(html: &mut Html<'_>, shown: &ReportShown<'_>, sheet: &Worksheet<'_>) {
    let site = shown.network.site;
    let switch = &site.switches[sheet.switch.0];
    html.tag("h3", &switch.name.value);
    if !switch.description.is_empty() {
        html.tag("p", &switch.description);
    }
    let name = format!("Front panel of {}", switch.name.value);
    let picture = panels_svg(site, shown.cabling, &[sheet.switch], false);
    html.picture(&name, &picture);
    let spaced = |vlans| vlan_ranges(vlans).join(", ");
    let rows: Vec<_> = sheet
        .lines
        .iter()
        .map(|line| fields(site, line, spaced))
        .collect();
    let told = |&at: &usize| at < 3 || rows.iter().any(|row| !row[at].is_empty());
    let columns: Vec<usize> = (0..COLUMNS.len()).filter(told).collect();
    let heading: Vec<&str> = columns.iter().map(|&at| COLUMNS[at]).collect();
    let rows: Vec<Vec<String>> = rows
        .iter()
        .map(|row| columns.iter().map(|&at| row[at].clone()).collect())
        .collect();
    let title = format!("Worksheet of {}", switch.name.value);
    html.table(&title, &heading, &rows);
    let vlans = named_vlans(sheet.vlans.iter().cloned());
    html.classed("p", "dim", &format!("VLANs: {}", vlans.join(", ")));
}
