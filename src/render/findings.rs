//! Findings for people: the first few of each check with an excerpt, of the others the names.

use std::fmt::Write;

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_diagnostic::{Finding, Sources};

use super::problems::finding_text;
use super::text::{escape_control, wrapped};
use super::text_style::TextStyle;

/// Excerpts of one check that are shown, unless all are asked for.
const MOST: usize = 3;
/// Subjects of the others that are named.
const NAMES: usize = 40;

/// All findings, in their order. Without `all`, whatever is past the first few of a check is named in a line
/// behind them, so that one setting made a hundred times does not bury the others.
pub fn findings_text(
    sources: &Sources,
    findings: &[Finding],
    all: bool,
    text_style: TextStyle,
) -> String {
    let mut out = String::new();
    let mut counts: FxHashMap<&str, usize> = FxHashMap::default();
    for (at, finding) in findings.iter().enumerate() {
        let name = finding.check.name;
        let count = counts.entry(name).or_default();
        *count += 1;
        if *count > MOST && !all {
            continue;
        }
        let text = finding_text(sources, finding, text_style.colour, text_style.columns);
        let _ = writeln!(out, "{text}");
        if *count == MOST && !all {
            let rest: Vec<&Finding> = findings[at + 1..]
                .iter()
                .filter(|other| other.check.name == name)
                .collect();
            out.push_str(&more(&rest, text_style));
        }
    }
    out
}

/// A line for findings that are not shown.
fn more(rest: &[&Finding], text_style: TextStyle) -> String {
    let Some(first) = rest.first() else {
        return String::new();
    };
    let subjects = rest.iter().flat_map(|finding| &finding.subjects);
    let mut seen: FxHashSet<&str> = FxHashSet::default();
    let names: Vec<&str> = subjects
        .map(String::as_str)
        .filter(|&name| seen.insert(name))
        .collect();
    let shown = names
        .iter()
        .take(NAMES)
        .copied()
        .collect::<Vec<_>>()
        .join(", ");
    let dots = if names.len() > NAMES { " …" } else { "" };
    let (name, count) = (first.check.name, rest.len());
    let text = format!(
        "and {count} more of {name}: {}{dots} (--all shows them)",
        escape_control(&shown)
    );
    let lines = wrapped(&text, text_style.columns.saturating_sub(2).max(30)).join("\n  ");
    format!("  {}\n\n", text_style.faint(&lines))
}
