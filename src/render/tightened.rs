//! Tighter rules, as text with a patch and as JSON.

use std::fmt::Write;

use serde::Serialize;

use boundwalk_analysis::privilege::{Kept, RuleUse, Tightened};
use boundwalk_analysis::rule_name;
use boundwalk_forwarding::Network;
use boundwalk_load::EditedFile;

use super::document::{Document, Rank};
use super::json_text::to_text;
use super::patch::patch_text;
use super::text::labelled;
use super::text_style::TextStyle;

/// What is proved of a suggestion before it is shown.
const PROVED: &str = "Proved before this was shown: every packet of a need, and every observed flow, that passed before \
    still passes, and nothing passes that did not. What needs and logs leave out is denied then: read each line.";

const UNUSED: &str = "Of these nobody uses anything: ask their owners whether they can go";

/// Tighter rules.
pub struct TightenedShown<'a> {
    /// The network before.
    pub network: &'a Network<'a>,
    /// What becomes tighter.
    pub tightened: &'a [Tightened],
    /// What stays, with the reason.
    pub kept: &'a [(&'a RuleUse, Kept)],
    /// The files that change.
    pub files: &'a [EditedFile],
}

impl TightenedShown<'_> {
    fn lines(&self) -> Vec<String> {
        let one = |tightened: &Tightened| {
            let name = rule_name(self.network, tightened.router, Some(tightened.rule));
            let keys = |fields: &boundwalk_analysis::privilege::NewFields| {
                let keys: Vec<&str> = fields.keys().map(|field| field.key()).collect();
                keys.join(", ")
            };
            match tightened.rules.as_slice() {
                [only] => format!("{name}: {} narrowed", keys(only)),
                several => format!("{name}: {} rules in its place", several.len()),
            }
        };
        self.tightened.iter().map(one).collect()
    }

    fn unused(&self) -> Vec<String> {
        self.kept
            .iter()
            .filter(|(_, kept)| *kept == Kept::Unused)
            .map(|(rule, _)| rule_name(self.network, rule.router, rule.rule))
            .collect()
    }

    fn fixed(&self) -> Vec<String> {
        let fixed = self.kept.iter().filter_map(|(rule, kept)| match kept {
            Kept::Fixed(reason) => Some(format!(
                "{}: {reason}",
                rule_name(self.network, rule.router, rule.rule)
            )),
            Kept::Fits | Kept::Unused => None,
        });
        fixed.collect()
    }
}

/// Tighter rules on a terminal: what changes as comments, then the patch.
pub fn tightened_text(shown: &TightenedShown<'_>, text_style: TextStyle) -> String {
    let mut out = String::new();
    let mut put = |label: &str, text: &str| labelled(&mut out, text_style.columns, 0, label, text);
    if shown.tightened.is_empty() {
        put("# ", "no rule can be made tighter");
    } else {
        put("# ", PROVED);
    }
    for (title, lines) in [
        ("Tighter:", shown.lines()),
        (&format!("{UNUSED}:"), shown.unused()),
        ("These stay:", shown.fixed()),
    ] {
        if !lines.is_empty() {
            put("# ", title);
            lines.iter().for_each(|line| put("# - ", line));
        }
    }
    // Every line of the head is a comment to a program that reads patches, further ones too.
    let mut head = String::new();
    for line in out.lines() {
        let _ = if line.starts_with('#') {
            writeln!(head, "{line}")
        } else {
            writeln!(head, "#{line}")
        };
    }
    format!("{head}\n{}", patch_text(shown.files, text_style))
}

/// Tighter rules as a page.
pub fn tightened_page<'a>(shown: &TightenedShown<'a>) -> Document<'a> {
    let mut out = Document::new("Tighter rules", &shown.network.site.name);
    out.plain(
        0,
        if shown.tightened.is_empty() {
            "No rule can be made tighter."
        } else {
            PROVED
        },
    );
    out.section("Tighter", shown.lines());
    out.section(UNUSED, shown.unused());
    out.section("These stay", shown.fixed());
    if !shown.files.is_empty() {
        out.heading(Rank::Part, "The change");
        out.patch(shown.files);
    }
    out
}

#[derive(Serialize)]
struct JsonTightened {
    document: &'static str,
    version: u32,
    proved: bool,
    tightened: Vec<JsonOne>,
    unused: Vec<String>,
    kept: Vec<String>,
    patch: String,
    note: &'static str,
}

#[derive(Serialize)]
struct JsonOne {
    rule: String,
    rules: Vec<Vec<JsonField>>,
}

#[derive(Serialize)]
struct JsonField {
    key: &'static str,
    items: Vec<String>,
}

/// Tighter rules for programs.
pub fn tightened_json(shown: &TightenedShown<'_>) -> String {
    let one = |tightened: &Tightened| JsonOne {
        rule: rule_name(shown.network, tightened.router, Some(tightened.rule)),
        rules: tightened
            .rules
            .iter()
            .map(|fields| {
                fields
                    .iter()
                    .map(|(field, items)| JsonField {
                        key: field.key(),
                        items: items.clone(),
                    })
                    .collect()
            })
            .collect(),
    };
    to_text(&JsonTightened {
        document: "boundwalk-tightened",
        version: 1,
        // A suggestion that is not proved is never shown.
        proved: true,
        tightened: shown.tightened.iter().map(one).collect(),
        unused: shown.unused(),
        kept: shown.fixed(),
        patch: patch_text(shown.files, TextStyle::PLAIN),
        note: PROVED,
    })
}
