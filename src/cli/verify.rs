//! `boundwalk verify`.

use std::io;
use std::path::{Path, PathBuf};

use clap::Args;

use boundwalk_analysis::probes::{Judgement, Unpredictable, Verified, unforeseen_text, verify};
use boundwalk_load::{LARGEST_FILE, RowFault, read_file, read_input, read_results};
use boundwalk_render::{VerifiedShown, escape_control, verified_document, verified_json};

use super::format::{Format, USUAL, one_of, print};
use super::output::Output;
use super::site::{SiteArguments, open};
use super::verdict::Verdict;

/// Hold the results of a test against the model: which differ, what could explain it, and what those have in
/// common.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// The CSV file of `boundwalk probes` with its column `result` filled in: answered, arrived, refused, rejected,
    /// nothing; empty: not done. `-` reads standard input.
    #[arg(value_name = "RESULTS")]
    results: PathBuf,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk probes site.toml --format csv | boundwalk verify site.toml -\n\
    The probes of that one are not sent yet: first fill in the column `result`.\n\
    Exit code 0: all as the model says, 1: some differ, 2: could not run, or nothing is filled in yet.";

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let (file, bytes) = read(&arguments.results);
    let bytes = match bytes {
        Ok(bytes) => bytes,
        Err(error) => {
            return output.failed(&format!("can't read {file}: {error}"));
        }
    };
    let rows = match read_results(&bytes, &opened.site) {
        Ok(rows) => rows,
        Err(faults) => return complain(&file, &faults, output),
    };
    let network = opened.network();
    let verified = verify(&network, &rows);
    let faults = impossible(&verified);
    if !faults.is_empty() {
        return complain(&file, &faults, output);
    }
    let shown = VerifiedShown {
        network: &network,
        file: &file,
        verified: &verified,
    };
    let document = || verified_document(&shown);
    print(arguments.format, output, document, || verified_json(&shown))?;
    if verified.nothing_sent() {
        let message = format!(
            "no result of {file} is filled in, so nothing was compared: send the probes and fill in the column `result`"
        );
        return output.failed(&message);
    }
    Ok(if verified.clean() {
        Verdict::Clean
    } else {
        Verdict::Findings
    })
}

/// The name to call the results by, and what is in them.
fn read(path: &Path) -> (String, io::Result<Vec<u8>>) {
    if path != Path::new("-") {
        return (path.display().to_string(), read_file(path, LARGEST_FILE));
    }
    ("standard input".to_owned(), read_input(LARGEST_FILE))
}

/// Rows of packets that no device of the site can have sent.
fn impossible(verified: &Verified<'_>) -> Vec<RowFault> {
    let faults = verified.rows.iter().filter_map(|row| match row.judgement {
        Judgement::Unclear(
            Unpredictable::DependsOnRouter
            | Unpredictable::DependsOnRequest
            | Unpredictable::DependsOnFault,
        ) => None,
        Judgement::Unclear(why) => Some(RowFault {
            line: row.row.line,
            what: format!("{}: {}", row.packet, unforeseen_text(why)),
        }),
        _ => None,
    });
    faults.collect()
}

/// Lines that are named when they can't be read.
const MOST_FAULTS: usize = 50;

fn complain(file: &str, faults: &[RowFault], output: &mut Output) -> io::Result<Verdict> {
    for fault in faults.iter().take(MOST_FAULTS) {
        let line = escape_control(&format!("{file}:{}: {}", fault.line, fault.what));
        output.complain(&format!("{line}\n"))?;
    }
    let left_out = faults.len().saturating_sub(MOST_FAULTS);
    if left_out > 0 {
        output.complain(&format!("{left_out} more lines can't be read\n"))?;
    }
    Ok(Verdict::Failed)
}
