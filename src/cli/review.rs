//! `boundwalk review`.

use std::io;

use clap::Args;

use boundwalk_analysis::{By, Question, ServiceLabels};
use boundwalk_checks::JudgedFindings;
use boundwalk_diagnostic::{Problem, Severity, Sources};
use boundwalk_forwarding::Network;
use boundwalk_model::Family;
use boundwalk_render::{
    ReviewShown, Selection, Sheet, escape_control, findings_text, matrix_text, notes_document,
    problems_json, review_json, review_page, reviewed_document, reviewed_summary, wrapped,
};

use super::compute::{matrices, namings};
use super::format::{Form, Format, JSON, MARKDOWN, TEXT, one_of};
use super::gate::{self, BaselineArguments};
use super::matrix::sheet_legend;
use super::output::Output;
use super::site::{FamilyArguments, Opened, SiteArguments, open_or, print_problems};
use super::summary::{all_of, summary};
use super::threshold::{Threshold, verdict};
use super::verdict::Verdict;
use super::watch::watch;

/// Look at everything before a deployment: problems of the file, findings of all checks, the matrix by zone, a
/// summary.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    #[command(flatten)]
    family: FamilyArguments,
    /// Least severity that makes the exit code 1.
    #[arg(long, value_name = "SEVERITY", default_value = "warning")]
    fail_on: Threshold,
    /// Show every finding with its place, not only the first few of each check.
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    baseline: BaselineArguments,
    /// Stay, review again after each save of the site, and print what differs.
    #[arg(long, conflicts_with_all = ["all", "baseline", "write_baseline", "format", "fail_on", "ipv4", "ipv6"])]
    watch: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
}

const EXAMPLES: &str = "Examples:\n  boundwalk review site.toml\n  \
    boundwalk review site.toml --fail-on error --format markdown\n  \
    boundwalk review site.toml --all --fail-on never\n  \
    boundwalk review site.toml --write-baseline known.json\n  \
    boundwalk review site.toml --format sarif\n\
    With --watch it goes on until Ctrl-C: each save is followed by what is new and what is gone.\n\
    Exit code 0: no problem and no finding of that severity (warning, unless told otherwise), 1: some, 2: could \
    not run. Accepted findings, and those of the baseline, do not count.\n\
    `boundwalk explain CHECK` says why a finding matters and when it is fine.";

/// What it offers.
const FORMS: &[Form] = &[
    TEXT,
    JSON,
    MARKDOWN,
    (
        Format::Sarif,
        "SARIF 2.1.0, for servers and editors that show findings beside the lines of a file",
    ),
    (
        Format::Junit,
        "JUnit XML, for servers that show test results",
    ),
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    if arguments.watch {
        return watch(&arguments.site, output);
    }
    let read = match arguments.baseline.read() {
        Ok(read) => read,
        Err(message) => return output.failed(&message),
    };
    let format = arguments.format;
    let unloaded = |sources: &Sources, problems: &[Problem]| match format {
        Format::Json => problems_json(sources, problems),
        Format::Sarif => gate::sarif(sources, problems, None, Verdict::Failed),
        Format::Junit => gate::junit_unloaded(sources, problems),
        _ => String::new(),
    };
    let Some(opened) = open_or(&arguments.site, unloaded, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = opened.network();
    let judged =
        boundwalk_checks::accept(&opened.site, opened.today, boundwalk_checks::run(&network));
    let reviewed = match arguments.baseline.hold(judged, read) {
        Ok(reviewed) => reviewed,
        Err(message) => return output.failed(&message),
    };
    let verdict = verdict((&opened.problems, &reviewed.open), arguments.fail_on);
    match format {
        Format::Sarif => {
            let (sources, problems) = (&opened.sources, &opened.problems);
            output.print(&gate::sarif(sources, problems, Some(&reviewed), verdict))?;
        }
        Format::Junit => {
            let least = arguments.fail_on.least();
            output.print(&gate::junit(&opened, &network, &reviewed, least))?;
        }
        _ => {
            with_matrix(arguments, &opened, &network, &reviewed, output)?;
        }
    }
    Ok(verdict)
}

/// The forms that show who can reach what besides the findings.
fn with_matrix(
    arguments: &Arguments,
    opened: &Opened,
    network: &Network<'_>,
    reviewed: &JudgedFindings<'_>,
    output: &mut Output,
) -> io::Result<()> {
    let families = arguments.family.families();
    let question = Question::all(By::Zone, Family::V4, true);
    let matrices = matrices(network, families, &question);
    let sheet = Sheet::new(network, &matrices, &Selection::default());
    let namings = namings(network, families);
    let mut summary = summary(opened, &reviewed.open, &all_of(reviewed), &matrices);
    summary.push_str(&reviewed_summary(reviewed));
    let shown = ReviewShown {
        sources: &opened.sources,
        problems: &opened.problems,
        reviewed,
        summary: &summary,
    };
    match arguments.format {
        Format::Json => output.print(&review_json(&opened.site, shown, &sheet, &namings)),
        Format::Markdown => {
            let (key, codes) = sheet_legend(&sheet, &namings);
            output.print(&review_page(shown, &sheet, &key, &codes).markdown())
        }
        _ => {
            print_problems(&opened.sources, &opened.problems, Severity::Note, output)?;
            let text_style = output.text_style();
            let findings = &reviewed.open;
            let text = findings_text(&opened.sources, findings, arguments.all, text_style);
            output.print(&text)?;
            output.print(&reviewed_document(reviewed).text(text_style))?;
            print_text(opened, &sheet, &namings, &summary, output)
        }
    }
}

fn print_text(
    opened: &Opened,
    sheet: &Sheet,
    namings: &[ServiceLabels<'_>],
    summary: &str,
    output: &mut Output,
) -> io::Result<()> {
    let text_style = output.text_style();
    let (key, codes) = sheet_legend(sheet, namings);
    if !opened.site.name.is_empty() {
        output.print(&format!(
            "{}\n\n",
            text_style.strong(&escape_control(&opened.site.name))
        ))?;
    }
    output.print(&matrix_text(sheet, &key, &codes, text_style))?;
    output.print(&notes_document(&sheet.notes).text(text_style))?;
    let lines = wrapped(summary, text_style.columns).join("\n");
    output.print(&format!("\n{}\n", text_style.strong(&lines)))
}
