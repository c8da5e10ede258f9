//! A check of one's own beside those that ship: every permit names its owner.
//! `cargo run --example own_check -- policies/kettle-lane`; exit code 1 where a permit has none.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example prints"
)]

use std::error::Error;
use std::path::PathBuf;
use std::process::ExitCode;

use boundwalk::checks;
use boundwalk::diagnostic::{Severity, Span};
use boundwalk::forwarding::Network;
use boundwalk::load::load_path;
use boundwalk::model::{Action, Date, Site};
use boundwalk::render::finding_text;

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let path = std::env::args_os().nth(1).map(PathBuf::from);
    let path = path.ok_or("name a site file or a folder")?;
    let loaded = load_path(&path);
    let Some(site) = loaded.site else {
        let mut errors = loaded.problems.iter();
        let error = errors.find(|problem| problem.severity() == Severity::Error);
        return Err(error
            .map_or("it does not load", |error| &error.message)
            .into());
    };
    let without = permits_without_owner(&site);
    for (rule, place) in &without {
        println!(
            "{}: the permit `{rule}` has no owner",
            loaded.sources.place(*place)
        );
    }
    // Those that ship, from a certain gravity on.
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let mut findings = checks::run(&network);
    findings.retain(|finding| finding.severity() == Severity::Error);
    for finding in &findings {
        println!("{}", finding_text(&loaded.sources, finding, false, 80));
    }
    Ok(match without.is_empty() && findings.is_empty() {
        true => ExitCode::SUCCESS,
        false => ExitCode::from(1),
    })
}

/// Permits of all gateways that nobody answers for, with their places in the file.
fn permits_without_owner(site: &Site) -> Vec<(&str, Span)> {
    let filters = site.routers.iter().filter_map(|router| router.filter());
    let rules = filters.flat_map(|filter| &filter.rules);
    let permits = rules.filter(|rule| rule.action.value == Action::Permit && rule.owner.is_none());
    permits
        .map(|rule| (rule.name.value.as_str(), rule.name.span))
        .collect()
}
