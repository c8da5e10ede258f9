//! What holds for any input whatever. The fuzz targets and `tests/any_input.rs` both run these.
//!
//! Whoever takes this file in takes `edits.rs` and `random.rs` in beside it.

use std::sync::LazyLock;

use boundwalk::analysis::{By, Matrix, Question, find_party, party_name};
use boundwalk::diagnostic::Severity;
use boundwalk::forwarding::Network;
use boundwalk::load::{FlowOptions, load_text, read_flow_log, read_results, services, starter};
use boundwalk::model::{Date, Family, Site};
use boundwalk::render::{
    Selection, Sheet, baseline_json, escape_control, problem_text, read_baseline,
};

pub use crate::edits::rule_edits;

/// What results and words are about.
static STARTER: LazyLock<Site> = LazyLock::new(|| {
    let loaded = load_text("site.toml", starter());
    loaded.site.expect("the starter loads")
});

/// Any bytes as a site: a site comes out exactly when nothing is an error, places lie inside the text, and what is
/// printed of it disturbs no terminal.
pub fn load_site(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let loaded = load_text("fuzz.toml", &text);
    let failed = loaded
        .problems
        .iter()
        .any(|problem| problem.severity() == Severity::Error);
    assert_eq!(loaded.site.is_none(), failed);
    for span in loaded.problems.iter().filter_map(|problem| problem.span) {
        assert!(text.get(span.start as usize..span.end as usize).is_some());
    }
    for problem in loaded.problems.iter().take(5) {
        harmless(&problem_text(&loaded.sources, problem, false, 80));
    }
}

/// The same, and who reaches what: names come through as they are, and disturb nothing.
pub fn answers(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let Some(site) = load_text("fuzz.toml", &text).site else {
        return;
    };
    if site.segments.len() > 12 || site.hosts.len() > 40 {
        return;
    }
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let question = Question::all(By::Segment, Family::V4, true);
    let matrices = [Matrix::new(&network, &question, &mut |_, _| {})];
    let sheet = Sheet::new(&network, &matrices, &Selection::default());
    assert_eq!(sheet.pairs.len(), sheet.rows.len());
    for side in sheet.rows.iter().chain(&sheet.columns) {
        harmless(&escape_control(&side.name));
        assert_eq!(
            escape_control(&side.name),
            side.name,
            "a name hides something"
        );
    }
}

/// Any bytes as a log of flows: every line is a record, malformed, or says nothing.
pub fn flow_log(data: &[u8]) {
    for keep_direction in [false, true] {
        let options = FlowOptions {
            keep_direction,
            ..FlowOptions::default()
        };
        if let Ok(log) = read_flow_log(data, &options, &mut |_| {}) {
            assert!(log.records + log.malformed <= log.lines);
            assert!(log.flows.len() as u64 <= log.records);
        }
    }
}

/// Any bytes as results of a test: rows with lines that exist, or faults that name lines.
pub fn results(data: &[u8]) {
    let site = &*STARTER;
    let lines = data
        .iter()
        .filter(|&&byte| byte == b'\n' || byte == b'\r')
        .count() as u64
        + 2;
    match read_results(data, site) {
        Ok(rows) => assert!(rows.iter().all(|row| row.line <= lines)),
        Err(faults) => assert!(!faults.is_empty()),
    }
}

/// Any bytes as a baseline: what is read is written and read again as the same.
pub fn baseline(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    if let Ok(read) = read_baseline(&text) {
        let again = read_baseline(&baseline_json(&read)).expect("what was written is read");
        assert_eq!(again, read);
    }
}

/// Any bytes as words of `path`: a party of the site or none, a service or a problem.
pub fn words(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for party in find_party(&STARTER, &text) {
        assert_eq!(party_name(&STARTER, party), text);
    }
    // Whatever comes out: it comes out.
    let _ = services(&STARTER, &text);
}

/// No control characters but line breaks and tabs, and nothing that turns the direction of text.
fn harmless(text: &str) {
    let bad = |c: char| {
        (c.is_control() && !matches!(c, '\n' | '\t'))
            || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    assert!(!text.contains(bad), "{text:?}");
}

/// Panics where it does not hold.
pub type Law = fn(&[u8]);

/// Every law, by name.
pub const LAWS: [(&str, Law); 7] = [
    ("load_site", load_site),
    ("answers", answers),
    ("rule_edits", rule_edits),
    ("flow_log", flow_log),
    ("results", results),
    ("baseline", baseline),
    ("words", words),
];
