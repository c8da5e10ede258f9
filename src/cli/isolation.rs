//! `boundwalk isolation`.

use std::io;

use clap::Args;

use boundwalk_analysis::{
    Distance, EFFORT, Endpoint, IsolationVerdict as Answer, distance, isolations, notes,
};
use boundwalk_forwarding::Network;
use boundwalk_model::{SegmentId, Site};
use boundwalk_render::{Isolated, isolation_document, isolation_json};

use super::format::{Format, USUAL, one_of, print};
use super::output::Output;
use super::progress::Progress;
use super::site::{SiteArguments, open, parties};
use super::verdict::Verdict;

/// Prove that segments are isolated, or show what reaches them: isolated by design with a certificate, closed
/// by rule only, or reachable with a witness; and how few faults would end it.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Segments or zones to look at [default: those that claim `isolated = true`].
    #[arg(value_name = "NAME")]
    names: Vec<String>,
    /// List every port and every fault.
    #[arg(long)]
    all: bool,
    /// Leave out how few faults would end it.
    #[arg(long)]
    no_distance: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  boundwalk isolation site.toml\n  \
    boundwalk isolation site.toml desks guest-wifi --all\n\
    Exit code 0: each is isolated by design, 1: one is not, 2: could not run.";

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let segments = match chosen(&opened.site, &arguments.names) {
        Ok(segments) => segments,
        Err(message) => {
            return output.failed(&message);
        }
    };
    let network = opened.network();
    let progress = Progress::new("looking for ways in and out");
    let effort = (!arguments.no_distance).then(|| network.scaled(EFFORT));
    let mut told = |done| progress.update(done, segments.len());
    let answers = answers(&network, &segments, effort, &mut told);
    drop(progress);
    let shown: Vec<Isolated<'_>> = answers
        .iter()
        .map(|(segment, verdict, distance)| Isolated {
            segment: *segment,
            verdict,
            distance: distance.as_ref(),
        })
        .collect();
    let notes = notes(&network);
    let sources = &opened.sources;
    let document = || isolation_document(&network, sources, &shown, &notes, arguments.all);
    let json = || isolation_json(&network, sources, &shown, &notes);
    print(arguments.format, output, document, json)?;
    let all = answers
        .iter()
        .all(|(_, verdict, _)| matches!(verdict, Answer::ByDesign(_)));
    Ok(if all {
        Verdict::Clean
    } else {
        Verdict::Findings
    })
}

/// The segments that are named, else those that claim it.
fn chosen(site: &Site, names: &[String]) -> Result<Vec<SegmentId>, String> {
    if names.is_empty() {
        return Ok(site.segments_claiming_isolation().collect());
    }
    let parties = parties(site, names)?;
    let mut segments = Vec::new();
    for (party, name) in parties.into_iter().zip(names) {
        match party {
            Endpoint::Segment(segment) => segments.push(segment),
            Endpoint::Zone(zone) => segments.extend(site.segments_in(zone)),
            Endpoint::Host(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..) => {
                return Err(format!("`{name}` is no segment or zone"));
            }
        }
    }
    segments.dedup();
    Ok(segments)
}

pub(super) type Found = (SegmentId, Answer, Option<Distance>);

/// Judges segments. `effort`: for all of them together, to find how few faults would end it; without, that is left
/// out. `told` hears before each how many are done.
pub(super) fn answers(
    network: &Network<'_>,
    segments: &[SegmentId],
    effort: Option<usize>,
    told: &mut dyn FnMut(usize),
) -> Vec<Found> {
    let mut answers = Vec::new();
    let each = effort.map(|effort| effort / segments.len().max(1));
    let verdicts = isolations(network, segments);
    for (number, (&segment, verdict)) in segments.iter().zip(verdicts).enumerate() {
        told(number);
        let distance = each.map(|effort| distance(network, segment, &verdict, effort));
        answers.push((segment, verdict, distance));
    }
    answers
}
