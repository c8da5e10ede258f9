//! `boundwalk privilege`.

use std::io::{self, BufReader};
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use num_bigint::BigUint;

use boundwalk_analysis::privilege::{Observed, ObservedService, Privilege, privilege};
use boundwalk_analysis::{counted, notes};
use boundwalk_forwarding::Network;
use boundwalk_load::{
    FlowFormat, FlowLog, FlowOptions, FlowService, open_file, read_flow_log, reason,
};
use boundwalk_model::{Service, Site, TCP, UDP};
use boundwalk_packet::IntervalSet;
use boundwalk_render::{PrivilegeShown, privilege_document, privilege_json};

use super::format::{Format, USUAL, one_of, print};
use super::output::Output;
use super::progress::Progress;
use super::site::{SiteArguments, open};
use super::tighten::{self, Wish};
use super::verdict::Verdict;

/// What is permitted and nobody needs: permitted flows without those of needs and without those that logs show, by
/// rule and by pair of zones, with exact sizes; needs that are unmet or unused; observed flows that the model says
/// can't pass. --tighten suggests tighter rules as a patch.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Log of observed flows, several times for several: CSV or JSON lines with IPFIX names, or `conntrack -L`; - for
    /// standard input.
    #[arg(long, value_name = "FILE")]
    flows: Vec<PathBuf>,
    /// Form of the logs [default: judged by the first line].
    #[arg(long, value_name = "FORM")]
    flow_format: Option<LogForm>,
    /// Take records as they are: none is turned round as a reply.
    #[arg(long)]
    keep_direction: bool,
    /// Stop at the first line of a log that can't be read.
    #[arg(long)]
    strict: bool,
    /// Suggest tighter rules as a patch, proved to keep every need and observed flow that passes, and to permit nothing
    /// new.
    #[arg(long)]
    tighten: bool,
    /// With --tighten, the most rules in the place of one: few are easy to read, many permit less besides.
    #[arg(long, value_name = "NUMBER", default_value = "1", requires = "tighten",
        value_parser = clap::builder::RangedU64ValueParser::<usize>::new().range(1..))]
    most: usize,
    /// Write the tighter rules into the site file, in one step for each file.
    #[arg(long, requires = "tighten")]
    write: bool,
    /// Show every rule and every pair of zones.
    #[arg(long)]
    all: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  boundwalk privilege site.toml --all\n  \
    boundwalk privilege site.toml --tighten --most 3\n\
    Exit code 0: all that is permitted is used, 1: more is permitted or a need is unmet, 2: could not run.\n\
    A log shows what was used while it was kept, not what is needed: name needs of the year's end too.";

/// Distinct services of a log that are told apart exactly; what a scan of all ports leaves is not.
const MOST_SERVICES: usize = 3_000;
/// Rules and pairs that are shown unless all are asked for.
const MOST_SHOWN: usize = 10;

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum LogForm {
    /// Comma-separated values with a heading.
    Csv,
    /// A JSON object a line.
    JsonLines,
    /// The connection table of a kernel.
    Conntrack,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let (logs, observed) = match read_logs(&opened.site, arguments, output)? {
        Some(read) => read,
        None => return Ok(Verdict::Failed),
    };
    let services = services_of(&observed);
    let network = opened.limited(Network::asking(&opened.site, opened.today, &services));
    let found = privilege(&network, &observed);
    if arguments.tighten {
        let wish = Wish {
            most: arguments.most,
            format: arguments.format,
            write: arguments.write,
        };
        return tighten::run((&opened, &network), (&found, &observed), &wish, output);
    }
    let notes = notes(&network);
    let shown = PrivilegeShown {
        network: &network,
        sources: &opened.sources,
        privilege: &found,
        logs: &logs,
        notes: &notes,
    };
    // A page has room for all of them.
    let most = if arguments.all || arguments.format == Format::Markdown {
        usize::MAX
    } else {
        MOST_SHOWN
    };
    let document = || privilege_document(&shown, most);
    print(arguments.format, output, document, || {
        privilege_json(&shown)
    })?;
    Ok(verdict(&found))
}

fn verdict(found: &Privilege) -> Verdict {
    let wide = |rule: &boundwalk_analysis::privilege::RuleUse| {
        rule.measure.packets.used != rule.measure.packets.permitted
    };
    let unmet = |need: &boundwalk_analysis::privilege::NeedUse| {
        matches!(
            need.status,
            boundwalk_analysis::intent::IntentStatus::Broken(_)
        )
    };
    let clean = !found.rules.iter().any(wide) && !found.needs.iter().any(unmet);
    if clean && found.impossible_count == 0 {
        Verdict::Clean
    } else {
        Verdict::Findings
    }
}

/// Services that rules, translations, needs and expectations name: somebody listens there.
fn named_services(site: &Site) -> Vec<Service> {
    let filters = || site.routers.iter().filter_map(|router| router.filter());
    let rules = filters().flat_map(|filter| &filter.rules);
    let lines = filters().flat_map(|filter| &filter.destination_translations);
    let mut services: Vec<Service> = rules
        .filter_map(|rule| rule.services.as_ref())
        .chain(lines.clone().filter_map(|line| line.services.as_ref()))
        .chain(site.needs.iter().filter_map(|need| need.services.as_ref()))
        .chain(
            site.expectations
                .iter()
                .filter_map(|line| line.services.as_ref()),
        )
        .flat_map(|list| list.services.clone())
        .collect();
    for line in lines {
        let Some(port) = line.port else { continue };
        services.extend([TCP, UDP].map(|protocol| Service::Ports {
            protocol,
            source: IntervalSet::range(0, 65_535),
            destination: IntervalSet::point(u128::from(port)),
        }));
    }
    services
}

/// Services that must be told apart: those of the observed flows, the most frequent first.
fn services_of(observed: &[Observed]) -> Vec<Service> {
    let mut counts: rustc_hash::FxHashMap<ObservedService, usize> =
        rustc_hash::FxHashMap::default();
    for one in observed {
        *counts.entry(one.service).or_default() += 1;
    }
    let mut services: Vec<(ObservedService, usize)> = counts.into_iter().collect();
    services.sort_by_key(|(service, count)| (std::cmp::Reverse(*count), *service));
    services.truncate(MOST_SERVICES);
    services
        .iter()
        .map(|(service, _)| exact(*service))
        .collect()
}

fn exact(ObservedService { protocol, port }: ObservedService) -> Service {
    if protocol.has_ports() {
        return Service::Ports {
            protocol,
            source: IntervalSet::range(0, 65_535),
            destination: IntervalSet::point(u128::from(port)),
        };
    }
    if protocol.has_messages() {
        Service::Message {
            protocol,
            kind: (port >> 8) as u8,
            code: Some((port & 0xff) as u8),
        }
    } else {
        Service::Whole(protocol)
    }
}

type Read = (Vec<String>, Vec<Observed>);

/// Reads all logs; a line about each. `None` once it is said what is wrong.
fn read_logs(site: &Site, arguments: &Arguments, output: &mut Output) -> io::Result<Option<Read>> {
    let mut lines = Vec::new();
    let mut observed: Vec<Observed> = Vec::new();
    let options = FlowOptions {
        format: arguments.flow_format.map(|form| match form {
            LogForm::Csv => FlowFormat::Csv,
            LogForm::JsonLines => FlowFormat::JsonLines,
            LogForm::Conntrack => FlowFormat::Conntrack,
        }),
        keep_direction: arguments.keep_direction,
        strict: arguments.strict,
        services: named_services(site),
    };
    for path in &arguments.flows {
        let log = match read_log(path, &options) {
            Ok(log) => log,
            Err(message) => {
                output.refuse(&format!("{}: {message}", path.display()))?;
                return Ok(None);
            }
        };
        for bad in &log.first_malformed {
            let text = format!("{}:{}: {}\n", path.display(), bad.line, bad.what);
            output.complain(&boundwalk_render::escape_control(text.trim_end()))?;
            output.complain("\n")?;
        }
        if log.flows.is_empty() {
            output.refuse(&format!(
                "{}: none of its {} lines is a record that could be read, and nothing is concluded from it; leave it \
                 out, or name its form with --flow-format",
                path.display(),
                log.lines
            ))?;
            return Ok(None);
        }
        lines.push(told(&path.display().to_string(), &log));
        observed.extend(log.flows.iter().map(point));
    }
    // The same flow of two logs counts once.
    observed.sort_unstable();
    observed.dedup_by(|one, kept| {
        let same = (one.source, one.destination, one.service)
            == (kept.source, kept.destination, kept.service);
        if same {
            kept.records = kept.records.saturating_add(one.records);
        }
        same
    });
    Ok(Some((lines, observed)))
}

fn read_log(path: &Path, options: &FlowOptions) -> Result<FlowLog, String> {
    let progress = Progress::new("reading the log");
    if path.as_os_str() == "-" {
        let input = io::stdin().lock();
        return read_flow_log(input, options, &mut |_| {}).map_err(|error| error.to_string());
    }
    let file = open_file(path).map_err(|error| format!("can't read it: {}", reason(&error)))?;
    let total = file.metadata().map_or(0, |metadata| metadata.len());
    let input = BufReader::with_capacity(1 << 16, file);
    let mut shown = |bytes: u64| progress.update(bytes as usize, total.max(bytes) as usize);
    read_flow_log(input, options, &mut shown).map_err(|error| error.to_string())
}

fn told(name: &str, log: &FlowLog) -> String {
    let count = |value: u64| counted(&BigUint::from(value));
    let mut text = format!(
        "{name}: {} lines, {} records of {} distinct flows",
        count(log.lines),
        count(log.records),
        count(log.flows.len() as u64)
    );
    if log.turned > 0 {
        text.push_str(&format!(
            ", {} taken as replies and turned round",
            count(log.turned)
        ));
    }
    if log.malformed > 0 {
        text.push_str(&format!(
            ", {} malformed lines left out",
            count(log.malformed)
        ));
    }
    text
}

fn point(flow: &boundwalk_load::ObservedFlow) -> Observed {
    let (protocol, port) = match flow.service {
        FlowService::Port(protocol, port) => (protocol, port),
        FlowService::Message(protocol, kind, code) => {
            (protocol, u16::from(kind) << 8 | u16::from(code))
        }
        FlowService::Other(protocol) => (protocol, 0),
    };
    Observed {
        source: flow.family.address(flow.source),
        destination: flow.family.address(flow.destination),
        service: ObservedService { protocol, port },
        records: flow.records,
    }
}
