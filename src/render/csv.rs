//! A matrix as CSV (RFC 4180), one line a pair and family, safe to open in a spreadsheet.

use boundwalk_analysis::{Cell, Extent, HostileReach, Reading, ServiceLabels};
use boundwalk_diagnostic::Sources;
use boundwalk_model::{RouterId, Site};

use super::shape::{Sheet, Side};
use super::text::escape_control;

const HEADER: [&str; 11] = [
    "from",
    "to",
    "family",
    "passes",
    "every address",
    "replies",
    "gateway decides",
    "hostile reaches more",
    "rules",
    "witness",
    "complete",
];

/// A matrix as CSV. Pairs within one segment and pairs without addresses are left out.
pub fn matrix_csv(
    site: &Site,
    sources: &Sources,
    sheet: &Sheet,
    namings: &[ServiceLabels<'_>],
) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // Writing to memory can't fail.
    let _ = writer.write_record(HEADER);
    for (row, line) in sheet.rows.iter().zip(&sheet.pairs) {
        for (column, pair) in sheet.columns.iter().zip(line) {
            let cells = pair.families();
            for (family, cell) in cells.filter(|(_, cell)| cell.reading == Reading::Pair) {
                let mut known = namings.iter();
                if let Some(naming) = known.find(|naming| naming.plan().family == family) {
                    let rules = rules(site, sources, cell);
                    let record = record(row, column, naming, cell, rules);
                    let _ = writer.write_record(record.iter().map(|field| harmless(field)));
                }
            }
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

fn record(
    from: &Side,
    to: &Side,
    naming: &ServiceLabels<'_>,
    cell: &Cell,
    rules: String,
) -> [String; HEADER.len()] {
    [
        from.name.clone(),
        to.name.clone(),
        naming.plan().family.word().to_owned(),
        naming.services(&cell.some),
        naming.services(&cell.every),
        word(cell.two_way).to_owned(),
        word(cell.filtered).to_owned(),
        hostile(cell.hostile).to_owned(),
        rules,
        cell.witness
            .as_ref()
            .map_or_else(String::new, ToString::to_string),
        // "nothing" where a limit was met is no promise.
        if cell.complete() { "yes" } else { "no" }.to_owned(),
    ]
}

/// The deciding rules of a cell with their lines.
fn rules(site: &Site, sources: &Sources, cell: &Cell) -> String {
    let one = |&(router, number): &(RouterId, Option<usize>)| {
        let router = site.router(router);
        let gateway = &router.name.value;
        let rule = router.filter().and_then(|filter| filter.rules.get(number?));
        match rule {
            Some(rule) => {
                let line = sources.line(rule.place);
                format!("{gateway}: {} (line {line})", rule.name.value)
            }
            None => format!("{gateway}: default"),
        }
    };
    cell.rules.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn word(extent: Extent) -> &'static str {
    match extent {
        Extent::Nothing => "",
        Extent::None => "none",
        Extent::Some => "some",
        Extent::All => "all",
        Extent::Unknown => "unknown",
    }
}

fn hostile(hostile: HostileReach) -> &'static str {
    match hostile {
        HostileReach::NotAsked => "",
        HostileReach::Same => "no",
        HostileReach::Larger(_) => "yes",
        HostileReach::Unknown => "unknown",
    }
}

/// A field that no spreadsheet takes for a formula: one that starts with `=`, `+`, `-`, `@` gets an
/// apostrophe in front (common practice, no source).
pub(super) fn harmless(field: &str) -> String {
    let field = escape_control(field);
    match field.chars().next() {
        Some('=' | '+' | '-' | '@') => format!("'{field}"),
        _ => field,
    }
}

#[cfg(test)]
mod tests {
    use super::harmless;

    #[test]
    fn formulas_are_disarmed() {
        assert_eq!(harmless("=1+1"), "'=1+1");
        assert_eq!(harmless("@cmd"), "'@cmd");
        assert_eq!(harmless("office"), "office");
    }
}
