//! What every command that reads a site has in common.

use std::io;
use std::path::{Path, PathBuf};

use clap::Args;

use boundwalk_analysis::{Endpoint, all_parties, find_party, party_name};
use boundwalk_diagnostic::{Problem, Severity, Sources};
use boundwalk_forwarding::Network;
use boundwalk_load::{Links, Loaded, load_path_with, meant};
use boundwalk_model::{Date, Family, Site};
use boundwalk_render::{problem_summary, problem_text, problems_json};

use super::Verdict;
use super::format::Format;
use super::output::Output;
use super::write::put_text;

/// The site and the day.
#[derive(Clone, Debug, Args)]
pub(super) struct SiteArguments {
    /// Site file, or a folder whose *.toml files make up the site.
    #[arg(value_name = "SITE")]
    site: PathBuf,
    #[command(flatten)]
    terms: TermArguments,
    #[command(flatten)]
    links: LinkArguments,
}

impl SiteArguments {
    /// Where the site is.
    pub(super) fn path(&self) -> &Path {
        &self.site
    }

    /// What comes of loading it.
    fn loaded(&self) -> Loaded {
        load_path_with(&self.site, self.links.asked())
    }

    /// Loads the site without a word.
    pub(super) fn read(&self) -> Result<Opened, Broken> {
        ready(self.loaded(), self.terms)
    }
}

/// The same for a command that can do without a site.
#[derive(Debug, Args)]
pub(super) struct OptionalSite {
    /// Site file, or a folder whose *.toml files make up the site.
    #[arg(value_name = "SITE")]
    site: Option<PathBuf>,
    #[command(flatten)]
    terms: TermArguments,
    #[command(flatten)]
    links: LinkArguments,
}

impl OptionalSite {
    /// The site, where one is named.
    pub(super) fn required(&self) -> Option<SiteArguments> {
        let site = self.site.clone()?;
        Some(SiteArguments {
            site,
            terms: self.terms,
            links: self.links,
        })
    }
}

/// What answers hold for, and how much they may take.
#[derive(Clone, Copy, Debug, Args)]
pub(super) struct TermArguments {
    /// Day for which rules that expire are judged [default: today].
    #[arg(long, value_name = "YYYY-MM-DD")]
    today: Option<Date>,
    /// How many sets of packets one question may hold at once, and how many devices they may visit. What needs more is
    /// unknown, and said to be. Raise it for an exact answer, lower it for a quick one [default: 200000].
    #[arg(long, value_name = "SETS", value_parser = clap::value_parser!(u32).range(1..))]
    effort: Option<u32>,
}

/// Which links are followed.
#[derive(Clone, Copy, Debug, Args)]
pub(super) struct LinkArguments {
    /// Follow symbolic links that leave the site's folder: only where you trust whoever made them.
    #[arg(long)]
    follow_links: bool,
}

impl LinkArguments {
    pub(super) fn asked(self) -> Links {
        if self.follow_links {
            Links::Anywhere
        } else {
            Links::Within
        }
    }
}

/// The family.
#[derive(Clone, Copy, Debug, Args)]
pub(super) struct FamilyArguments {
    /// Only IPv4.
    #[arg(long, conflicts_with = "ipv6")]
    ipv4: bool,
    /// Only IPv6.
    #[arg(long)]
    ipv6: bool,
}

impl FamilyArguments {
    pub(super) fn families(self) -> &'static [Family] {
        match (self.ipv4, self.ipv6) {
            (true, _) => &[Family::V4],
            (_, true) => &[Family::V6],
            _ => &Family::ALL,
        }
    }
}

/// A site that loaded.
pub(super) struct Opened {
    pub(super) site: Site,
    pub(super) sources: Sources,
    /// What the reading itself met. What checks report stands with the site.
    pub(super) problems: Vec<Problem>,
    pub(super) today: Date,
    /// What [`Network::limited_to`] is given; `None`: nothing.
    pub(super) effort: Option<u32>,
}

impl Opened {
    /// The network of the site.
    pub(super) fn network(&self) -> Network<'_> {
        self.limited(Network::new(&self.site, self.today))
    }

    /// A network of this or another version, within the effort that was asked for.
    pub(super) fn limited<'n>(&self, network: Network<'n>) -> Network<'n> {
        match self.effort {
            Some(effort) => network.limited_to(effort as usize),
            None => network,
        }
    }

    /// What loading noticed and nobody accepted.
    fn open_remarks(&self) -> impl Iterator<Item = &Problem> {
        let accepted = |remark: &Problem| {
            let (check, subject) = (remark.kind.name, &remark.subject);
            let mut entries = self.site.accepted.iter();
            entries.any(|entry| entry.holds(self.today) && entry.covers(check, subject))
        };
        self.site
            .remarks
            .iter()
            .filter(move |remark| !accepted(remark))
    }

    /// Prints what was made of the site, or writes it to a file: never to one that the site was read from.
    pub(super) fn hand_over(
        &self,
        text: &str,
        file: Option<&Path>,
        output: &mut Output,
    ) -> io::Result<Verdict> {
        let Some(file) = file else {
            output.print(text)?;
            return Ok(Verdict::Clean);
        };
        let own = |path: &Path| path.canonicalize().ok();
        let mut sources = self.sources.files().iter();
        if own(file).is_some() && sources.any(|source| own(Path::new(source.name())) == own(file)) {
            let name = file.display();
            return output.failed(&format!("{name} is part of the site; name another file"));
        }
        match put_text(file, text) {
            Ok(()) => Ok(Verdict::Clean),
            Err(message) => output.failed(&message),
        }
    }
}

/// One that does not load, and why.
pub(super) struct Broken {
    pub(super) sources: Sources,
    pub(super) problems: Vec<Problem>,
}

/// A site for a day, today unless told otherwise.
fn ready(loaded: Loaded, terms: TermArguments) -> Result<Opened, Broken> {
    let Loaded {
        site,
        sources,
        problems,
    } = loaded;
    let Some(site) = site else {
        return Err(Broken { sources, problems });
    };
    // The others are the site's remarks, which checks report.
    let mut problems = problems;
    problems.retain(|problem| problem.subject.is_empty());
    Ok(Opened {
        site,
        sources,
        problems,
        effort: terms.effort,
        today: terms
            .today
            .unwrap_or_else(|| jiff::ZonedDateTime::now().date()),
    })
}

/// Loads the site; says what is wrong where it can't. `show_warnings`: whether to print problems that do not
/// keep it from loading.
pub(super) fn open(
    arguments: &SiteArguments,
    format: Format,
    show_warnings: bool,
    output: &mut Output,
) -> io::Result<Option<Opened>> {
    let loaded = arguments.loaded();
    opened(loaded, arguments.terms, format, show_warnings, output)
}

/// The same; `unloaded` says what goes to standard output where the site does not load. Warnings are not printed.
pub(super) fn open_or(
    arguments: &SiteArguments,
    unloaded: impl Fn(&Sources, &[Problem]) -> String,
    output: &mut Output,
) -> io::Result<Option<Opened>> {
    let loaded = arguments.loaded();
    opened_or(loaded, arguments.terms, unloaded, false, output)
}

/// What was loaded, if it is a site; says what is wrong where it is not.
pub(super) fn opened(
    loaded: Loaded,
    terms: TermArguments,
    format: Format,
    show_warnings: bool,
    output: &mut Output,
) -> io::Result<Option<Opened>> {
    let unloaded = |sources: &Sources, problems: &[Problem]| {
        if format.is_json() {
            problems_json(sources, problems)
        } else {
            String::new()
        }
    };
    opened_or(loaded, terms, unloaded, show_warnings, output)
}

fn opened_or(
    loaded: Loaded,
    terms: TermArguments,
    unloaded: impl Fn(&Sources, &[Problem]) -> String,
    show_warnings: bool,
    output: &mut Output,
) -> io::Result<Option<Opened>> {
    let opened = match ready(loaded, terms) {
        Ok(opened) => opened,
        Err(Broken { sources, problems }) => {
            output.print(&unloaded(&sources, &problems))?;
            print_problems(&sources, &problems, Severity::Note, output)?;
            return Ok(None);
        }
    };
    if show_warnings {
        let mut shown = opened.problems.clone();
        shown.extend(opened.open_remarks().cloned());
        print_problems(&opened.sources, &shown, Severity::Warning, output)?;
    }
    Ok(Some(opened))
}

/// Problems that are shown at once: more say nothing that these don't.
const MOST_SHOWN: usize = 50;

/// Problems of at least a severity on standard error, with a line that counts them.
pub(super) fn print_problems(
    sources: &Sources,
    problems: &[Problem],
    least: Severity,
    output: &mut Output,
) -> io::Result<()> {
    let text_style = output.error_paint();
    let shown: Vec<Problem> = problems
        .iter()
        .filter(|problem| problem.severity() >= least)
        .cloned()
        .collect();
    // The last ones say what was not even read, where that is so.
    let left_out = shown.len().saturating_sub(MOST_SHOWN);
    let first = if left_out > 0 {
        MOST_SHOWN - 3
    } else {
        shown.len()
    };
    for problem in shown[..first].iter().chain(&shown[first + left_out..]) {
        output.complain(&problem_text(
            sources,
            problem,
            text_style.colour,
            text_style.columns,
        ))?;
        output.complain("\n")?;
    }
    if left_out > 0 {
        output.complain(&format!(
            "{left_out} more are not shown here: mend these first, or ask for `review --format json`\n\n"
        ))?;
    }
    if !shown.is_empty() {
        output.complain(&format!("{}\n", problem_summary(&shown)))?;
    }
    Ok(())
}

/// The parties of a list of names; `Err` is a message that names the nearest.
pub(super) fn parties(site: &Site, names: &[String]) -> Result<Vec<Endpoint>, String> {
    let mut found = Vec::new();
    for name in names {
        let mut named = find_party(site, name);
        // A zone and a segment of one name: the zone holds the segment, so the wider is meant.
        named.sort();
        match named.first() {
            Some(&party) => found.push(party),
            None => return Err(unknown(site, name)),
        }
    }
    Ok(found)
}

/// Why a gateway or router is no sender.
pub(super) fn starts_itself(name: &str) -> String {
    format!("`{name}` forwards: traffic that it starts itself is not modelled")
}

fn unknown(site: &Site, name: &str) -> String {
    let hint = did_you_mean(site, name, |_| true);
    format!("there is no zone, segment, host or gateway `{name}` in this site{hint}")
}

/// A hint with the nearest name of a party of some kind; empty where none is near.
pub(super) fn did_you_mean(site: &Site, name: &str, kind: fn(&Endpoint) -> bool) -> String {
    let names: Vec<_> = all_parties(site)
        .filter(kind)
        .map(|party| party_name(site, party))
        .collect();
    let near = nearest(name, names.iter().map(AsRef::as_ref));
    near.map_or_else(String::new, |near| format!("; {}", meant(name, near)))
}

/// The nearest of some names, if one is near.
pub(super) fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let best = known
        .map(|known| (strsim::damerau_levenshtein(name, known), known))
        .min_by_key(|(distance, _)| *distance)?;
    (best.0 <= name.chars().count().div_ceil(3)).then_some(best.1)
}
