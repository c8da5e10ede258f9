//! Worksheets of switches on a terminal.

use std::fmt::Write;

use comfy_table::{ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width};

use boundwalk_analysis::{PortLine, Worksheet, vlan_ranges};
use boundwalk_model::Site;

use super::draw_pen::{broken, glued};
use super::ports_cells::{COLUMNS, LEGEND, Worksheets, difference_text, fields, named_vlans};
use super::text::{escape_control, fit, width};
use super::text_style::TextStyle;

/// From so many columns on, remarks have a column of their own.
const WIDE: usize = 110;
/// Below so many columns a table would be one letter wide here and there.
const NARROW: usize = 72;

/// Place of the tagged VLANs, which leave room for what is attached on a narrow terminal.
const TAGGED: usize = 5;

/// A rule below the header, nothing else: wrapped lines are told apart by their first column.
const LOOKS: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('-'));

/// Worksheets as text, each with its VLANs, then the differences at cables, then what the words mean.
pub fn ports_text(sheets: &Worksheets<'_>, text_style: TextStyle) -> String {
    let mut out = String::new();
    for sheet in sheets.sheets {
        one_switch(&mut out, sheets.site, sheet, text_style);
    }
    differences(&mut out, sheets, text_style);
    let aware = |sheet: &Worksheet<'_>| sheets.site.switches[sheet.switch.0].vlan_aware;
    if !sheets.sheets.iter().any(aware) {
        return out;
    }
    out.push('\n');
    for (word, meaning) in LEGEND {
        let text = format!("{word}: {meaning}");
        hanging(&mut out, &text, "  ", text_style.columns, |line| {
            text_style.faint(line)
        });
    }
    out
}

fn one_switch(out: &mut String, site: &Site, sheet: &Worksheet<'_>, text_style: TextStyle) {
    let switch = &site.switches[sheet.switch.0];
    let count = match switch.ports.len() {
        1 => "1 port".to_owned(),
        count => format!("{count} ports"),
    };
    let mut title = format!("{}: {count}", switch.name.value);
    if !switch.vlan_aware {
        title.push_str("; knows no VLANs, passes tags unchanged");
    }
    if !switch.description.is_empty() {
        let _ = write!(title, "; {}", switch.description);
    }
    hanging(out, &title, "  ", text_style.columns, |line| {
        text_style.strong(line)
    });
    out.push('\n');
    if sheet.lines.is_empty() {
        out.push_str("No port is described.\n\n");
        return;
    }
    if switch.vlan_aware && text_style.columns >= NARROW {
        table(out, site, sheet, text_style.columns);
    } else {
        listed(out, site, sheet, text_style.columns);
    }
    let vlans = named_vlans(sheet.vlans.iter().cloned());
    if !vlans.is_empty() {
        out.push('\n');
        let text = format!("VLANs: {}", glued(&vlans));
        hanging(out, &text, "       ", text_style.columns, str::to_owned);
    }
    out.push('\n');
}

fn table(out: &mut String, site: &Site, sheet: &Worksheet<'_>, columns: usize) {
    let wide = columns >= WIDE;
    let mut table = Table::new();
    table
        .load_style(LOOKS)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(u16::try_from(columns).unwrap_or(u16::MAX));
    let attached = if wide {
        "attached"
    } else {
        "attached, remarks"
    };
    let mut header = vec![
        COLUMNS[0],
        attached,
        COLUMNS[2],
        COLUMNS[3],
        "un-\ntagged",
        COLUMNS[5],
        "ingress\nfilter",
        COLUMNS[7],
    ];
    header.extend(wide.then_some("remarks"));
    table.set_header(header);
    for line in &sheet.lines {
        table.add_row(row(site, line, wide));
    }
    let least = [0, 2, 3, 6, 7];
    for (at, column) in table.column_iter_mut().enumerate() {
        column.set_padding((0, 1));
        if at == TAGGED && !wide {
            column.set_constraint(ColumnConstraint::UpperBoundary(Width::Fixed(15)));
        }
        if least.contains(&at) && !(at == 0 && long_names(sheet)) {
            column.set_constraint(ColumnConstraint::ContentWidth);
        }
    }
    for line in table.lines() {
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

/// The lines one by one: where a table has no room, or a switch knows no VLANs and nothing is to be set.
fn listed(out: &mut String, site: &Site, sheet: &Worksheet<'_>, columns: usize) {
    let rows: Vec<Vec<String>> = sheet
        .lines
        .iter()
        .map(|line| row(site, line, true))
        .collect();
    let widest = rows
        .iter()
        .map(|row| width(&row[0]))
        .max()
        .unwrap_or(0)
        .clamp(4, columns / 3);
    let indent = " ".repeat(widest + 2);
    for row in &rows {
        let first = format!("{}  ", fit(&row[0], widest));
        let text = in_words(row).join("; ");
        for (number, line) in broken(&text, columns - widest - 2).iter().enumerate() {
            let before = if number == 0 { &first } else { &indent };
            let _ = writeln!(out, "{before}{line}");
        }
    }
}

/// The cells of a row behind its name, those that say nothing left out.
fn in_words(row: &[String]) -> Vec<String> {
    const WORDS: [&str; 9] = [
        "",
        "",
        "",
        "PVID ",
        "untagged ",
        "tagged ",
        "ingress filter ",
        "accepts ",
        "",
    ];
    row.iter()
        .zip(WORDS)
        .skip(1)
        .filter(|(text, _)| !text.is_empty() && *text != "-")
        .map(|(text, word)| format!("{word}{text}"))
        .collect()
}

/// Whether port names take more than a good part of a narrow terminal.
fn long_names(sheet: &Worksheet<'_>) -> bool {
    let mut lines = sheet.lines.iter();
    lines.any(|line| width(&escape_control(line.name)) > 14)
}

fn row(site: &Site, line: &PortLine<'_>, wide: bool) -> Vec<String> {
    let spaced = |vlans| match vlan_ranges(vlans) {
        none if none.is_empty() => "-".to_owned(),
        some => some.join(", "),
    };
    let [
        port,
        mut attached,
        mode,
        pvid,
        untagged,
        tagged,
        filter,
        accepts,
        isolated,
        lag,
        speed,
        label,
        description,
    ] = fields(site, line, spaced);
    let mut port = match line.member_of {
        Some(_) => format!("  {port}"),
        None => port,
    };
    let mut remarks = Vec::new();
    remarks.extend((line.lag.is_some() || line.member_of.is_some()).then_some(lag));
    remarks.extend((!isolated.is_empty()).then(|| "isolated".to_owned()));
    remarks.extend((!speed.is_empty()).then_some(speed));
    remarks.extend((!label.is_empty()).then(|| format!("cable {label}")));
    remarks.extend((!description.is_empty()).then_some(description));
    for text in [&mut port, &mut attached].into_iter().chain(&mut remarks) {
        *text = escape_control(text);
    }
    let mut cells = vec![
        port, attached, mode, pvid, untagged, tagged, filter, accepts,
    ];
    if wide {
        cells.push(remarks.join("; "));
    } else if !remarks.is_empty() {
        let apart = if cells[1].is_empty() { "" } else { "\n" };
        cells[1] = format!("{}{apart}{}", cells[1], remarks.join("; "));
    }
    cells
}

fn differences(out: &mut String, sheets: &Worksheets<'_>, text_style: TextStyle) {
    if sheets.differences.is_empty() {
        let none = "Cables between switches and to gateways: both ends agree.";
        hanging(out, none, "", text_style.columns, str::to_owned);
        return;
    }
    let _ = writeln!(out, "{}\n", text_style.strong("Cables whose ends differ"));
    for difference in sheets.differences {
        let text = format!("- {}", difference_text(sheets, difference));
        hanging(out, &text, "  ", text_style.columns, str::to_owned);
    }
}

/// A text in lines that fit, the further ones indented.
pub(super) fn hanging(
    out: &mut String,
    text: &str,
    indent: &str,
    columns: usize,
    look: impl Fn(&str) -> String,
) {
    let lines = broken(&escape_control(text), columns.saturating_sub(indent.len()));
    for (number, line) in lines.iter().enumerate() {
        let before = if number == 0 { "" } else { indent };
        let _ = writeln!(out, "{before}{}", look(line));
    }
}
