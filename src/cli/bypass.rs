//! `boundwalk bypass`.

use std::io;

use clap::Args;

use boundwalk_analysis::{Bypasses, Endpoint, chosen, notes};
use boundwalk_forwarding::Origin;
use boundwalk_render::{bypass_document, bypass_json};

use super::format::{Format, USUAL, one_of, print};
use super::output::Output;
use super::site::{SiteArguments, open, parties};
use super::verdict::Verdict;

/// Find ways round the gateway: pairs of segments of different zones that a device crosses without a filtering
/// gateway deciding, and the smallest set of settings that closes them all.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Only from these zones or segments.
    #[arg(long, value_name = "NAME")]
    from: Vec<String>,
    /// Only to these zones or segments.
    #[arg(long, value_name = "NAME")]
    to: Vec<String>,
    /// Show each way in full.
    #[arg(long)]
    all: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  boundwalk bypass site.toml\n  \
    boundwalk bypass site.toml --from guest-wifi --to desks --all\n\
    A device may sit at any live port of a segment, use any address, and put up to two tags on its frames.\n\
    Exit code 0: no way round, 1: there is one, 2: could not run.";

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let site = &opened.site;
    let (from, to) = match (parties(site, &arguments.from), parties(site, &arguments.to)) {
        (Ok(from), Ok(to)) => (from, to),
        (Err(message), _) | (_, Err(message)) => {
            return output.failed(&message);
        }
    };
    let network = opened.network();
    let wanted =
        |choice: &[Endpoint], origin| chosen(site, choice, Endpoint::of(&network.fabric, origin));
    let asked = |one: Origin, other: Origin| wanted(&from, one) && wanted(&to, other);
    let found = Bypasses::new(&network, &asked);
    let notes = notes(&network);
    let sources = &opened.sources;
    let document = || bypass_document(&network, sources, &found, &notes, arguments.all);
    let json = || bypass_json(&network, sources, &found, &notes);
    print(arguments.format, output, document, json)?;
    Ok(if found.pairs.is_empty() {
        Verdict::Clean
    } else {
        Verdict::Findings
    })
}
