//! `boundwalk explain`.

use std::io;

use clap::{Args, ValueEnum};

use boundwalk_checks::CHECKS;
use boundwalk_diagnostic::{Check, Kind};
use boundwalk_load::KINDS;
use boundwalk_render::{check_text, checks_json, checks_text, kind_text};

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
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

const EXAMPLES: &str = "Examples:\n  boundwalk explain\n  boundwalk explain ingress-filter-off";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
}

fn checks() -> impl Iterator<Item = &'static Check> + Clone {
    CHECKS.iter().map(|registered| registered.check)
}

/// Kinds of problems that are no check: they keep a site from loading, or are about the reading itself.
fn kinds() -> impl Iterator<Item = &'static Kind> {
    let known = |kind: &&Kind| checks().any(|check| check.name == kind.name);
    KINDS.iter().copied().filter(move |kind| !known(kind))
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let json = arguments.format == Format::Json;
    let Some(name) = &arguments.name else {
        let text = match json {
            true => checks_json(checks(), kinds()),
            false => list(output),
        };
        output.print(&text)?;
        return Ok(Verdict::Clean);
    };
    let check = checks().filter(|check| check.name == name);
    let kind = kinds().filter(|kind| kind.name == name);
    let found: (Vec<&Check>, Vec<&Kind>) = (check.collect(), kind.collect());
    let text = match (found.0.first(), found.1.first()) {
        (None, None) => {
            return output.failed(&unknown(name));
        }
        _ if json => checks_json(found.0.into_iter(), found.1.into_iter()),
        (Some(check), _) => check_text(check, output.paint()),
        (None, Some(kind)) => kind_text(kind, output.paint()),
    };
    output.print(&text)?;
    Ok(Verdict::Clean)
}

fn list(output: &Output) -> String {
    let paint = output.paint();
    let rest = "`boundwalk explain NAME` says all about one. Problems that loading reports have names too.";
    format!("{}\n{rest}\n", checks_text(checks(), paint))
}

fn unknown(name: &str) -> String {
    let names = checks().map(|check| check.name);
    let names = names.chain(kinds().map(|kind| kind.name));
    match nearest(name, names) {
        Some(near) => format!("there is no check `{name}`; did you mean `{near}`?"),
        None => format!("there is no check `{name}`; `boundwalk explain` lists them"),
    }
}
