//! `boundwalk rules`.

use std::io;

use clap::Args;

use boundwalk_analysis::notes;
use boundwalk_analysis::rules::{GatewayReview, RuleSheet};
use boundwalk_checks::{Area, run_some};
use boundwalk_diagnostic::{Finding, Severity};
use boundwalk_forwarding::Network;
use boundwalk_model::{Family, RouterId, Site};
use boundwalk_render::{
    RulesShown, rule_document, rule_json, rules_csv, rules_document, rules_json, rules_page,
};

use super::clean::{self, Wish};
use super::compute::namings;
use super::format::{Form, Format, JSON, MARKDOWN, TEXT, one_of, print};
use super::output::Output;
use super::progress::Progress;
use super::site::{SiteArguments, nearest, open};
use super::threshold::Threshold;
use super::verdict::Verdict;

/// Review the rules of gateways: which do nothing, which hide others, which permit more than there is.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Gateways to look at [default: all].
    #[arg(value_name = "GATEWAY")]
    gateways: Vec<String>,
    /// Show one rule, by name or by its number in the list from 1: what it still decides, who hides it, what it
    /// hides, which pairs of segments it opens.
    #[arg(long, value_name = "RULE")]
    rule: Option<String>,
    /// Suggest a shorter list as a patch: without rules that repeat others or change nothing, neighbours joined. It
    /// is proved to decide every packet alike before it is shown.
    #[arg(long, conflicts_with = "rule")]
    clean: bool,
    /// Write the shorter list into the site file, in one step for each file.
    #[arg(long, requires = "clean")]
    write: bool,
    /// Show every finding with its place, not only the first few of each check.
    #[arg(long)]
    all: bool,
    /// Least severity that makes the exit code 1.
    #[arg(long, value_name = "SEVERITY", default_value = "warning")]
    fail_on: Threshold,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(FORMS))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  boundwalk rules site.toml\n  \
    boundwalk rules site.toml edge --all\n  \
    boundwalk rules site.toml --rule 1\n  \
    boundwalk rules site.toml --format csv\n  \
    boundwalk rules site.toml --clean\n\
    Exit code 0: no finding of that severity (warning, unless told otherwise), 1: some, 2: could not run.";

/// What it offers.
const FORMS: &[Form] = &[
    TEXT,
    MARKDOWN,
    (Format::Csv, "A line a rule, for spreadsheets"),
    JSON,
];

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = opened.network();
    let asked = match gateways(&opened.site, &arguments.gateways) {
        Ok(asked) => asked,
        Err(message) => return output.failed(&message),
    };
    let gateway_reviews = gateway_reviews(&network, &asked);
    if arguments.clean {
        if arguments.format == Format::Csv {
            return output.failed("a patch is shown as text, markdown or json");
        }
        let wish = Wish {
            format: arguments.format,
            write: arguments.write,
        };
        return clean::run(&opened, &gateway_reviews, wish, output);
    }
    let findings = run_some(&network, &gateway_reviews, Area::is_rules);
    let findings = of_books(&gateway_reviews, findings);
    let namings = namings(&network, &Family::ALL);
    let notes = notes(&network);
    let shown = RulesShown {
        site: &opened.site,
        sources: &opened.sources,
        gateway_reviews: &gateway_reviews,
        findings: &findings,
        namings: &namings,
        notes: &notes,
    };
    match &arguments.rule {
        Some(name) => match find(&gateway_reviews, name) {
            Ok((gateway_review, rule)) => {
                one(arguments, output, &network, &shown, (gateway_review, rule))?;
            }
            Err(message) => return output.failed(&message),
        },
        None => all(arguments, output, &shown)?,
    }
    let grave = |finding: &Finding| arguments.fail_on.met_by(finding.severity());
    Ok(if findings.iter().any(grave) {
        Verdict::Findings
    } else {
        Verdict::Clean
    })
}

/// The whole lists.
fn all(arguments: &Arguments, output: &mut Output, shown: &RulesShown<'_>) -> io::Result<()> {
    let document = || match arguments.format {
        Format::Markdown => rules_page(shown),
        _ => rules_document(shown, arguments.all),
    };
    match arguments.format {
        Format::Csv => output.print(&rules_csv(shown)),
        format => print(format, output, document, || rules_json(shown)),
    }
}

fn one(
    arguments: &Arguments,
    output: &mut Output,
    network: &Network<'_>,
    shown: &RulesShown<'_>,
    (gateway_review, rule): (&GatewayReview<'_>, usize),
) -> io::Result<()> {
    let sheet = RuleSheet::new(network, gateway_review, rule);
    let findings = shown.findings_of(gateway_review, rule);
    let document = || rule_document(shown, gateway_review, &sheet, &findings);
    match arguments.format {
        // A single rule has no table of its own: it is the line of the whole table.
        Format::Csv => output.print(&rules_csv(shown)),
        format => print(format, output, document, || {
            rule_json(shown, gateway_review, &sheet)
        }),
    }
}

/// The gateways asked for, in the order of the site; all where none is named.
fn gateways(site: &Site, names: &[String]) -> Result<Vec<RouterId>, String> {
    let filtering = || {
        site.routers
            .iter()
            .enumerate()
            .filter(|(_, router)| router.filter().is_some())
    };
    let known = || filtering().map(|(_, router)| router.name.value.as_str());
    if known().next().is_none() {
        return Err("no gateway of this site filters".to_owned());
    }
    for name in names {
        if !known().any(|known| known == name) {
            let near = nearest(name, known());
            let hint = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
            return Err(format!(
                "there is no filtering gateway `{name}` in this site{hint}"
            ));
        }
    }
    let wanted = |name: &str| names.is_empty() || names.iter().any(|asked| asked == name);
    Ok(filtering()
        .filter(|(_, router)| wanted(&router.name.value))
        .map(|(number, _)| RouterId(number))
        .collect())
}

fn gateway_reviews<'n>(network: &'n Network<'n>, asked: &[RouterId]) -> Vec<GatewayReview<'n>> {
    let progress = Progress::new("looking at the rules");
    let gateway_reviews = asked.iter().enumerate().filter_map(|(done, &id)| {
        progress.update(done, asked.len());
        GatewayReview::new(network, id)
    });
    gateway_reviews.collect()
}

/// Findings that speak of a gateway asked for: those at one of its rules or in its own lines.
fn of_books(gateway_reviews: &[GatewayReview<'_>], mut findings: Vec<Finding>) -> Vec<Finding> {
    let names: Vec<&str> = gateway_reviews
        .iter()
        .map(|gateway_review| gateway_review.router.name.value.as_str())
        .collect();
    findings.retain(|finding| {
        let mut subjects = finding.subjects.iter();
        let at_rule = |gateway_review: &GatewayReview<'_>| {
            let mut rules = gateway_review.rules.iter();
            rules.any(|rule| Some(rule.name.span) == finding.span)
        };
        subjects.any(|subject| {
            let gateway = subject.split([' ', ':']).next().unwrap_or_default();
            names.contains(&gateway)
        }) || gateway_reviews.iter().any(at_rule)
    });
    findings
}

/// The rule of a name or number; where several gateways have it, the first.
fn find<'b, 'n>(
    gateway_reviews: &'b [GatewayReview<'n>],
    name: &str,
) -> Result<(&'b GatewayReview<'n>, usize), String> {
    let mut named = gateway_reviews
        .iter()
        .filter_map(|gateway_review| Some((gateway_review, gateway_review.find(name)?)));
    if let Some(found) = named.next() {
        return match named.next() {
            None => Ok(found),
            Some((other, _)) => Err(format!(
                "{} and {} both have a rule \"{name}\": name the gateway too",
                found.0.router.name.value, other.router.name.value
            )),
        };
    }
    let number = name
        .parse::<usize>()
        .ok()
        .and_then(|number| number.checked_sub(1));
    match (number, gateway_reviews) {
        (Some(number), [gateway_review]) if number < gateway_review.rules.len() => {
            return Ok((gateway_review, number));
        }
        (Some(_), [_, _, ..]) => {
            return Err("a number needs a gateway: name one before `--rule`".to_owned());
        }
        _ => {}
    }
    let all = gateway_reviews
        .iter()
        .flat_map(|gateway_review| gateway_review.rules.iter());
    let near = nearest(name, all.map(|rule| rule.name.value.as_str()));
    let hint = near.map_or_else(String::new, |near| format!("; did you mean \"{near}\"?"));
    Err(format!("there is no rule \"{name}\"{hint}"))
}

/// Whether a severity is one to fail on.
impl Threshold {
    fn met_by(self, severity: Severity) -> bool {
        self.least().is_some_and(|least| severity >= least)
    }
}
