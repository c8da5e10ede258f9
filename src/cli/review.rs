//! `boundwalk review`.

use std::io;

use clap::{Args, ValueEnum};

use crate::analysis::{By, CAUTION, Extent, HostileReach, Matrix, Naming, Question, Reading};
use crate::diagnostic::Severity;
use crate::forwarding::Network;
use crate::render::{
    Paint, Selection, Sheet, clean, matrix_text, problem_summary, review_json, review_markdown,
    wrapped,
};

use super::matrix::sheet_key;
use super::output::Progress;
use super::site::{FamilyArguments, Opened, SiteArguments, open, print_problems};
use super::{Output, Verdict};

/// Look at everything before a deployment: problems of the file, the matrix by zone, a summary.
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
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

const EXAMPLES: &str = "Examples:\n  boundwalk review site.toml\n  \
    boundwalk review site.toml --fail-on error --format markdown\n\
    Exit code 0: nothing of that severity found, 1: something was, 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Threshold {
    Note,
    Warning,
    Error,
    Never,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
    /// For documents.
    Markdown,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(
        &arguments.site,
        arguments.format == Format::Json,
        false,
        output,
    )?
    else {
        return Ok(Verdict::Failed);
    };
    let network = Network::new(&opened.site, opened.today);
    let families = arguments.family.families();
    let progress = Progress::new("computing the matrix");
    let matrices: Vec<Matrix> = families
        .iter()
        .map(|&family| {
            let question = Question {
                by: By::Zone,
                family,
                hostile: true,
            };
            Matrix::new(&network, &question, &mut |done, total| {
                progress.update(done, total)
            })
        })
        .collect();
    drop(progress);
    let sheet = Sheet::new(&network, &matrices, &Selection::default());
    let namings: Vec<Naming<'_>> = families
        .iter()
        .map(|&family| Naming::new(&network, family))
        .collect();
    let summary = summary(&opened, &matrices);
    match arguments.format {
        Format::Json => {
            let (site, sources) = (&opened.site, &opened.sources);
            let text = review_json(site, sources, &sheet, &namings, &opened.problems, &summary);
            output.print(&text)?;
        }
        Format::Markdown => {
            let (key, codes) = sheet_key(&sheet, &namings);
            let text = review_markdown(
                &opened.sources,
                &sheet,
                &key,
                &codes,
                &opened.problems,
                &summary,
            );
            output.print(&text)?;
        }
        Format::Text => {
            print_problems(&opened.sources, &opened.problems, Severity::Note, output)?;
            let paint = output.paint();
            let (key, codes) = sheet_key(&sheet, &namings);
            if !opened.site.name.is_empty() {
                output.print(&format!("{}\n\n", paint.strong(&clean(&opened.site.name))))?;
            }
            output.print(&matrix_text(&sheet, &key, &codes, paint))?;
            output.print(&notes_text(&sheet.notes, paint))?;
            let lines = wrapped(&summary, paint.columns).join("\n");
            output.print(&format!("\n{}\n", paint.strong(&lines)))?;
        }
    }
    Ok(verdict(&opened, arguments.fail_on))
}

fn verdict(opened: &Opened, threshold: Threshold) -> Verdict {
    let least = match threshold {
        Threshold::Note => Severity::Note,
        Threshold::Warning => Severity::Warning,
        Threshold::Error => Severity::Error,
        Threshold::Never => return Verdict::Clean,
    };
    match opened
        .problems
        .iter()
        .any(|problem| problem.severity() >= least)
    {
        true => Verdict::Findings,
        false => Verdict::Clean,
    }
}

/// One line that sums a review up.
fn summary(opened: &Opened, matrices: &[Matrix]) -> String {
    let mut pairs = 0;
    let (mut open, mut undecided, mut one_way, mut hostile, mut unknown) = (0, 0, 0, 0, 0);
    let rows = matrices.first().map_or(0, |matrix| matrix.cells.len());
    for row in 0..rows {
        for column in 0..matrices[0].columns.len() {
            let cells = matrices.iter().map(|matrix| &matrix.cells[row][column]);
            let cells: Vec<_> = cells.filter(|cell| cell.reading == Reading::Pair).collect();
            pairs += usize::from(!cells.is_empty());
            open += usize::from(cells.iter().any(|cell| !cell.some.is_empty()));
            let partly = |extent| matches!(extent, Extent::None | Extent::Some);
            undecided += usize::from(cells.iter().any(|cell| partly(cell.filtered)));
            one_way += usize::from(cells.iter().any(|cell| partly(cell.two_way)));
            let larger = |hostile| matches!(hostile, HostileReach::Larger(_));
            hostile += usize::from(cells.iter().any(|cell| larger(cell.hostile)));
            unknown += usize::from(cells.iter().any(|cell| !cell.complete));
        }
    }
    let problems = match problem_summary(&opened.problems) {
        none if none.is_empty() => "no problems in the file".to_owned(),
        some => some,
    };
    let mut text = match pairs {
        0 => format!("{problems}; nothing that a gateway could part"),
        _ => format!("{problems}; of {pairs} pairs of zones {open} open"),
    };
    for (count, what) in [
        (undecided, "with a way past every filtering gateway"),
        (one_way, "with one-way flows"),
        (hostile, "where a hostile device reaches more"),
        (unknown, "not fully explored"),
    ] {
        if count > 0 {
            text.push_str(&format!(", {count} {what}"));
        }
    }
    let waiting = [
        (opened.site.needs.len(), "need"),
        (opened.site.expectations.len(), "expectation"),
    ];
    let waiting = waiting.into_iter().filter(|(count, _)| *count > 0);
    let waiting: Vec<String> = waiting.map(|(count, what)| counted(count, what)).collect();
    if !waiting.is_empty() {
        text.push_str(&format!("; {} read, not judged", waiting.join(" and ")));
    }
    text
}

fn counted(count: usize, what: &str) -> String {
    let ending = if count == 1 { "" } else { "s" };
    format!("{count} {what}{ending}")
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
