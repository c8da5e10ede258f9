//! Worksheets of switches as CSV (RFC 4180), one line a port, and as Markdown.

use std::fmt::Write;

use boundwalk_analysis::{PortLine, Worksheet, vlan_ranges};
use boundwalk_model::{Site, VlanId};

use super::csv::harmless;
use super::markdown_text::escape;
use super::ports_cells::{COLUMNS, LEGEND, Worksheets, difference_text, fields, named_vlans};

/// Worksheets as CSV. VLANs stand with their segments' names, so that no spreadsheet takes `10-12` for a date.
pub fn ports_csv(sheets: &Worksheets<'_>) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // Writing to memory can't fail.
    let header = ["switch"].into_iter().chain(COLUMNS).chain(["differences"]);
    let _ = writer.write_record(header);
    for sheet in sheets.sheets {
        let switch = &sheets.site.switches[sheet.switch.0].name.value;
        for line in &sheet.lines {
            let named = |vlans: Vec<VlanId>| {
                named_vlans(vlans.into_iter().map(|vlan| sheet.named(vlan))).join(", ")
            };
            let mut record = vec![switch.clone()];
            record.extend(fields(sheets.site, line, named));
            record.push(differences(sheets, sheet, line).join("; "));
            let _ = writer.write_record(record.iter().map(|field| harmless(field)));
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// What differs at the cables of a line.
fn differences(sheets: &Worksheets<'_>, sheet: &Worksheet<'_>, line: &PortLine<'_>) -> Vec<String> {
    let own = boundwalk_analysis::CableEnd {
        device: boundwalk_analysis::Equipment::Switch(sheet.switch),
        port: line.name,
    };
    let known = sheets.differences.iter();
    let here = known.filter(|difference| difference.ends.contains(&own));
    here.map(|difference| difference_text(sheets, difference))
        .collect()
}

/// Worksheets as Markdown: a table a switch, columns that say nothing left out.
pub fn ports_markdown(sheets: &Worksheets<'_>) -> String {
    let mut out = String::new();
    let site = sheets.site;
    let _ = match site.name.is_empty() {
        true => writeln!(out, "# Ports\n"),
        false => writeln!(out, "# Ports: {}\n", escape(&site.name)),
    };
    for sheet in sheets.sheets {
        one_switch(&mut out, site, sheet);
    }
    let _ = writeln!(out, "## Cables whose ends differ\n");
    if sheets.differences.is_empty() {
        let _ = writeln!(out, "None.");
    }
    for difference in sheets.differences {
        let _ = writeln!(out, "- {}", escape(&difference_text(sheets, difference)));
    }
    let _ = writeln!(out, "\n## Words\n");
    for (word, meaning) in LEGEND {
        let _ = writeln!(out, "- **{word}**: {meaning}");
    }
    out
}

fn one_switch(out: &mut String, site: &Site, sheet: &Worksheet<'_>) {
    let switch = &site.switches[sheet.switch.0];
    let _ = writeln!(out, "## {}\n", escape(&switch.name.value));
    if !switch.description.is_empty() {
        let _ = writeln!(out, "{}\n", escape(&switch.description));
    }
    if !switch.vlan_aware {
        let _ = writeln!(out, "Knows no VLANs, passes tags unchanged.\n");
    }
    if sheet.lines.is_empty() {
        let _ = writeln!(out, "No port is described.\n");
        return;
    }
    let spaced = |vlans| vlan_ranges(vlans).join(", ");
    let rows: Vec<_> = sheet
        .lines
        .iter()
        .map(|line| fields(site, line, spaced))
        .collect();
    let told = |&at: &usize| at < 3 || rows.iter().any(|row| !row[at].is_empty());
    let columns: Vec<usize> = (0..COLUMNS.len()).filter(told).collect();
    let header: Vec<&str> = columns.iter().map(|&at| COLUMNS[at]).collect();
    let _ = writeln!(out, "| {} |", header.join(" | "));
    let _ = writeln!(out, "|{}", "---|".repeat(columns.len()));
    for row in &rows {
        let cells: Vec<String> = columns.iter().map(|&at| escape(&row[at])).collect();
        let _ = writeln!(out, "| {} |", cells.join(" | "));
    }
    let vlans = named_vlans(sheet.vlans.iter().cloned());
    let _ = match vlans.is_empty() {
        true => writeln!(out),
        false => writeln!(out, "\nVLANs: {}\n", escape(&vlans.join(", "))),
    };
}
