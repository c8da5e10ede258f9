//! `boundwalk review`.

use std::io;

use clap::{Args, ValueEnum};

use boundwalk_analysis::{
    By, CAUTION, Cell, Extent, Families, HostileReach, Matrix, Naming, Question, Reading,
};
use boundwalk_checks::Standing;
use boundwalk_diagnostic::{Finding, Problem, Severity, Sources};
use boundwalk_forwarding::Network;
use boundwalk_model::Family;
use boundwalk_render::{
    Paint, ReviewShown, Selection, Sheet, clean, finding_summary, findings_text, matrix_text,
    problem_summary, problems_json, review_json, review_markdown, standing_summary, standing_text,
    wrapped,
};

use super::compute::{matrices, namings};
use super::gate::{self, BaselineArguments};
use super::matrix::sheet_key;
use super::site::{FamilyArguments, Opened, SiteArguments, open_or, print_problems};
use super::watch::watch;
use super::{Output, Verdict};

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
    #[arg(long, value_name = "FORMAT", default_value = "text")]
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

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum Threshold {
    Note,
    Warning,
    Error,
    Never,
}

impl Threshold {
    /// The least severity that counts; `None`: none does.
    pub(super) fn least(self) -> Option<Severity> {
        match self {
            Self::Note => Some(Severity::Note),
            Self::Warning => Some(Severity::Warning),
            Self::Error => Some(Severity::Error),
            Self::Never => None,
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
    /// For documents.
    Markdown,
    /// SARIF 2.1.0, for servers and editors that show findings beside the lines of a file.
    Sarif,
    /// JUnit XML, for servers that show test results.
    Junit,
}

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
        Format::Text | Format::Markdown => String::new(),
    };
    let Some(opened) = open_or(&arguments.site, unloaded, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = Network::new(&opened.site, opened.today);
    let judged =
        boundwalk_checks::accept(&opened.site, opened.today, boundwalk_checks::run(&network));
    let standing = match arguments.baseline.hold(judged, read) {
        Ok(standing) => standing,
        Err(message) => return output.failed(&message),
    };
    let verdict = verdict((&opened.problems, &standing.open), arguments.fail_on);
    match format {
        Format::Sarif => {
            let (sources, problems) = (&opened.sources, &opened.problems);
            output.print(&gate::sarif(sources, problems, Some(&standing), verdict))?;
        }
        Format::Junit => {
            let least = arguments.fail_on.least();
            output.print(&gate::junit(&opened, &network, &standing, least))?;
        }
        Format::Text | Format::Json | Format::Markdown => {
            with_matrix(arguments, &opened, &network, &standing, output)?;
        }
    }
    Ok(verdict)
}

/// The forms that show who can reach what besides the findings.
fn with_matrix(
    arguments: &Arguments,
    opened: &Opened,
    network: &Network<'_>,
    standing: &Standing<'_>,
    output: &mut Output,
) -> io::Result<()> {
    let families = arguments.family.families();
    let question = Question::all(By::Zone, Family::V4, true);
    let matrices = matrices(network, families, &question);
    let sheet = Sheet::new(network, &matrices, &Selection::default());
    let namings = namings(network, families);
    let mut summary = summary(opened, &standing.open, &all_of(standing), &matrices);
    summary.push_str(&standing_summary(standing));
    let shown = ReviewShown {
        sources: &opened.sources,
        problems: &opened.problems,
        standing,
        summary: &summary,
    };
    match arguments.format {
        Format::Json => output.print(&review_json(&opened.site, shown, &sheet, &namings)),
        Format::Markdown => {
            let (key, codes) = sheet_key(&sheet, &namings);
            output.print(&review_markdown(shown, &sheet, &key, &codes))
        }
        Format::Text | Format::Sarif | Format::Junit => {
            print_problems(&opened.sources, &opened.problems, Severity::Note, output)?;
            let paint = output.paint();
            let findings = &standing.open;
            let text = findings_text(&opened.sources, findings, arguments.all, paint);
            output.print(&text)?;
            output.print(&standing_text(standing, paint))?;
            print_text(opened, &sheet, &namings, &summary, output)
        }
    }
}

fn print_text(
    opened: &Opened,
    sheet: &Sheet,
    namings: &[Naming<'_>],
    summary: &str,
    output: &mut Output,
) -> io::Result<()> {
    let paint = output.paint();
    let (key, codes) = sheet_key(sheet, namings);
    if !opened.site.name.is_empty() {
        output.print(&format!("{}\n\n", paint.strong(&clean(&opened.site.name))))?;
    }
    output.print(&matrix_text(sheet, &key, &codes, paint))?;
    output.print(&notes_text(&sheet.notes, paint))?;
    let lines = wrapped(summary, paint.columns).join("\n");
    output.print(&format!("\n{}\n", paint.strong(&lines)))
}

pub(super) fn verdict(
    (problems, findings): (&[Problem], &[Finding]),
    threshold: Threshold,
) -> Verdict {
    let Some(least) = threshold.least() else {
        return Verdict::Clean;
    };
    let problems = problems.iter().map(Problem::severity);
    let mut all = problems.chain(findings.iter().map(Finding::severity));
    match all.any(|severity| severity >= least) {
        true => Verdict::Findings,
        false => Verdict::Clean,
    }
}

/// Of how many pairs of zones something holds.
#[derive(Default)]
struct Counts {
    pairs: usize,
    open: usize,
    undecided: usize,
    one_way: usize,
    hostile: usize,
    unknown: usize,
}

impl Counts {
    fn new(matrices: &[Matrix]) -> Self {
        let mut counts = Self::default();
        let families = Families::new(matrices);
        for row in 0..families.rows.len() {
            for column in 0..families.columns.len() {
                let cells = families.cells(row, column).map(|(_, cell)| cell);
                let real = cells.filter(|cell| cell.reading == Reading::Pair);
                counts.add(&real.collect::<Vec<_>>());
            }
        }
        counts
    }

    /// Counts one pair, given its cells in both families.
    fn add(&mut self, cells: &[&Cell]) {
        let any = |test: &dyn Fn(&Cell) -> bool| usize::from(cells.iter().any(|cell| test(cell)));
        let partly = |extent| matches!(extent, Extent::None | Extent::Some);
        self.pairs += any(&|_| true);
        self.open += any(&|cell| !cell.some.is_empty());
        self.undecided += any(&|cell| partly(cell.filtered));
        self.one_way += any(&|cell| partly(cell.two_way));
        self.hostile += any(&|cell| matches!(cell.hostile, HostileReach::Larger(_)));
        self.unknown += any(&|cell| !cell.complete());
    }
}

/// All that is so, whether somebody lives with it or not.
pub(super) fn all_of<'s>(standing: &'s Standing<'_>) -> Vec<&'s Finding> {
    let accepted = standing.accepted.iter().map(|(finding, _)| finding);
    let known = standing.known.iter();
    standing.open.iter().chain(known).chain(accepted).collect()
}

/// One line that sums a review up: what is open, and of `all` findings what does not hold.
pub(super) fn summary(
    opened: &Opened,
    findings: &[Finding],
    all: &[&Finding],
    matrices: &[Matrix],
) -> String {
    let counts = Counts::new(matrices);
    let intent = intent(opened, all);
    let problems = match problem_summary(&opened.problems) {
        none if none.is_empty() => "no problems in the file".to_owned(),
        some => format!("{some} in the file"),
    };
    let findings = match finding_summary(findings) {
        none if none.is_empty() => "no findings".to_owned(),
        some => format!("findings: {some}"),
    };
    let mut text = match counts.pairs {
        0 => format!("{problems}; {findings}; nothing that a gateway could part"),
        pairs => format!(
            "{problems}; {findings}; of {pairs} pairs of zones and gateways {} open",
            counts.open
        ),
    };
    for (count, what) in [
        (counts.undecided, "with a way past every filtering gateway"),
        (counts.one_way, "with one-way flows"),
        (counts.hostile, "where a hostile device reaches more"),
        (counts.unknown, "not fully explored"),
    ] {
        if count > 0 {
            text.push_str(&format!(", {count} {what}"));
        }
    }
    text.push_str(&intent);
    text
}

/// How many expectations and needs there are, and how many of them do not hold.
fn intent(opened: &Opened, findings: &[&Finding]) -> String {
    let broken = |check: &str| {
        let own = findings
            .iter()
            .filter(|finding| finding.check.name == check);
        own.map(|finding| finding.subjects.len()).sum::<usize>()
    };
    let mut text = String::new();
    for (count, what, check, fate) in [
        (
            opened.site.expectations.len(),
            "expectations",
            "expectation-broken",
            "broken",
        ),
        (opened.site.needs.len(), "needs", "need-unmet", "unmet"),
    ] {
        if count > 0 {
            text.push_str(&format!("; of {count} {what} {} {fate}", broken(check)));
        }
    }
    text
}

/// What an answer rests on, as a paragraph each.
pub(super) fn notes_text(notes: &[String], paint: Paint) -> String {
    let mut out = format!("\n{}\n", paint.strong("What this rests on"));
    for note in notes {
        let lines = wrapped(&clean(note), paint.columns.saturating_sub(4).max(30));
        for (number, line) in lines.into_iter().enumerate() {
            let bullet = if number == 0 { "- " } else { "  " };
            let line = format!("  {bullet}{line}\n");
            out.push_str(&if note == CAUTION {
                line
            } else {
                paint.faint(&line)
            });
        }
    }
    out
}
