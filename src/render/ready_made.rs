//! The ready-made sets of expectations that a site file can ask for.

use std::collections::BTreeMap;
use std::fmt::Write;

use serde::Serialize;

use boundwalk_load::Baseline;

use super::json_text::to_text;
use super::markdown_text::escape;
use super::matrix::TextStyle;
use super::text::wrapped;

/// The ready-made sets, with their roles and lines.
pub fn baselines_text(sets: &[Baseline], paint: TextStyle) -> String {
    let mut out = String::new();
    for set in sets {
        let _ = writeln!(out, "{}", paint.strong(set.name));
        let mut put = |indent: usize, text: &str| {
            let room = paint.columns.saturating_sub(indent).max(30);
            for part in wrapped(text, room) {
                let _ = writeln!(out, "{}{part}", " ".repeat(indent));
            }
        };
        put(2, &set.title);
        put(2, "roles:");
        for (role, who) in &set.roles {
            put(4, &format!("{role}: {who}"));
        }
        put(2, "lines:");
        for line in &set.expectations {
            put(4, &format!("{} ({})", line.name, line.requirement));
        }
        out.push('\n');
    }
    out.push_str("In a site file:\n\n  [baselines.card-data.roles]\n  card-data = [\"cards\"]\n");
    out.push_str("  untrusted = [\"internet\", \"guest\"]\n  wireless = []        # nobody\n");
    out.push_str("  out-of-scope = [\"business\"]\n");
    out
}

/// The same for documents.
pub fn baselines_markdown(sets: &[Baseline]) -> String {
    let mut out = String::new();
    for set in sets {
        let _ = writeln!(
            out,
            "## {}\n\n{}\n\n| role | who |\n| --- | --- |",
            set.name,
            escape(&set.title)
        );
        for (role, who) in &set.roles {
            let _ = writeln!(out, "| {} | {} |", escape(role), escape(who));
        }
        out.push_str("\n| line | requirement | reason |\n| --- | --- | --- |\n");
        for line in &set.expectations {
            let (name, why) = (escape(&line.name), escape(&line.reason));
            let _ = writeln!(out, "| {name} | {} | {why} |", escape(&line.requirement));
        }
        out.push('\n');
    }
    out
}

#[derive(Serialize)]
struct JsonSets<'a> {
    document: &'static str,
    version: u32,
    baselines: Vec<JsonSet<'a>>,
}

#[derive(Serialize)]
struct JsonSet<'a> {
    name: &'static str,
    title: &'a str,
    roles: &'a BTreeMap<String, String>,
    lines: Vec<JsonSetLine<'a>>,
}

#[derive(Serialize)]
struct JsonSetLine<'a> {
    name: &'a str,
    from: &'a [String],
    to: &'a [String],
    services: Option<&'a [String]>,
    requirement: &'a str,
    reason: &'a str,
}

/// The same for programs.
pub fn baselines_json(sets: &'static [Baseline]) -> String {
    let line = |line: &'static boundwalk_load::BaselineLine| JsonSetLine {
        name: &line.name,
        from: &line.from,
        to: &line.to,
        services: line.services.as_deref(),
        requirement: &line.requirement,
        reason: &line.reason,
    };
    let sets = sets.iter().map(|set| JsonSet {
        name: set.name,
        title: &set.title,
        roles: &set.roles,
        lines: set.expectations.iter().map(line).collect(),
    });
    to_text(&JsonSets {
        document: "boundwalk-baselines",
        version: 1,
        baselines: sets.collect(),
    })
}
