//! `boundwalk ports`.

use std::io;

use clap::Args;

use boundwalk_analysis::{Cabling, Difference, Equipment, Worksheet, differences};
use boundwalk_forwarding::layer2::Fabric;
use boundwalk_model::{Site, SwitchId};
use boundwalk_render::{Worksheets, ports_csv, ports_json, ports_page, ports_text};

use super::format::{Form, Format, JSON, MARKDOWN, TEXT, one_of};
use super::output::Output;
use super::site::{SiteArguments, nearest, open};
use super::verdict::Verdict;

/// Print a worksheet for each switch to set it by: what each port carries and what is plugged in, and cables
/// whose two ends differ.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Only these switches. Repeat or separate with commas.
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    switch: Vec<String>,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on a site with the switches `core` and `floor`:\n  boundwalk ports site.toml\n  \
    boundwalk ports site.toml --switch core\n  \
    boundwalk ports site.toml --switch core,floor --format csv\n\
    Exit code 0: the ends of all cables agree, 1: some differ, 2: could not run.";

/// What it offers.
const FORMS: &[Form] = &[
    TEXT,
    MARKDOWN,
    (Format::Csv, "A line a port, for spreadsheets"),
    JSON,
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let site = &opened.site;
    let switches = match switches(site, &arguments.switch) {
        Ok(switches) => switches,
        Err(message) => {
            return output.failed(&message);
        }
    };
    let fabric = Fabric::new(site);
    let cabling = Cabling::new(site, &fabric);
    let sheets: Vec<Worksheet<'_>> = switches
        .iter()
        .map(|&id| Worksheet::new(site, &cabling, id))
        .collect();
    let at = |difference: &Difference<'_>| {
        let mut ends = difference.ends.iter();
        ends.any(|end| matches!(end.device, Equipment::Switch(id) if switches.contains(&id)))
    };
    let mut differences = differences(site, &cabling);
    differences.retain(at);
    let shown = Worksheets {
        site,
        fabric: &fabric,
        sheets: &sheets,
        differences: &differences,
    };
    output.print(&match arguments.format {
        Format::Csv => ports_csv(&shown),
        Format::Json => ports_json(&shown),
        Format::Markdown => ports_page(&shown).markdown(),
        _ => ports_text(&shown, output.text_style()),
    })?;
    Ok(if differences.is_empty() {
        Verdict::Clean
    } else {
        Verdict::Findings
    })
}

/// The switches asked for, each once; all where none is named.
fn switches(site: &Site, names: &[String]) -> Result<Vec<SwitchId>, String> {
    let all = || {
        site.switches
            .iter()
            .map(|switch| switch.name.value.as_str())
    };
    if site.switches.is_empty() {
        return Err("this site describes no switch".to_owned());
    }
    if names.is_empty() {
        return Ok((0..site.switches.len()).map(SwitchId).collect());
    }
    let mut found = Vec::new();
    for name in names {
        let Some(at) = all().position(|known| known == name) else {
            let near = nearest(name, all());
            let hint = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
            return Err(format!("there is no switch `{name}` in this site{hint}"));
        };
        if !found.contains(&SwitchId(at)) {
            found.push(SwitchId(at));
        }
    }
    Ok(found)
}
