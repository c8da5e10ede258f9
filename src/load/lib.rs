//! Floor 2: a site file, or a folder of them, to the valid-by-construction model.
//!
//! Everything that is wrong with an input is reported at once, each with its place and what to do about it
//! ([`Loaded::problems`]); a [`Site`] comes out exactly when none of it is an error. Nothing is skipped in
//! silence: whatever is not understood is an error.
//!
//! The way of a text: `files` reads it, `document` parses it, `outline` collects all names (so that
//! references work forward and across files), one file per part of the format reads the bodies, and
//! `crosscheck` looks at the whole. The other way, `edit` changes rules in a text and keeps the rest as it is. This floor asks nothing about reachability.

mod accepted;
mod address_group;
mod address_item;
mod alike;
mod ask;
mod baselines;
mod context;
mod crosscheck;
mod document;
mod edit;
mod files;
mod flow_log;
mod gateways;
mod hosts;
mod input;
mod intent;
mod interface_check;
mod keys;
mod kinds;
mod links;
mod literal;
mod matching;
mod name_index;
mod names;
mod party;
mod port_vlans;
mod ports;
mod prefix_index;
mod quote;
mod reader;
mod report;
mod results;
mod results_port;
mod routes;
mod rules;
mod segments;
mod service_group;
mod service_item;
mod service_names;
mod spelling;
mod switches;
mod text;
mod translations;
mod usage;

use std::path::Path;

use boundwalk_diagnostic::{FileId, Problem, Source, Sources};
use boundwalk_model::Site;

pub use ask::services;
pub use baselines::{AnyGateway, Baseline, BaselineLine, Nothing, baselines};
pub use edit::{Edit, EditError, EditedFile, RuleCopy, RuleField, apply_edits, load_edited};
pub use files::{Links, is_site_file, is_site_name};
pub use flow_log::{
    BadLine, ELEMENTS, FlowFormat, FlowLog, FlowLogError, FlowOptions, FlowService, ObservedFlow,
    read_flow_log,
};
pub use input::{LARGEST_FILE, open_file, packed_by, read_file, read_input, reason};
pub use keys::{Keys, TABLES};
pub use kinds::KINDS;
pub use results::{Observed, RESULT_WORDS, ResultRow, RowFault, read_results};
pub use service_names::{BuiltInService, built_in_services};
pub use spelling::meant;

use report::ProblemReport;

/// What came of an input.
#[derive(Clone, Debug)]
#[must_use]
pub struct Loaded {
    /// The site; `Some` exactly when no problem is an error.
    pub site: Option<Site>,
    /// The texts that were read; places point into them.
    pub sources: Sources,
    /// All problems, by file and position; those without a place come first, a note that some are left out
    /// last.
    pub problems: Vec<Problem>,
}

/// Loads a file, or the `*.toml` files of a folder merged in name order. Display names are `path` as given
/// (for a folder joined with the file name). A path that can't be read is a problem like any other.
///
/// A link that leaves its folder is refused: see [`load_path_with`].
pub fn load_path(path: &Path) -> Loaded {
    load_path_with(path, Links::Within)
}

/// The same with a say about links: whoever wrote the site may have made one that leads to what only its reader can
/// read, and messages show lines of what was read.
pub fn load_path_with(path: &Path, links: Links) -> Loaded {
    let mut report = ProblemReport::default();
    let sources = files::read_path(&mut report, path, links);
    finish(report, sources)
}

/// Loads one text; `name` is what messages call it.
pub fn load_text(name: &str, text: &str) -> Loaded {
    load_texts(vec![(name.to_owned(), text.to_owned())])
}

/// Loads several texts, each with its name, as if they were files of one folder.
pub fn load_texts(texts: Vec<(String, String)>) -> Loaded {
    let mut report = ProblemReport::default();
    let mut sources = Sources::default();
    for (name, text) in texts {
        if !files::too_large(&mut report, &name, text.len() as u64) {
            sources.add(Source::new(name, text));
        }
    }
    finish(report, sources)
}

/// The JSON Schema (draft 2020-12) of the format, for editors. It catches mistakes of shape; unknown names
/// and contradictions take a load.
pub fn schema() -> &'static str {
    include_str!("site.schema.json")
}

/// A commented site to start from; it loads without any problem.
pub fn starter() -> &'static str {
    include_str!("starter.toml")
}

fn finish(mut report: ProblemReport, sources: Sources) -> Loaded {
    let mut roots = Vec::new();
    for (number, source) in sources.files().iter().enumerate() {
        let file = FileId(number as u32);
        roots.push((file, document::parse(&mut report, file, source)));
    }
    // Without any text the reason may already be reported.
    let nothing = roots.is_empty() && report.failed();
    let (report, site) = if nothing {
        (report, Site::default())
    } else {
        build(report, &roots)
    };
    let site = (!report.failed()).then_some(site);
    let problems = report.finish(&sources);
    let site = site.map(|site| Site {
        remarks: remarks(&problems),
        ..site
    });
    Loaded {
        site,
        sources,
        problems,
    }
}

/// What is wrong with the text and can be lived with, for the checks: whatever names its subject.
fn remarks(problems: &[Problem]) -> Vec<Problem> {
    problems
        .iter()
        .filter(|problem| !problem.subject.is_empty())
        .cloned()
        .collect()
}

/// Names first, then bodies, each part after those it refers to.
fn build(
    report: ProblemReport,
    roots: &[(FileId, toml::de::DeTable<'_>)],
) -> (ProblemReport, Site) {
    let (mut cx, outline) = name_index::read(report, roots);
    segments::read(&mut cx, &outline);
    hosts::read_interfaces(&mut cx, &outline);
    gateways::read(&mut cx, &outline);
    service_group::read(&mut cx, &outline);
    address_group::read(&mut cx, &outline);
    hosts::read_routes(&mut cx, &outline);
    rules::read(&mut cx, &outline);
    translations::read(&mut cx, &outline);
    switches::read(&mut cx, &outline);
    links::read(&mut cx, &outline);
    intent::read(&mut cx, &outline);
    accepted::read(&mut cx, &outline);
    crosscheck::run(&mut cx);
    (cx.report, cx.site)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_starter_loads_without_any_problem() {
        let loaded = load_text("starter.toml", starter());
        assert_eq!(loaded.problems, []);
        assert!(loaded.site.is_some());
    }

    #[test]
    fn kinds_have_names_of_their_own() {
        let mut names: Vec<&str> = KINDS.iter().map(|kind| kind.name).collect();
        names.sort_unstable();
        let count = names.len();
        names.dedup();
        assert_eq!(names.len(), count);
    }
}
