//! `boundwalk expectations`.

use std::io;

use clap::Args;

use boundwalk_analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk_analysis::{ServiceLabels, notes};
use boundwalk_load::baselines;
use boundwalk_model::PerFamily;
use boundwalk_render::{
    IntentShown, baselines_document, baselines_json, baselines_page, expectations_document,
    expectations_json, expectations_page,
};

use super::format::{Format, USUAL, one_of, print};
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
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk expectations site.toml\n  \
    boundwalk expectations site.toml --format markdown\n  \
    boundwalk expectations --baselines\n\
    Exit code 0: all held and met, 1: one is broken, unmet, vacuous or unknown, 2: could not run.";

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    if arguments.baselines {
        let document = || match arguments.format {
            Format::Markdown => baselines_page(baselines()),
            _ => baselines_document(baselines()),
        };
        print(arguments.format, output, document, || {
            baselines_json(baselines())
        })?;
        return Ok(Verdict::Clean);
    }
    let Some(site) = arguments.site.required() else {
        return output.failed("name a site, or ask for --baselines");
    };
    let Some(opened) = open(&site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = opened.network();
    let (expectations, needs) = (judge_expectations(&network), judge_needs(&network));
    let shown = IntentShown {
        network: &network,
        sources: &opened.sources,
        expectations: &expectations,
        needs: &needs,
        namings: &PerFamily::new(|family| ServiceLabels::new(&network, family)),
        notes: &notes(&network),
    };
    let document = || match arguments.format {
        Format::Markdown => expectations_page(&shown),
        _ => expectations_document(&shown),
    };
    print(arguments.format, output, document, || {
        expectations_json(&shown)
    })?;
    let mut statuses = expectations
        .iter()
        .map(|judged| &judged.status)
        .chain(needs.iter().map(|judged| &judged.status));
    Ok(if statuses.all(|status| *status == IntentStatus::Held) {
        Verdict::Clean
    } else {
        Verdict::Findings
    })
}
