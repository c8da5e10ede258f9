//! `boundwalk explain`.

use std::io;

use clap::Args;

use boundwalk_checks::CHECKS;
use boundwalk_diagnostic::{Check, Kind};
use boundwalk_load::KINDS;
use boundwalk_render::{check_document, checks_document, checks_json, kind_document};

use super::format::{Format, USUAL, one_of, print};
use super::output::Output;
use super::site::nearest;
use super::verdict::Verdict;

/// Explain a check: what it finds, why it matters, when it is fine, what to do, with an example. Without a name,
/// list all checks.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    /// Check, or kind of problem, as it stands in brackets behind `error`, `warning` or `note`.
    #[arg(value_name = "NAME")]
    name: Option<String>,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples:\n  boundwalk explain\n  boundwalk explain ingress-filter-off";

fn checks() -> impl Iterator<Item = &'static Check> + Clone {
    CHECKS.iter().map(|registered| registered.check)
}

/// Kinds of problems that are no check: they keep a site from loading, or are about the reading itself.
fn kinds() -> impl Iterator<Item = &'static Kind> {
    let known = |kind: &&Kind| checks().any(|check| check.name == kind.name);
    KINDS.iter().copied().filter(move |kind| !known(kind))
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(name) = &arguments.name else {
        let document = || checks_document(checks());
        let json = || checks_json(checks(), kinds());
        print(arguments.format, output, document, json)?;
        return Ok(Verdict::Clean);
    };
    let check = checks().find(|check| check.name == name);
    let kind = kinds().find(|kind| kind.name == name);
    let json = || checks_json(check.into_iter(), kind.into_iter());
    match (check, kind) {
        (None, None) => return output.failed(&unknown(name)),
        (Some(check), _) => print(arguments.format, output, || check_document(check), json)?,
        (None, Some(kind)) => print(arguments.format, output, || kind_document(kind), json)?,
    }
    Ok(Verdict::Clean)
}

fn unknown(name: &str) -> String {
    let names = checks()
        .map(|check| check.name)
        .chain(kinds().map(|kind| kind.name));
    match nearest(name, names) {
        Some(near) => format!("there is no check `{name}`; did you mean `{near}`?"),
        None => format!("there is no check `{name}`; `boundwalk explain` lists them"),
    }
}
