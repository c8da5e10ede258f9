//! `boundwalk bypass`.

use std::io;

use clap::{Args, ValueEnum};

use boundwalk_analysis::{Bypasses, Endpoint, chosen, notes};
use boundwalk_forwarding::{Network, Origin};
use boundwalk_render::{bypass_json, bypass_text};

use super::notes::notes_text;
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
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  boundwalk bypass site.toml\n  \
    boundwalk bypass site.toml --from guest-wifi --to desks --all\n\
    A device may sit at any live port of a segment, use any address, and put up to two tags on its frames.\n\
    Exit code 0: no way round, 1: there is one, 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let json = arguments.format == Format::Json;
    let Some(opened) = open(&arguments.site, json, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let site = &opened.site;
    let (from, to) = match (parties(site, &arguments.from), parties(site, &arguments.to)) {
        (Ok(from), Ok(to)) => (from, to),
        (Err(message), _) | (_, Err(message)) => {
            return output.failed(&message);
        }
    };
    let network = Network::new(site, opened.today);
    let wanted =
        |choice: &[Endpoint], origin| chosen(site, choice, Endpoint::of(&network.fabric, origin));
    let asked = |one: Origin, other: Origin| wanted(&from, one) && wanted(&to, other);
    let found = Bypasses::new(&network, &asked);
    let notes = notes(&network);
    let text = match arguments.format {
        Format::Json => bypass_json(&network, &opened.sources, &found, &notes),
        Format::Text => {
            let paint = output.paint();
            let shown = bypass_text(&network, &opened.sources, &found, arguments.all, paint);
            format!("{shown}{}", notes_text(&notes, paint))
        }
    };
    output.print(&text)?;
    Ok(match found.pairs.is_empty() {
        true => Verdict::Clean,
        false => Verdict::Findings,
    })
}
