//! `boundwalk change`.

use std::io;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use boundwalk_analysis::change::{
    Edit, EditKind, IntentChange, Trend, edits, intent_changes, isolation_changes, reach_change,
    way_changes,
};
use boundwalk_analysis::intent::IntentStatus;
use boundwalk_analysis::{By, Question, ServiceLabels, notes};
use boundwalk_diagnostic::{Finding, Severity};
use boundwalk_forwarding::Network;
use boundwalk_load::{Loaded, load_path_with};
use boundwalk_model::{Family, PerFamily, Site};
use boundwalk_render::{
    ChangeShown, Selection, Sheet, change_document, change_html, change_json, change_page,
};

use super::compute::matrices;
use super::format::{Form, Format, JSON, TEXT, one_of, print};
use super::matrix::sheet_legend;
use super::output::Output;
use super::progress::Progress;
use super::revision::load_revision;
use super::site::{LinkArguments, Opened, TermArguments, opened};
use super::verdict::Verdict;

/// Compare two versions of a site: exactly what opens and what closes, by pair of segments, with a witness packet and
/// the rules on either side, for devices that do as configured and for a hostile one; ways round the gateway, isolation,
/// expectations, needs and findings that change. What only looks different has no effect, and that is said.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    /// The old version: a site file or a folder. With --since, the new one.
    #[arg(value_name = "OLD")]
    old: PathBuf,
    /// The new version.
    #[arg(value_name = "NEW", required_unless_present = "since")]
    new: Option<PathBuf>,
    /// Take the old version from this git revision of the site named.
    #[arg(long, value_name = "REVISION", conflicts_with = "new")]
    since: Option<String>,
    #[command(flatten)]
    terms: TermArguments,
    #[command(flatten)]
    links: LinkArguments,
    /// What makes the exit code 1.
    #[arg(long, value_name = "WHAT", default_value = "any")]
    fail_on: FailOn,
    /// Leave out the findings of both versions, which take longer than all else on a large site.
    #[arg(long)]
    no_findings: bool,
    /// List every edit and every pair.
    #[arg(long)]
    all: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
}

const EXAMPLES: &str = "Examples:\n  boundwalk change site.toml site.toml\n  \
    boundwalk change site.toml proposed.toml --format markdown --fail-on worse\n  \
    boundwalk change site.toml proposed.toml --format html > change.html\n  \
    boundwalk change site.toml --since HEAD\n\
    Exit code 0: nothing that --fail-on names, 1: something, 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum FailOn {
    /// Anything that opens, closes or gets worse, for hostile devices as well.
    Any,
    /// Anything that opens or gets worse, for hostile devices as well.
    Opened,
    /// A new way round the gateway, an isolation weaker than before, an expectation newly broken, a need newly unmet, a
    /// finding of at least a warning that is new or worse, or an answer that a limit leaves open.
    Worse,
    /// Nothing.
    Never,
}

/// What it offers.
const FORMS: &[Form] = &[
    TEXT,
    (Format::Markdown, "A page to attach to a ticket"),
    (Format::Html, "A page for browsers, with the matrix"),
    JSON,
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some((names, old, new)) = versions(arguments, output)? else {
        return Ok(Verdict::Failed);
    };
    let networks = Network::versions(&old.site, &new.site, new.today);
    let networks = networks.map(|network| new.limited(network));
    let [before, after] = &networks;
    let progress = Progress::new("comparing");
    let reach = reach_change(before, after, &mut |done, total| {
        progress.update(done, total);
    });
    drop(progress);
    let edits = edits(&old.site, &new.site);
    let intent = intent_changes(before, after);
    let ways = way_changes(before, after, &reach);
    let isolation = isolation_changes(before, after, &reach);
    let renamed = renamed(&new.site, &edits);
    let findings = findings(arguments, &networks, &renamed);
    let notes = notes(after);
    let shown = ChangeShown {
        names,
        networks: &networks,
        sources: [&old.sources, &new.sources],
        namings: [before, after]
            .map(|network| PerFamily::new(|family| ServiceLabels::new(network, family))),
        reach: &reach,
        ways: &ways,
        edits: &edits,
        intent: &intent,
        isolation: &isolation,
        findings: findings
            .as_ref()
            .map(|(new, gone)| (new.as_slice(), gone.as_slice())),
        notes: &notes,
    };
    if arguments.format == Format::Html {
        output.print(&html(&shown, after))?;
        return Ok(verdict(arguments.fail_on, &shown));
    }
    let document = || match arguments.format {
        Format::Markdown => change_page(&shown),
        _ => change_document(&shown, arguments.all),
    };
    print(arguments.format, output, document, || change_json(&shown))?;
    Ok(verdict(arguments.fail_on, &shown))
}

/// The page, with the matrix of the new version.
fn html(shown: &ChangeShown<'_>, after: &Network<'_>) -> String {
    let question = Question::all(By::Segment, Family::V4, false);
    let all = matrices(after, &Family::ALL, &question);
    let sheet = Sheet::new(after, &all, &Selection::default());
    let (key, codes) = sheet_legend(&sheet, shown.namings[1].as_slice());
    change_html(shown, (&sheet, &key, &codes))
}

/// Both versions, with what they are called; `None` once it is said what is wrong.
fn versions(
    arguments: &Arguments,
    output: &mut Output,
) -> io::Result<Option<([String; 2], Opened, Opened)>> {
    let links = arguments.links.asked();
    let terms = arguments.terms;
    let old = match &arguments.since {
        None => load_path_with(&arguments.old, links),
        Some(revision) => match load_revision(&arguments.old, revision) {
            Ok(loaded) => loaded,
            Err(message) => {
                output.refuse(&message)?;
                return Ok(None);
            }
        },
    };
    let new_path = arguments.new.as_ref().unwrap_or(&arguments.old);
    let new: Loaded = load_path_with(new_path, links);
    let shown = arguments.old.display().to_string();
    let names = match &arguments.since {
        Some(revision) => [format!("{shown} at {revision}"), shown],
        None => [shown, new_path.display().to_string()],
    };
    let Some(old) = opened(old, terms, arguments.format, false, output)? else {
        return Ok(None);
    };
    let new = opened(new, terms, arguments.format, false, output)?;
    Ok(new.map(|new| (names, old, new)))
}

type Fresh = (Vec<Finding>, Vec<Finding>);

fn findings(
    arguments: &Arguments,
    networks: &[Network<'_>; 2],
    renamed: &[(String, String)],
) -> Option<Fresh> {
    if arguments.no_findings {
        return None;
    }
    // What somebody accepted is nothing new to tell.
    let open = |network: &Network<'_>| {
        let found = boundwalk_checks::run(network);
        boundwalk_checks::accept(network.site, network.today, found).open
    };
    let [before, after] = networks;
    let (old, new) = rayon::join(|| open(before), || open(after));
    Some(boundwalk_checks::changed(&old, &new, renamed))
}

/// How findings call rules that were renamed, before and now.
fn renamed(site: &Site, edits: &[Edit]) -> Vec<(String, String)> {
    let one = |edit: &Edit| {
        let EditKind::Renamed(old) = &edit.kind else {
            return None;
        };
        let (router, number) = edit.rule?.new?;
        let router = site.router(router);
        let rule = router.filter()?.rules.get(number)?;
        let subject = |name: &str| format!("{} \"{name}\"", router.name.value);
        Some((subject(old), subject(&rule.name.value)))
    };
    edits.iter().filter_map(one).collect()
}

/// What is unknown counts as found: a gate that can't tell stays shut.
fn verdict(fail_on: FailOn, shown: &ChangeShown<'_>) -> Verdict {
    let reach = shown.reach;
    let unknown = shown.limit().is_some() || shown.intent.iter().any(newly_unknown);
    let isolation = |trend: Trend| shown.isolation.iter().any(|one| one.trend() == trend);
    let mut fresh = shown.findings.iter().flat_map(|(new, _)| new.iter());
    let worse = unknown
        || shown.intent.iter().any(newly_broken)
        || fresh.any(|finding| finding.severity() >= Severity::Warning)
        || !shown.ways.opened.is_empty()
        || isolation(Trend::Worse);
    let mut pairs = reach.pairs.iter().chain(&reach.hostile);
    let opened = pairs.any(|pair| !pair.opened.is_empty());
    let found = match fail_on {
        FailOn::Any => worse || !shown.no_effect(),
        FailOn::Opened => worse || opened,
        FailOn::Worse => worse,
        FailOn::Never => false,
    };
    if found {
        Verdict::Findings
    } else {
        Verdict::Clean
    }
}

fn newly_broken(one: &IntentChange) -> bool {
    let broken = |status: &Option<IntentStatus>| matches!(status, Some(IntentStatus::Broken(_)));
    broken(&one.after) && !broken(&one.before)
}

fn newly_unknown(one: &IntentChange) -> bool {
    let unknown = |status: &Option<IntentStatus>| matches!(status, Some(IntentStatus::Unknown(_)));
    unknown(&one.after) && !unknown(&one.before)
}
