//! Worksheets of switches as CSV (RFC 4180), one line a port, and as a page.

use boundwalk_analysis::{PortLine, Worksheet, vlan_ranges};
use boundwalk_model::{Site, VlanId};

use super::csv::harmless;
use super::document::{Document, Rank, Table};
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
    sheets
        .differences
        .iter()
        .filter(|difference| difference.ends.contains(&own))
        .map(|difference| difference_text(sheets, difference))
        .collect()
}

/// Worksheets as a page: a table a switch, columns that say nothing left out.
pub fn ports_page<'a>(sheets: &Worksheets<'a>) -> Document<'a> {
    let mut out = Document::new("Ports", &sheets.site.name);
    for sheet in sheets.sheets {
        one_switch(&mut out, sheets.site, sheet);
    }
    out.heading(Rank::Answer, "Cables whose ends differ");
    if sheets.differences.is_empty() {
        out.plain(0, "None.");
    }
    let differences = sheets.differences.iter();
    out.bullets(differences.map(|difference| difference_text(sheets, difference)));
    out.heading(Rank::Answer, "Words");
    for (word, meaning) in LEGEND {
        out.labelled(0, word, meaning);
    }
    out
}

fn one_switch(out: &mut Document<'_>, site: &Site, sheet: &Worksheet<'_>) {
    let switch = &site.switches[sheet.switch.0];
    out.heading(Rank::Answer, &switch.name.value);
    if !switch.description.is_empty() {
        out.plain(0, &switch.description);
    }
    if !switch.vlan_aware {
        out.plain(0, "Knows no VLANs, passes tags unchanged.");
    }
    if sheet.lines.is_empty() {
        out.plain(0, "No port is described.");
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
    let titles: Vec<&str> = columns.iter().map(|&at| COLUMNS[at]).collect();
    let cells = |row: &[String; COLUMNS.len()]| columns.iter().map(|&at| row[at].clone()).collect();
    out.table(Table::of_texts(&titles, rows.iter().map(cells).collect()));
    let vlans = named_vlans(sheet.vlans.iter().cloned());
    if !vlans.is_empty() {
        out.plain(0, format!("VLANs: {}", vlans.join(", ")));
    }
}
