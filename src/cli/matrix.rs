//! `boundwalk matrix`.

use std::io;

use clap::{Args, ValueEnum};

use boundwalk_analysis::{
    By, Endpoint, Matrix, Question, ServiceLabels, chosen, flows, party_name,
};
use boundwalk_forwarding::Network;
use boundwalk_load::services;
use boundwalk_model::{Family, Service, Site};
use boundwalk_packet::ClassSet;
use boundwalk_render::{
    Document, Legend, PairFlows, Selection, Sheet, Side, TextStyle, flows_document, matrix_csv,
    matrix_page, matrix_text, notes_document, write_matrix_json,
};

use super::compute::{matrices, namings};
use super::format::{Form, Format, JSON, MARKDOWN, TEXT, one_of};
use super::output::Output;
use super::site::{FamilyArguments, Opened, SiteArguments, open, parties, starts_itself};
use super::verdict::Verdict;

/// More rows than this are shown by zone unless asked otherwise: nobody reads them on a terminal.
const MOST_ROWS: usize = 40;

/// Show who can reach what: one row a sender, one column a target.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Rows and columns [default: segment; zone above 40 segments].
    #[arg(long, value_name = "WHAT")]
    by: Option<ByArgument>,
    /// Only these senders: zones, segments, hosts. Repeat or separate with commas.
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    from: Vec<String>,
    /// Only these targets: zones, segments, hosts, gateways.
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    to: Vec<String>,
    /// Only these services, as in a site file: https, tcp/8000-8010, icmp/8.
    #[arg(long, value_name = "SERVICE")]
    service: Vec<String>,
    /// Only what is answered.
    #[arg(long)]
    two_way: bool,
    #[command(flatten)]
    family: FamilyArguments,
    /// Leave out the comparison with a hostile device: faster.
    #[arg(long)]
    no_hostile: bool,
    /// List the flows of each cell: addresses, services, deciding rules, a witness packet.
    #[arg(long)]
    flows: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  boundwalk matrix site.toml\n  \
    boundwalk matrix site.toml --by zone --ipv6\n  \
    boundwalk matrix site.toml --from guests --to office --flows\n  \
    boundwalk matrix site.toml --service ssh,ipp --format csv\n\
    Exit code 0, or 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum ByArgument {
    Zone,
    Segment,
    Host,
}

/// What it offers.
const FORMS: &[Form] = &[
    TEXT,
    JSON,
    (Format::Csv, "A line a pair, for spreadsheets"),
    MARKDOWN,
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let asked = match asked(&opened.site, arguments) {
        Ok(asked) => asked,
        Err(message) => {
            return output.failed(&message);
        }
    };
    let network = opened.limited(Network::asking(&opened.site, opened.today, &asked.services));
    let families = arguments.family.families();
    let question = Question {
        from: asked.from.clone(),
        to: asked.to.clone(),
        services: service_classes(&network, &asked.services),
        ..Question::all(asked.by, Family::V4, !arguments.no_hostile)
    };
    let matrices = matrices(&network, families, &question);
    let selection = Selection {
        from: asked.from,
        to: asked.to,
        two_way_only: arguments.two_way,
    };
    let sheet = Sheet::new(&network, &matrices, &selection);
    if let Some(message) = nothing_left(&sheet, &selection) {
        return output.failed(&message);
    }
    let namings = namings(&network, families);
    let listed = arguments
        .flows
        .then(|| pair_flows(&network, &matrices, &selection));
    let shown = Shown {
        opened: &opened,
        sheet: &sheet,
        namings: &namings,
        listed: listed.as_deref(),
        grouped: asked.grouped,
    };
    if arguments.format == Format::Json {
        let described = (&opened.site, &opened.sources);
        output.write(|out| write_matrix_json(out, described, &sheet, &namings, shown.listed))?;
    } else {
        output.print(&shown.form(arguments.format, output.text_style()))?;
    }
    Ok(Verdict::Clean)
}

/// All that is to be shown, before it takes a form.
struct Shown<'a> {
    opened: &'a Opened,
    sheet: &'a Sheet,
    namings: &'a [ServiceLabels<'a>],
    /// `None`: not asked for.
    listed: Option<&'a [PairFlows]>,
    /// Whether rows were grouped because there are many.
    grouped: bool,
}

impl Shown<'_> {
    fn form(&self, format: Format, text_style: TextStyle) -> String {
        let (site, sources) = (&self.opened.site, &self.opened.sources);
        match format {
            Format::Csv => matrix_csv(site, sources, self.sheet, self.namings),
            Format::Markdown => {
                let (key, codes) = sheet_legend(self.sheet, self.namings);
                let listed = self.listed.map(|_| self.flows());
                matrix_page(self.sheet, &key, &codes, listed).markdown()
            }
            _ => self.text(text_style),
        }
    }

    fn text(&self, text_style: TextStyle) -> String {
        let site = &self.opened.site;
        let (key, codes) = sheet_legend(self.sheet, self.namings);
        let mut out = matrix_text(self.sheet, &key, &codes, text_style);
        if self.grouped {
            let count = site.segments.len();
            out.push_str(&format!(
                "\nThere are {count} segments, so zones are shown; --by segment shows all.\n"
            ));
        }
        if self.listed.is_some() {
            out.push('\n');
            out.push_str(&self.flows().text(text_style));
        }
        out.push_str(&notes_document(&self.sheet.notes).text(text_style));
        out
    }

    /// The flows of the pairs that are listed.
    fn flows(&self) -> Document<'_> {
        let mut pairs = Vec::new();
        for pair in self.listed.unwrap_or_default() {
            let mut namings = self.namings.iter();
            let naming = namings.find(|naming| naming.plan().family == pair.family);
            pairs.extend(naming.map(|naming| (naming, pair)));
        }
        flows_document(&self.opened.site, &self.opened.sources, &pairs)
    }
}

/// Why there is no row or column to show, if so: an empty table would read like "nothing passes".
fn nothing_left(sheet: &Sheet, selection: &Selection) -> Option<String> {
    let by = sheet.by;
    let option = match (sheet.rows.is_empty(), sheet.columns.is_empty()) {
        (false, false) => return None,
        (true, _) if selection.from.is_empty() => {
            return Some(format!("this site describes no {by}"));
        }
        (true, _) => "--from",
        (false, true) => "--to",
    };
    Some(format!(
        "{option} names no {by} of this site, and the matrix is by {by}"
    ))
}

struct Asked {
    by: By,
    /// Whether the rows were grouped because there are many.
    grouped: bool,
    from: Vec<Endpoint>,
    to: Vec<Endpoint>,
    services: Vec<Service>,
}

fn asked(site: &Site, arguments: &Arguments) -> Result<Asked, String> {
    let from = parties(site, &arguments.from)?;
    let to = parties(site, &arguments.to)?;
    if let Some(&own) = from
        .iter()
        .find(|party| matches!(party, Endpoint::Device(_)))
    {
        return Err(starts_itself(&party_name(site, own)));
    }
    let mut asked_services = Vec::new();
    for list in &arguments.service {
        if split_services(list).is_empty() {
            return Err(format!("--service `{list}` names no service"));
        }
    }
    let asked_for = arguments.service.iter();
    for text in asked_for.flat_map(|list| split_services(list)) {
        asked_services.extend(services(site, text)?);
    }
    let named = |wanted: fn(&Endpoint) -> bool| from.iter().chain(&to).any(wanted);
    let many = site.segments.len() > MOST_ROWS && arguments.format == Format::Text;
    let by = match arguments.by {
        Some(ByArgument::Zone) => By::Zone,
        Some(ByArgument::Segment) => By::Segment,
        Some(ByArgument::Host) => By::Host,
        None if named(|party| matches!(party, Endpoint::Host(_))) => By::Host,
        None if many && from.is_empty() && to.is_empty() => By::Zone,
        None => By::Segment,
    };
    let grouped = arguments.by.is_none() && by == By::Zone;
    Ok(Asked {
        by,
        grouped,
        from,
        to,
        services: asked_services,
    })
}

/// A comma separates services, but also the ports of one: `https,tcp/80,443` is two services.
fn split_services(list: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut start = 0;
    for (at, _) in list.match_indices(',') {
        let digit = list[at + 1..].starts_with(|next: char| next.is_ascii_digit());
        if !digit {
            parts.push(list[start..at].trim());
            start = at + 1;
        }
    }
    parts.push(list[start..].trim());
    parts.retain(|part| !part.is_empty());
    parts
}

/// The classes of the services asked for; `None` where none was.
pub(super) fn service_classes(network: &Network<'_>, services: &[Service]) -> Option<ClassSet> {
    let boxes = |family: Family| {
        services
            .iter()
            .filter_map(move |service| service.packets(family))
    };
    let boxes: Vec<_> = boxes(Family::V4).chain(boxes(Family::V6)).collect();
    (!services.is_empty()).then(|| network.classes.of(&boxes))
}

pub(super) fn sheet_legend(
    sheet: &Sheet,
    namings: &[ServiceLabels<'_>],
) -> (Legend, Vec<Vec<String>>) {
    let of = |family: Family| namings.iter().find(|naming| naming.plan().family == family);
    Legend::new(sheet, of(Family::V4), of(Family::V6))
}

/// The flows of every pair shown, pair by pair; zones are opened into their segments.
fn pair_flows(network: &Network<'_>, matrices: &[Matrix], selection: &Selection) -> Vec<PairFlows> {
    let site = network.site;
    let open = |parties: &[Endpoint], choice: &[Endpoint]| -> Vec<Endpoint> {
        parties
            .iter()
            .copied()
            .filter(|&party| chosen(site, choice, party))
            .flat_map(|party| opened_zone(site, party))
            .collect()
    };
    let mut listed = Vec::new();
    for matrix in matrices {
        let rows = open(&matrix.rows, &selection.from);
        let columns = open(&matrix.columns, &selection.to);
        // Of a single pair it is worth saying that nothing passes.
        let alone = rows.len() == 1 && columns.len() == 1;
        for &from in &rows {
            for &to in columns.iter().filter(|&&to| to != from) {
                let pair = pair_flow(network, &matrix.question, (from, to));
                if alone || !pair.flows.is_empty() || !pair.complete {
                    listed.push(pair);
                }
            }
        }
    }
    listed
}

pub(super) fn pair_flow(
    network: &Network<'_>,
    question: &Question,
    (from, to): (Endpoint, Endpoint),
) -> PairFlows {
    let services = question.services.as_ref();
    let (found, coverage) = flows(network, question.family, from, to, services);
    PairFlows {
        from: Side::new(network.site, from),
        to: Side::new(network.site, to),
        family: question.family,
        flows: found,
        complete: coverage.is_complete(),
    }
}

pub(super) fn opened_zone(site: &Site, party: Endpoint) -> Vec<Endpoint> {
    match party {
        Endpoint::Zone(zone) => site.segments_in(zone).map(Endpoint::Segment).collect(),
        other => vec![other],
    }
}
