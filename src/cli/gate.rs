//! What stands between a finding and the exit code of a review: accepted findings and a baseline. And reviews for
//! servers that gate a deployment.

use std::io;
use std::path::{Path, PathBuf};

use clap::Args;

use boundwalk_analysis::intent::judge_expectations;
use boundwalk_checks::{Baseline, Judged, JudgedFindings};
use boundwalk_diagnostic::{Problem, Severity, Sources};
use boundwalk_forwarding::Network;
use boundwalk_load::{LARGEST_FILE, read_file, reason};
use boundwalk_render::{
    SarifShown, baseline_json, check_suite, expectation_outcomes, expectation_suite, file_suite,
    junit_xml, read_baseline, review_sarif,
};

use super::Verdict;
use super::site::Opened;
use super::write;

/// What was found before.
#[derive(Debug, Args)]
pub(super) struct BaselineArguments {
    /// Findings to live with for now, in a file that `--write-baseline` wrote: only others are shown at length and
    /// make the exit code 1.
    #[arg(long, value_name = "FILE", conflicts_with = "write_baseline")]
    baseline: Option<PathBuf>,
    /// Write every open finding into a file for `--baseline`, and let it count at once.
    #[arg(long, value_name = "FILE")]
    write_baseline: Option<PathBuf>,
}

impl BaselineArguments {
    /// The baseline of a file, where one is asked for. `Err`: why it can't be had.
    pub(super) fn read(&self) -> Result<Option<Baseline>, String> {
        let Some(path) = &self.baseline else {
            return Ok(None);
        };
        let name = path.to_string_lossy();
        let bytes = read_file(path, LARGEST_FILE).map_err(|error| match error.kind() {
            io::ErrorKind::NotFound => {
                format!("there is no baseline {name}; --write-baseline {name} writes one")
            }
            _ => format!("can't read the baseline {name}: {}", reason(&error)),
        })?;
        let text = String::from_utf8(bytes)
            .map_err(|_| format!("can't read the baseline {name}: it is not UTF-8 text"))?;
        let baseline = read_baseline(&text);
        let baseline = baseline.map_err(|error| format!("can't use the baseline {name}: {error}"));
        baseline.map(|baseline| Some(baseline.without_acceptances()))
    }

    /// Holds findings against what was read, or against themselves after they were written down. `Err`: why they
    /// can't be written.
    pub(super) fn hold<'s>(
        &self,
        judged: Judged<'s>,
        read: Option<Baseline>,
    ) -> Result<JudgedFindings<'s>, String> {
        let Some(path) = &self.write_baseline else {
            return Ok(JudgedFindings::new(judged, read.as_ref()));
        };
        let baseline = Baseline::of(&judged.open).without_acceptances();
        spare_others(path)?;
        write::put_text(path, &baseline_json(&baseline))?;
        Ok(JudgedFindings::new(judged, Some(&baseline)))
    }
}

/// A file that is something else is not written over: a slip of the hand must not cost a site file.
fn spare_others(path: &Path) -> Result<(), String> {
    let known = match read_file(path, LARGEST_FILE) {
        Ok(bytes) => match std::str::from_utf8(&bytes) {
            Ok(text) if text.trim().is_empty() => return Ok(()),
            Ok(text) => read_baseline(text)
                .map(|_| ())
                .map_err(|error| error.to_string()),
            Err(_) => Err("it is not UTF-8 text".to_owned()),
        },
        Err(error) if error.kind() == io::ErrorKind::FileTooLarge => Err(reason(&error)),
        // What can't be read can't be written over either, or is a pipe or a new file; writing says why.
        Err(_) => return Ok(()),
    };
    known.map_err(|error| {
        let name = path.to_string_lossy();
        format!("{name} is left alone: {error}; name another file, or remove this one first")
    })
}

/// The exit code that goes with a verdict.
fn exit_code(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Clean => 0,
        Verdict::Findings => 1,
        Verdict::Failed => 2,
    }
}

/// A review as SARIF; without findings where the site did not load.
pub(super) fn sarif(
    sources: &Sources,
    problems: &[Problem],
    reviewed: Option<&JudgedFindings<'_>>,
    verdict: Verdict,
) -> String {
    // Where the folder can't be told, absolute paths lose all but their last part.
    let here = std::env::current_dir().unwrap_or_default();
    review_sarif(&SarifShown {
        sources,
        problems,
        reviewed,
        exit_code: exit_code(verdict),
        here: Path::new(&here),
    })
}

/// A review as JUnit XML. `least`: the least severity that counts.
pub(super) fn junit(
    opened: &Opened,
    network: &Network<'_>,
    reviewed: &JudgedFindings<'_>,
    least: Option<Severity>,
) -> String {
    let (site, sources) = (&opened.site, &opened.sources);
    let judged = judge_expectations(network);
    let expectations = expectation_outcomes(sources, reviewed, &judged, least);
    let suites = [
        file_suite(sources, &opened.problems, least),
        check_suite(sources, reviewed, least),
        expectation_suite(&expectations),
    ];
    junit_xml(&named(&site.name), &suites)
}

/// What loading found, as JUnit XML, where the site did not load.
pub(super) fn junit_unloaded(sources: &Sources, problems: &[Problem]) -> String {
    let suite = file_suite(sources, problems, Some(Severity::Error));
    junit_xml(&named(""), &[suite])
}

fn named(site: &str) -> String {
    match site {
        "" => "boundwalk review".to_owned(),
        site => format!("boundwalk review: {site}"),
    }
}
