//! `boundwalk expectations`.

use std::io;

use clap::{Args, ValueEnum};

use boundwalk_analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk_analysis::{ServiceLabels, notes};
use boundwalk_forwarding::Network;
use boundwalk_load::baselines;
use boundwalk_model::Family;
use boundwalk_render::{
    IntentShown, baselines_json, baselines_markdown, baselines_text, expectations_json,
    expectations_markdown, expectations_text,
};

use super::notes::notes_text;
use super::output::Output;
use super::site::{OptionalSite, open};
use super::verdict::Verdict;

/// Hold every expectation and every need of the site against it: held or broken, with a packet that shows it and
/// the rule that decides.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: OptionalSite,
    /// List the ready-made sets that a site file can ask for, with their roles and lines.
    #[arg(long, conflicts_with = "site")]
    baselines: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk expectations site.toml\n  \
    boundwalk expectations site.toml --format markdown\n  \
    boundwalk expectations --baselines\n\
    Exit code 0: all held and met, 1: one is broken, unmet, vacuous or unknown, 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For documents.
    Markdown,
    /// For programs.
    Json,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    if arguments.baselines {
        let text = match arguments.format {
            Format::Text => baselines_text(baselines(), output.paint()),
            Format::Markdown => baselines_markdown(baselines()),
            Format::Json => baselines_json(baselines()),
        };
        output.print(&text)?;
        return Ok(Verdict::Clean);
    }
    let Some(site) = arguments.site.required() else {
        return output.failed("name a site, or ask for --baselines");
    };
    let json = arguments.format == Format::Json;
    let Some(opened) = open(&site, json, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = Network::new(&opened.site, opened.today);
    let (expectations, needs) = (judge_expectations(&network), judge_needs(&network));
    let shown = IntentShown {
        network: &network,
        sources: &opened.sources,
        expectations: &expectations,
        needs: &needs,
        namings: &Family::ALL.map(|family| ServiceLabels::new(&network, family)),
        notes: &notes(&network),
    };
    match arguments.format {
        Format::Json => output.print(&expectations_json(&shown))?,
        Format::Markdown => output.print(&expectations_markdown(&shown))?,
        Format::Text => {
            let paint = output.paint();
            output.print(&expectations_text(&shown, paint))?;
            output.print(&notes_text(shown.notes, paint))?;
        }
    }
    let standings = expectations.iter().map(|judged| &judged.standing);
    let mut standings = standings.chain(needs.iter().map(|judged| &judged.standing));
    Ok(
        match standings.all(|standing| *standing == IntentStatus::Held) {
            true => Verdict::Clean,
            false => Verdict::Findings,
        },
    )
}
