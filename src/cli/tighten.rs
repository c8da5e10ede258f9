//! `boundwalk privilege --tighten`.

use std::io;

use boundwalk_analysis::ServiceLabels;
use boundwalk_analysis::privilege::{
    Kept, Observed, Privilege, Proof, RuleUse, Tightened, prove, tighten,
};
use boundwalk_forwarding::Network;
use boundwalk_load::{Edit, EditedFile, RuleCopy, apply_edits, load_edited};
use boundwalk_model::{Family, Site};
use boundwalk_render::{TightenedShown, tightened_json, tightened_page, tightened_text};

use super::clean::ended;
use super::format::Format;
use super::output::Output;
use super::site::Opened;
use super::verdict::Verdict;
use super::write::replace;

/// What is asked for.
pub(super) struct Wish {
    /// Rules in the place of one, at most.
    pub most: usize,
    pub format: Format,
    pub write: bool,
}

pub(super) fn run(
    (opened, network): (&Opened, &Network<'_>),
    (found, observed): (&Privilege, &[Observed]),
    wish: &Wish,
    output: &mut Output,
) -> io::Result<Verdict> {
    let naming = ServiceLabels::new(network, Family::V4);
    let mut tightened: Vec<Tightened> = Vec::new();
    let mut kept: Vec<(&RuleUse, Kept)> = Vec::new();
    for rule in &found.rules {
        match tighten(network, &naming, rule, wish.most) {
            Ok(one) => tightened.push(one),
            Err(reason) => kept.push((rule, reason)),
        }
    }
    let edits = edits(&opened.site, &tightened);
    let files = match apply_edits(&opened.site, &opened.sources, &edits) {
        Ok(files) => files,
        Err(error) => {
            return output.failed(&format!("can't edit the site file: {error}"));
        }
    };
    if let Err(message) = proved(opened, &files, observed) {
        return output.failed(&message);
    }
    let shown = TightenedShown {
        network,
        tightened: &tightened,
        kept: &kept,
        files: &files,
    };
    if wish.write
        && let Err(error) = replace(&files)
    {
        return output.failed(&error.to_string());
    }
    output.print(&match wish.format {
        Format::Json => tightened_json(&shown),
        Format::Markdown => tightened_page(&shown).markdown(),
        _ => tightened_text(&shown, output.text_style()),
    })?;
    ended(&files, wish.format, wish.write, output)
}

/// The first of the new rules keeps the name; the others are copies behind it.
fn edits(site: &Site, tightened: &[Tightened]) -> Vec<Edit> {
    let mut edits = Vec::new();
    for one in tightened {
        let (router, rule) = (one.router, one.rule);
        let Some((first, others)) = one.rules.split_first() else {
            continue;
        };
        edits.extend(first.iter().map(|(&field, items)| Edit::SetRuleField {
            router,
            rule,
            field,
            items: items.clone(),
        }));
        let rules = site
            .router(router)
            .filter()
            .map(|filter| filter.rules.as_slice())
            .unwrap_or_default();
        let name = &rules[rule].name.value;
        let taken = |name: &str| rules.iter().any(|rule| rule.name.value == name);
        let mut number = 1;
        let copies = others.iter().map(|fields| {
            let mut copy = String::new();
            while copy.is_empty() || taken(&copy) {
                number += 1;
                copy = format!("{name} ({number})");
            }
            RuleCopy {
                name: copy,
                fields: fields.clone(),
            }
        });
        let copies: Vec<RuleCopy> = copies.collect();
        if !copies.is_empty() {
            edits.push(Edit::CopyRule {
                router,
                rule,
                copies,
            });
        }
    }
    edits
}

/// Compares the site with the edited one.
///
/// # Errors
/// Why nothing is suggested.
fn proved(opened: &Opened, files: &[EditedFile], observed: &[Observed]) -> Result<(), String> {
    let loaded = load_edited(&opened.sources, files);
    let Some(new) = &loaded.site else {
        return Err("the tighter rules would not load: nothing is suggested".to_owned());
    };
    let networks = Network::versions(&opened.site, new, opened.today);
    let [before, after] = &networks.map(|network| opened.limited(network));
    match prove(before, after, observed) {
        Proof::Holds => Ok(()),
        Proof::Opens(packet) => Err(format!(
            "the tighter rules would let {packet} pass, which the old ones do not: nothing is suggested"
        )),
        Proof::Closes(packet) => Err(format!(
            "the tighter rules would deny {packet}, which is used: nothing is suggested"
        )),
        Proof::Unknown => Err(
            "a limit was met before the tighter rules were proved: nothing is suggested".to_owned(),
        ),
    }
}
