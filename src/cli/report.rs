//! `boundwalk report`.

use std::io;
use std::path::PathBuf;

use clap::Args;

use boundwalk_analysis::intent::{JudgedExpectation, JudgedNeed, judge_expectations, judge_needs};
use boundwalk_analysis::privilege::{Privilege, privilege};
use boundwalk_analysis::rules::{GatewayReview, gateway_reviews};
use boundwalk_analysis::{
    By, Bypasses, Cabling, EFFORT, Families, Matrix, Question, ServiceLabels, Worksheet,
    differences, notes,
};
use boundwalk_checks::{Area, JudgedFindings};
use boundwalk_diagnostic::{Finding, Severity};
use boundwalk_forwarding::Network;
use boundwalk_model::{Family, PerFamily, SegmentId, SwitchId};
use boundwalk_render::{
    IntentShown, Isolated, MOST_SEGMENTS, PairFlows, PrivilegeShown, ReportShown, RulesShown,
    Selection, Sheet, Worksheets, report_html, reviewed_summary,
};

use super::compute::matrices;
use super::isolation::{Found, answers};
use super::matrix::{pair_flow, sheet_legend};
use super::output::Output;
use super::site::{Opened, SiteArguments, open_or, print_problems};
use super::summary::{all_of, summary};
use super::threshold::{Threshold, verdict};
use super::verdict::Verdict;

/// Write a report to hand over: one page that opens in any browser and asks for nothing from outside.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// File to write; without it the page goes to standard output.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Least severity that makes the exit code 1.
    #[arg(long, value_name = "SEVERITY", default_value = "never")]
    fail_on: Threshold,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk report site.toml -o report.html\n  \
    boundwalk report site.toml --fail-on error > report.html\n\
    It tells all that the site file tells, rules and addresses among it: hand it to people who may know that.\n\
    Exit code 0, 1: a problem or finding of the severity asked for, 2: could not run.";

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open_or(&arguments.site, |_, _| String::new(), output)? else {
        return Ok(Verdict::Failed);
    };
    print_problems(&opened.sources, &opened.problems, Severity::Warning, output)?;
    let network = opened.network();
    let gateway_reviews = gateway_reviews(&network);
    let findings = boundwalk_checks::run_some(&network, &gateway_reviews, |_| true);
    let judged = boundwalk_checks::accept(&opened.site, opened.today, findings);
    let reviewed = JudgedFindings::new(judged, None);
    let result = verdict((&opened.problems, &reviewed.open), arguments.fail_on);
    let page = page(&opened, &network, &gateway_reviews, &reviewed);
    match opened.hand_over(&page, arguments.output.as_deref(), output)? {
        Verdict::Failed => Ok(Verdict::Failed),
        _ => Ok(result),
    }
}

/// What the matrices and pictures are made of.
struct Reach<'n> {
    sheet: Sheet,
    zones: Sheet,
    all: Vec<Matrix>,
    by_zone: Vec<Matrix>,
    namings: PerFamily<ServiceLabels<'n>>,
}

impl<'n> Reach<'n> {
    fn new(network: &'n Network<'n>) -> Self {
        let question = Question::all(By::Segment, Family::V4, true);
        let all = matrices(network, &Family::ALL, &question);
        let by_zone: Vec<Matrix> = all.iter().map(|matrix| matrix.by_zones(network)).collect();
        let choice = Selection::default();
        Self {
            sheet: Sheet::new(network, &all, &choice),
            zones: Sheet::new(network, &by_zone, &choice),
            all,
            by_zone,
            namings: PerFamily::new(|family| ServiceLabels::new(network, family)),
        }
    }

    /// Flows of each pair through which something passes, where they are few enough.
    fn flows(&self, network: &Network<'_>) -> Option<Vec<(usize, usize, Vec<PairFlows>)>> {
        let both = Families::new(&self.all);
        if both.rows.len() > MOST_SEGMENTS {
            return None;
        }
        let mut listed = Vec::new();
        for (row, &from) in both.rows.iter().enumerate() {
            for (column, &to) in both.columns.iter().enumerate() {
                let cells = both.cells(row, column);
                let families: Vec<PairFlows> = cells
                    .filter(|(_, cell)| !cell.some.is_empty())
                    .map(|(matrix, _)| pair_flow(network, &matrix.question, (from, to)))
                    .collect();
                if !families.is_empty() {
                    listed.push((row, column, families));
                }
            }
        }
        Some(listed)
    }
}

/// What is asked of rules, needs and expectations.
struct Judged<'n> {
    privilege: Option<Privilege>,
    expectations: Vec<JudgedExpectation<'n>>,
    needs: Vec<JudgedNeed<'n>>,
    isolated: Vec<Found>,
    of_rules: Vec<Finding>,
    around: Bypasses,
}

impl<'n> Judged<'n> {
    fn new(network: &'n Network<'n>, reviewed: &JudgedFindings<'_>) -> Self {
        let site = network.site;
        let claims: Vec<SegmentId> = site.segments_claiming_isolation().collect();
        let of_rules = reviewed
            .open
            .iter()
            .filter(|finding| boundwalk_checks::area(finding.check).is_some_and(Area::is_rules));
        Self {
            privilege: (!site.needs.is_empty()).then(|| privilege(network, &[])),
            expectations: judge_expectations(network),
            needs: judge_needs(network),
            // A page must not take long.
            isolated: answers(
                network,
                &claims,
                Some(network.scaled(EFFORT / 10)),
                &mut |_| {},
            ),
            of_rules: of_rules.cloned().collect(),
            around: Bypasses::new(network, &|_, _| true),
        }
    }
}

fn page<'n>(
    opened: &Opened,
    network: &'n Network<'n>,
    gateway_reviews: &[GatewayReview<'_>],
    reviewed: &JudgedFindings<'_>,
) -> String {
    let site = network.site;
    let sources = opened.sources.without_folders();
    let (reach, judged) = rayon::join(|| Reach::new(network), || Judged::new(network, reviewed));
    let (mut key, codes) = sheet_legend(&reach.sheet, reach.namings.as_slice());
    let zone_codes = key.more(
        &reach.zones,
        Some(&reach.namings[Family::V4]),
        Some(&reach.namings[Family::V6]),
    );
    let notes = notes(network);
    let cabling = Cabling::new(site, &network.fabric);
    let sheets: Vec<Worksheet<'_>> = (0..site.switches.len())
        .map(SwitchId)
        .map(|id| Worksheet::new(site, &cabling, id))
        .collect();
    let isolated: Vec<Isolated<'_>> = judged
        .isolated
        .iter()
        .map(|(segment, verdict, distance)| Isolated {
            segment: *segment,
            verdict,
            distance: distance.as_ref(),
        })
        .collect();
    let all = all_of(reviewed);
    let line = summary(opened, &reviewed.open, &all, &reach.by_zone) + &reviewed_summary(reviewed);
    let privilege = judged.privilege.as_ref().map(|privilege| PrivilegeShown {
        network,
        sources: &sources,
        privilege,
        logs: &[],
        notes: &notes,
    });
    report_html(&ReportShown {
        network,
        sources: &sources,
        problems: &opened.problems,
        reviewed,
        summary: &line,
        today: opened.today.to_string(),
        matrix: (&reach.sheet, &key, &codes),
        zones: (&reach.zones, &zone_codes),
        namings: reach.namings.as_slice(),
        flows: reach.flows(network).as_deref(),
        bypasses: &judged.around,
        isolated: &isolated,
        rules: &RulesShown {
            site,
            sources: &sources,
            gateway_reviews,
            findings: &judged.of_rules,
            namings: reach.namings.as_slice(),
            notes: &notes,
        },
        privilege: privilege.as_ref(),
        intent: &IntentShown {
            network,
            sources: &sources,
            expectations: &judged.expectations,
            needs: &judged.needs,
            namings: &reach.namings,
            notes: &notes,
        },
        worksheets: &Worksheets {
            site,
            fabric: &network.fabric,
            sheets: &sheets,
            differences: &differences(site, &cabling),
        },
        cabling: &cabling,
        notes: &notes,
    })
}
