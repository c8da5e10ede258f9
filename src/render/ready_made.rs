//! The ready-made sets of expectations that a site file can ask for.

use std::collections::BTreeMap;

use serde::Serialize;

use boundwalk_load::Baseline;

use super::document::{Document, Rank, Table};
use super::json_text::to_text;

/// The ready-made sets, with their roles and lines.
pub fn baselines_document(sets: &[Baseline]) -> Document<'static> {
    let mut out = Document::new("Ready-made sets of expectations", "");
    for set in sets {
        out.heading(Rank::Answer, set.name);
        out.plain(2, &set.title);
        out.plain(2, "roles:");
        for (role, who) in &set.roles {
            out.plain(4, format!("{role}: {who}"));
        }
        out.plain(2, "lines:");
        for line in &set.expectations {
            out.plain(4, format!("{} ({})", line.name, line.requirement));
        }
        out.gap();
    }
    out.plain(0, "In a site file:");
    out.gap();
    out.code("toml", 2, EXAMPLE);
    out
}

const EXAMPLE: &str = "[baselines.card-data.roles]
card-data = [\"cards\"]
untrusted = [\"internet\", \"guest\"]
wireless = []        # nobody
out-of-scope = [\"business\"]
";

/// The same as a page, with the reason for each line.
pub fn baselines_page(sets: &[Baseline]) -> Document<'static> {
    let mut out = Document::new("Ready-made sets of expectations", "");
    for set in sets {
        out.heading(Rank::Answer, set.name);
        out.plain(0, &set.title);
        let roles = set
            .roles
            .iter()
            .map(|(role, who)| vec![role.clone(), who.clone()]);
        out.table(Table::of_texts(&["role", "who"], roles.collect()));
        let lines = set.expectations.iter().map(|line| {
            let cells = [&line.name, &line.requirement, &line.reason];
            cells.map(Clone::clone).to_vec()
        });
        let titles = ["line", "requirement", "reason"];
        out.table(Table::of_texts(&titles, lines.collect()));
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
