//! `boundwalk draw`.

use std::io;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use boundwalk_analysis::{
    By, Bypasses, Cabling, Endpoint, Equipment, Map, Matrix, Question, Setting, TopologyTree,
    find_party,
};
use boundwalk_forwarding::layer2::Fabric;
use boundwalk_forwarding::{Network, Origin};
use boundwalk_model::{Family, SegmentId, Site, SwitchId};
use boundwalk_render::{
    Chain, Pen, Selection, Sheet, Trail, chain_svg, dot, logical_svg, map_json, map_page,
    matrix_svg, mermaid, outline_text, panels_svg, panels_text, site_svg,
};

use super::compute::{matrices, namings};
use super::format::{Form, Format, JSON, one_of};
use super::matrix::sheet_legend;
use super::output::Output;
use super::path::{Asked, walk};
use super::site::{Opened, SiteArguments, did_you_mean, open};
use super::verdict::Verdict;

/// Draw the site: for a terminal, as a picture (SVG), or as a graph for other programs.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// What to draw [default: all as text; way with --bypass or --path; else site].
    #[arg(long, value_name = "WHAT")]
    what: Option<What>,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
    /// Draw the shortest way round the gateway between two segments.
    #[arg(long, num_args = 2, value_names = ["FROM", "TO"], conflicts_with = "path")]
    bypass: Option<Vec<String>>,
    /// Draw the way of one packet; what `boundwalk path` takes.
    #[arg(long, num_args = 3, value_names = ["SOURCE", "TARGET", "SERVICE"])]
    path: Option<Vec<String>>,
    /// Rows and columns of the matrix.
    #[arg(long, value_name = "BY", default_value = "segment")]
    by: ByArgument,
    /// Draw with ASCII characters only; done by itself where the locale is not UTF-8.
    #[arg(long)]
    ascii: bool,
    /// File to write; without it the drawing goes to standard output.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes, with a switch added:\n  boundwalk draw site.toml\n  \
    boundwalk draw site.toml --what panels\n  \
    COLUMNS=120 boundwalk draw site.toml --ascii > site.txt\n  \
    boundwalk draw site.toml --format svg -o site.svg\n  \
    boundwalk draw site.toml --what logical --format dot\n  \
    boundwalk draw site.toml --what matrix --by zone --format svg -o matrix.svg\n  \
    boundwalk draw site.toml --path desks 10.20.10.200 ipp --format svg -o p.svg\n\
    Text: site, panels, all. SVG: all but `all`. DOT and Mermaid: site, logical.\n\
    Exit code 0, or 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum What {
    /// What is plugged into what.
    Site,
    /// Zones, segments and the gateways between them.
    Logical,
    /// Who can reach what.
    Matrix,
    /// The front panel of each switch.
    Panels,
    /// One way, hop by hop.
    Way,
    /// Site and panels.
    All,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum ByArgument {
    Zone,
    Segment,
}

/// What it offers.
const FORMS: &[Form] = &[
    (Format::Text, "For a terminal, or paper"),
    (Format::Svg, "A picture for documents and browsers"),
    (Format::Dot, "A graph in the DOT language"),
    (Format::Mermaid, "A Mermaid flowchart"),
    (Format::Markdown, "The flowchart and a table, for documents"),
    JSON,
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let what = what(arguments);
    if what == What::Panels && opened.site.switches.is_empty() {
        return output.failed("this site describes no switch, so there is no panel to draw");
    }
    let drawn = match arguments.format {
        Format::Text => text(arguments, &opened.site, what, output),
        Format::Svg => picture(arguments, &opened, what),
        format => graph(format, &opened.site, what),
    };
    match drawn {
        Ok(drawn) => opened.hand_over(&drawn, arguments.output.as_deref(), output),
        Err(message) => output.failed(&message),
    }
}

fn what(arguments: &Arguments) -> What {
    let way = arguments.bypass.is_some() || arguments.path.is_some();
    arguments.what.unwrap_or(match (way, arguments.format) {
        (true, _) => What::Way,
        (_, Format::Text) => What::All,
        _ => What::Site,
    })
}

fn text(arguments: &Arguments, site: &Site, what: What, output: &Output) -> Result<String, String> {
    let pen = Pen {
        ascii: arguments.ascii || !utf8_locale(|name| std::env::var(name).ok()),
        text_style: match arguments.output {
            None => output.text_style(),
            Some(_) => boundwalk_render::TextStyle {
                colour: false,
                ..output.text_style()
            },
        },
    };
    let fabric = Fabric::new(site);
    let cabling = Cabling::new(site, &fabric);
    let mut parts = Vec::new();
    if let What::Site | What::All = what {
        parts.push(outline_text(site, &TopologyTree::new(site, &cabling), pen));
    }
    if let What::Panels | What::All = what
        && !site.switches.is_empty()
    {
        parts.push(panels_text(site, &cabling, pen));
    }
    if parts.is_empty() {
        Err(
            "text draws site, panels and all; take --format svg (or `boundwalk matrix`, \
            `bypass` and `path`, which are text)"
                .to_owned(),
        )
    } else {
        Ok(parts.join("\n"))
    }
}

fn graph(format: Format, site: &Site, what: What) -> Result<String, String> {
    let fabric = Fabric::new(site);
    let cabling = Cabling::new(site, &fabric);
    let map = match what {
        What::Site => Map::physical(site, &cabling),
        What::Logical => Map::logical(site),
        _ => return Err("this form draws site and logical; take --format svg".to_owned()),
    };
    Ok(match format {
        Format::Dot => dot(site, &map),
        Format::Json => map_json(site, &map),
        Format::Markdown => map_page(site, &map).markdown(),
        _ => mermaid(site, &map),
    })
}

fn picture(arguments: &Arguments, opened: &Opened, what: What) -> Result<String, String> {
    let site = &opened.site;
    let fabric = Fabric::new(site);
    let cabling = Cabling::new(site, &fabric);
    let switches: Vec<SwitchId> = (0..site.switches.len()).map(SwitchId).collect();
    match what {
        What::Panels => return Ok(panels_svg(site, &cabling, &switches, true)),
        What::All => return Err("one picture at a time: name what to draw with --what".to_owned()),
        What::Site if arguments.bypass.is_none() && arguments.path.is_none() => {
            return Ok(site_svg(site, &cabling, None, true));
        }
        _ => {}
    }
    let network = opened.network();
    match what {
        What::Matrix => Ok(heat(&network, arguments.by)),
        What::Logical => Ok(zones(&network)),
        _ => way(arguments, opened, &network, &cabling, what),
    }
}

fn sheet_of(network: &Network<'_>, by: By, hostile: bool) -> (Sheet, Vec<Matrix>) {
    let question = Question::all(by, Family::V4, hostile);
    let all = matrices(network, &Family::ALL, &question);
    (Sheet::new(network, &all, &Selection::default()), all)
}

fn heat(network: &Network<'_>, by: ByArgument) -> String {
    let by = match by {
        ByArgument::Zone => By::Zone,
        ByArgument::Segment => By::Segment,
    };
    let (sheet, _) = sheet_of(network, by, true);
    let (key, codes) = sheet_legend(&sheet, &namings(network, &Family::ALL));
    matrix_svg(&sheet, &key, &codes, true)
}

fn zones(network: &Network<'_>) -> String {
    let (sheet, _) = sheet_of(network, By::Zone, false);
    let (_, codes) = sheet_legend(&sheet, &namings(network, &Family::ALL));
    logical_svg(network.site, &sheet, &codes, true)
}

/// A way alone, or on the picture of the site.
fn way(
    arguments: &Arguments,
    opened: &Opened,
    network: &Network<'_>,
    cabling: &Cabling<'_>,
    what: What,
) -> Result<String, String> {
    let site = &opened.site;
    let (chain, cuts) = match (&arguments.bypass, &arguments.path) {
        (Some(ends), _) => round(network, ends)?,
        (_, Some(asked)) => {
            let [source, target, service] = [0, 1, 2].map(|at| asked[at].as_str());
            let asked = Asked {
                source,
                target,
                service,
                via: None,
                from: None,
                source_port: None,
                families: &Family::ALL,
            };
            let result = walk(network, &asked)?;
            (Chain::path(network, &opened.sources, &result), Vec::new())
        }
        _ => {
            return Err(
                "name the way: --bypass FROM TO, or --path SOURCE TARGET SERVICE".to_owned(),
            );
        }
    };
    Ok(match what {
        What::Site => site_svg(
            site,
            cabling,
            Some(&Trail::new(site, cabling, &chain, &cuts)),
            true,
        ),
        _ => chain_svg(&chain, true),
    })
}

type Cuts = Vec<(Equipment, String)>;

/// The way round between two segments, and what would close it at which device.
fn round<'s>(network: &Network<'s>, ends: &[String]) -> Result<(Chain<'s>, Cuts), String> {
    let site = network.site;
    let (from, to) = (segment(site, &ends[0])?, segment(site, &ends[1])?);
    let (from, to) = (Origin::Segment(from), Origin::Segment(to));
    let asked = |one: Origin, other: Origin| one == from && other == to;
    let found = Bypasses::new(network, &asked);
    let Some(pair) = found.pairs.first() else {
        return Err(format!(
            "there is no way round the gateway from `{}` to `{}`",
            ends[0], ends[1]
        ));
    };
    let settings: Vec<Setting> = match &found.closing {
        Some(closing) => closing.sets.first().cloned().unwrap_or_default(),
        None => pair.opened_by.into_iter().collect(),
    };
    let cuts = boundwalk_render::cuts(site, &settings);
    let lines = cuts.iter().map(|(_, text)| text.clone()).collect();
    Ok((Chain::bypass(network, pair, lines), cuts))
}

fn segment(site: &Site, name: &str) -> Result<SegmentId, String> {
    let mut segments = find_party(site, name)
        .into_iter()
        .filter_map(|party| match party {
            Endpoint::Segment(id) => Some(id),
            _ => None,
        });
    segments.next().ok_or_else(|| {
        let hint = did_you_mean(site, name, |party| matches!(party, Endpoint::Segment(_)));
        format!("`{name}` is no segment of this site{hint}")
    })
}

/// Whether the locale says UTF-8: the first of the variables that is set decides (POSIX, chapter 8.2). Windows
/// has none of them, and a console that shows Unicode.
fn utf8_locale(variable: impl Fn(&str) -> Option<String>) -> bool {
    let mut set = ["LC_ALL", "LC_CTYPE", "LANG"]
        .into_iter()
        .filter_map(variable)
        .filter(|value| !value.is_empty());
    match set.next() {
        Some(locale) => {
            let locale = locale.to_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        }
        None => cfg!(windows),
    }
}

#[cfg(test)]
mod tests {
    use super::utf8_locale;

    fn decides(set: &[(&str, &str)]) -> bool {
        utf8_locale(|name| {
            let mut known = set.iter();
            let found = known.find(|(known, _)| *known == name);
            found.map(|(_, value)| (*value).to_owned())
        })
    }

    /// POSIX, chapter 8.2: LC_ALL before LC_CTYPE before LANG, empty values as if not set.
    #[test]
    fn the_locale_decides_about_line_characters() {
        assert!(decides(&[("LANG", "de_DE.UTF-8")]));
        assert!(decides(&[("LC_ALL", ""), ("LANG", "C.utf8")]));
        assert!(!decides(&[("LC_ALL", "C"), ("LANG", "de_DE.UTF-8")]));
        assert!(!decides(&[("LANG", "de_DE.ISO-8859-1")]));
    }
}
