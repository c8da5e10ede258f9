//! `boundwalk probes`.

use std::io;

use clap::Args;

use boundwalk_analysis::probes::{Asked, plan_probes};
use boundwalk_analysis::{Endpoint, notes, party_name};
use boundwalk_forwarding::{Network, Origin};
use boundwalk_model::Site;
use boundwalk_render::{ProbesShown, probes_csv, probes_document, probes_json, probes_page};

use super::format::{Form, Format, JSON, one_of, print};
use super::output::Output;
use super::site::{FamilyArguments, SiteArguments, open, parties, starts_itself};
use super::verdict::Verdict;

/// Plan a test of the running network: few packets that together touch each permitting rule, each pair of segments
/// between which something is stopped, and each claim of isolation. `verify` reads what became of them.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Only stand in these zones and segments. Repeat or separate with commas.
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    from: Vec<String>,
    /// Only send to these zones, segments and gateways.
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    to: Vec<String>,
    #[command(flatten)]
    family: FamilyArguments,
    /// No test devices: only described hosts send, and only they and gateways listen.
    #[arg(long)]
    described: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk probes site.toml\n  \
    boundwalk probes site.toml --from guests --ipv4\n  \
    boundwalk probes site.toml --format csv > results.csv\n\
    Send probes only on networks that you may test.\n\
    Exit code 0, or 2: could not run.";

/// What it offers.
const FORMS: &[Form] = &[
    (Format::Text, "A checklist for people"),
    JSON,
    (Format::Csv, "A line a probe, to be filled in for `verify`"),
    (Format::Markdown, "Tables for documents"),
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let asked = match asked(&opened.site, arguments) {
        Ok(asked) => asked,
        Err(message) => {
            return output.failed(&message);
        }
    };
    let network = opened.network();
    let shown = ProbesShown {
        network: &network,
        plan: &plan_probes(&network, &asked),
        notes: &all_notes(&network),
    };
    let document = || match arguments.format {
        Format::Markdown => probes_page(&shown),
        _ => probes_document(&shown),
    };
    match arguments.format {
        Format::Csv => output.print(&probes_csv(&shown))?,
        format => print(format, output, document, || probes_json(&shown))?,
    }
    Ok(Verdict::Clean)
}

/// What is assumed, and the ports that no probe stands at: without a segment there is no address to send from.
fn all_notes(network: &Network<'_>) -> Vec<String> {
    let fabric = &network.fabric;
    let groups = fabric.unclaimed_ids().map(Origin::Unclaimed);
    let names =
        groups.map(|group| party_name(network.site, Endpoint::of(fabric, group)).into_owned());
    let names: Vec<String> = names.collect();
    let mut all = notes(network);
    if !names.is_empty() {
        all.push(format!(
            "No probe stands at {}: no segment says which addresses to use there. Disable these ports, or plug in \
             and try by hand what the matrix lists for them.",
            names.join("; ")
        ));
    }
    all
}

fn asked(site: &Site, arguments: &Arguments) -> Result<Asked, String> {
    let from = parties(site, &arguments.from)?;
    let to = parties(site, &arguments.to)?;
    for &party in from.iter().chain(&to) {
        if let Endpoint::Host(_) = party {
            let name = party_name(site, party);
            return Err(format!("`{name}` is a host; name its segment or zone"));
        }
    }
    if let Some(&own) = from
        .iter()
        .find(|party| matches!(party, Endpoint::Device(_)))
    {
        return Err(starts_itself(&party_name(site, own)));
    }
    Ok(Asked {
        families: arguments.family.families().to_vec(),
        from,
        to,
        spare_devices: !arguments.described,
    })
}
