//! Noticing a save: of the site file, or of any file of its folder.

use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::{Duration, Instant, SystemTime};
use std::{fs, io};

use boundwalk_analysis::{By, Question};
use boundwalk_checks::{Baseline, JudgedFindings};
use boundwalk_diagnostic::{Finding, Severity};
use boundwalk_load::is_site_file;
use boundwalk_model::Family;
use boundwalk_render::{escape_control, labelled, problem_summary, problem_text, reviewed_summary};

use super::compute::matrices;
use super::output::Output;
use super::site::{Broken, Opened, SiteArguments};
use super::summary::summary;
use super::verdict::Verdict;

/// Between two looks at the files. With the review itself, what a save changed is there within 100 ms on a site of
/// the size of the demo.
pub(super) const POLL: Duration = Duration::from_millis(25);
/// How long files must stay as they are before they are read: a save is not one step.
const SETTLE: Duration = Duration::from_millis(15);

/// Time and length of each file of a site: what a save changes.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Stamps(Vec<(PathBuf, Option<(SystemTime, u64)>)>);

impl Stamps {
    /// Those of a file, or of the TOML files of a folder. A file that is not there for a moment, as while an editor
    /// replaces it, has none.
    pub(super) fn of(path: &Path) -> Self {
        let mut files = match fs::read_dir(path) {
            Ok(entries) => entries
                .filter_map(Result::ok)
                .map(|entry| entry.path())
                .filter(|file| is_site_file(file))
                .collect(),
            Err(_) => vec![path.to_owned()],
        };
        files.sort();
        let stamp = |file: PathBuf| {
            let facts = fs::metadata(&file).ok();
            let facts = facts.and_then(|facts| Some((facts.modified().ok()?, facts.len())));
            (file, facts)
        };
        Self(files.into_iter().map(stamp).collect())
    }

    /// Whether every file is there.
    fn whole(&self) -> bool {
        !self.0.is_empty() && self.0.iter().all(|(_, facts)| facts.is_some())
    }

    /// Whether the files are others than they were. If so, waits until they stay as they are, and remembers them.
    pub(super) fn saved(&mut self, path: &Path) -> bool {
        let mut now = Self::of(path);
        if now == *self {
            return false;
        }
        loop {
            sleep(SETTLE);
            let later = Self::of(path);
            if later == now {
                break;
            }
            now = later;
        }
        // While an editor replaces a file it is not there.
        if !now.whole() || now == *self {
            return false;
        }
        *self = now;
        true
    }
}

/// The time of day.
pub(super) fn clock() -> String {
    jiff::ZonedDateTime::now().strftime("%H:%M:%S").to_string()
}

/// Columns of the time of day and the space behind it.
const BESIDE_TIME: usize = 10;

/// What is known after a look at the site.
struct Look {
    baseline: Baseline,
    summary: String,
}

/// Reviews again after each save and says what differs, until the process is stopped.
pub(super) fn watch(site: &SiteArguments, output: &mut Output) -> io::Result<Verdict> {
    let mut stamps = Stamps::of(site.path());
    let mut last: Option<Look> = None;
    look(site, &mut last, output)?;
    output.print(&format!(
        "{}  watching {}; Ctrl-C ends\n",
        clock(),
        escape_control(&site.path().display().to_string())
    ))?;
    output.flush()?;
    // It goes on until somebody ends it, or until what it prints goes nowhere.
    while !output.is_closed() {
        sleep(POLL);
        if stamps.saved(site.path()) {
            look(site, &mut last, output)?;
            output.flush()?;
        }
    }
    Ok(Verdict::Clean)
}

/// Reviews the site and prints what differs from the last time.
fn look(site: &SiteArguments, last: &mut Option<Look>, output: &mut Output) -> io::Result<()> {
    let start = Instant::now();
    let read = site.read();
    let time = clock();
    let columns = output.text_style().columns;
    let opened = match read {
        Ok(opened) => opened,
        Err(broken) => return output.print(&unloaded(&time, &broken, columns)),
    };
    let network = opened.network();
    let judged =
        boundwalk_checks::accept(&opened.site, opened.today, boundwalk_checks::run(&network));
    let all = judged.open.clone();
    let accepted = judged.accepted.iter().map(|(finding, _)| finding.clone());
    let everything: Vec<Finding> = all.iter().cloned().chain(accepted).collect();
    let before = last.as_ref().map(|look| &look.baseline);
    let reviewed = JudgedFindings::new(judged, before);
    let question = Question::all(By::Zone, Family::V4, true);
    let matrices = matrices(&network, &Family::ALL, &question);
    let told = Look {
        baseline: Baseline::of(&all),
        summary: summary(
            &opened,
            &all,
            &everything.iter().collect::<Vec<_>>(),
            &matrices,
        ),
    };
    let mut text = String::new();
    match last {
        None => labelled(&mut text, columns, 0, &format!("{time}  "), &told.summary),
        Some(before) => {
            let took = start.elapsed().as_millis();
            text.push_str(&difference(&time, took, &opened, &reviewed, columns));
            if before.summary != told.summary {
                labelled(&mut text, columns, BESIDE_TIME, "", &told.summary);
            }
        }
    }
    *last = Some(told);
    output.print(&text)
}

/// Why the site does not load.
fn unloaded(time: &str, broken: &Broken, columns: usize) -> String {
    let summary = problem_summary(&broken.problems);
    let texts: Vec<String> = broken
        .problems
        .iter()
        .filter(|problem| problem.severity() == Severity::Error)
        .map(|one| problem_text(&broken.sources, one, false, columns))
        .collect();
    format!(
        "{time}  the site does not load: {summary}\n{}",
        texts.join("\n")
    )
}

/// What is new and what is gone, a line each.
fn difference(
    time: &str,
    took: u128,
    opened: &Opened,
    reviewed: &JudgedFindings<'_>,
    columns: usize,
) -> String {
    let gone = reviewed.gone.as_deref().unwrap_or_default();
    let mut out = format!("{time}  {} ({took} ms)\n", counts(reviewed));
    for finding in &reviewed.open {
        labelled(&mut out, columns, 2, "+ ", &new_line(opened, finding));
    }
    for known in gone {
        let line = format!("{}: {}", known.check, known.subject);
        labelled(&mut out, columns, 2, "- ", &line);
    }
    let accepted = reviewed_summary(reviewed);
    if !accepted.is_empty() && !reviewed.accepted.is_empty() {
        let text = accepted.trim_start_matches("; ");
        labelled(&mut out, columns, BESIDE_TIME, "", text);
    }
    out
}

/// How much is new and how much is gone: of a finding about several subjects each counts.
pub(super) fn counts(reviewed: &JudgedFindings<'_>) -> String {
    let new = reviewed.open.iter().map(|finding| finding.subjects.len());
    let gone = reviewed.gone.as_ref().map_or(0, Vec::len);
    match (new.sum::<usize>(), gone) {
        (0, 0) => "no finding came or went".to_owned(),
        (new, gone) => format!("findings: {new} new, {gone} gone"),
    }
}

fn new_line(opened: &Opened, finding: &Finding) -> String {
    let place = finding.span.map(|span| opened.sources.place(span));
    let place = place.map_or_else(String::new, |place| format!(" ({place})"));
    let (word, name) = (finding.severity().word(), finding.check.name);
    format!("{word} {name}: {}{place}", finding.message)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_save_changes_the_stamps_and_a_missing_file_is_noticed() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("a.toml");
        fs::write(&file, "one").expect("a file");
        let (of_file, of_folder) = (Stamps::of(&file), Stamps::of(folder.path()));
        assert!(of_file.whole() && of_folder.whole());
        assert_eq!(of_folder, Stamps::of(folder.path()));
        fs::write(folder.path().join("notes.txt"), "no part of it").expect("a file");
        assert_eq!(of_folder, Stamps::of(folder.path()));
        let mut seen = of_file.clone();
        assert!(!seen.saved(&file));
        fs::write(&file, "other").expect("a file");
        assert_ne!(of_file, Stamps::of(&file));
        assert!(
            seen.saved(&file) && !seen.saved(&file),
            "once for each save"
        );
        fs::write(folder.path().join("b.toml"), "").expect("a file");
        assert_ne!(of_folder, Stamps::of(folder.path()));
        fs::remove_file(&file).expect("a file");
        assert!(!seen.saved(&file), "it may come back");
    }
}
