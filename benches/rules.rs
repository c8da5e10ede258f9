//! How long the review of rule lists takes, and how a running union of decision diagrams compares. Ratios between
//! lines of one run mean more than the figures.
//!
//! `cargo bench --bench rules` runs all; `-- 10000` only what has that in its name. The diagrams run once, since they take
//! seconds; `BOUNDWALK_DIAGRAMS=0` leaves them out.
// What was measured belongs beside how long it took.
#![allow(clippy::print_stderr)]

#[path = "../tests/oracles/diagrams.rs"]
#[allow(dead_code)]
mod diagrams;
#[path = "../tests/oracles/list_diagrams.rs"]
#[allow(dead_code)]
mod list_diagrams;
mod support {
    pub mod sites;
}

use std::fmt::Write;
use std::time::Instant;

use boundwalk::analysis::rules::{Cleaned, Effort, Judge, RulePairs, RuleReview, RuleSpace};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, RouterId, Site};
use criterion::{Criterion, criterion_group, criterion_main};
use list_diagrams::ListDiagrams;
use support::sites::{Size, large_site};

const TODAY: Date = Date::constant(2026, 11, 25);

/// Rules and segments.
const SIZES: [(usize, usize); 5] = [
    (1_000, 50),
    (3_000, 100),
    (10_000, 200),
    (30_000, 600),
    (100_000, 2_000),
];

fn text(rules: usize, segments: usize) -> String {
    large_site(Size {
        rules,
        segments,
        dual: false,
        seed: 1,
    })
}

fn site(text: &str) -> Site {
    let loaded = load_text("generated.toml", text);
    loaded.site.expect("the generated site is valid")
}

/// Dead and redundant rules with witnesses and covering rules, and what can go together.
fn review(network: &Network<'_>) -> RuleReview {
    let space = RuleSpace::new(network, RouterId(0)).expect("the gateway filters");
    RuleReview::new(&Judge::new(&space, Effort::default()))
}

fn lists(criterion: &mut Criterion) {
    for (rules, segments) in SIZES {
        let mut group = criterion.benchmark_group(format!("{rules} rules, {segments} segments"));
        group.sample_size(10);
        let text = text(rules, segments);
        let site = site(&text);
        group.bench_function("load", |bencher| bencher.iter(|| self::site(&text)));
        group.bench_function("prepare", |bencher| {
            bencher.iter(|| Network::new(&site, TODAY));
        });
        let network = Network::new(&site, TODAY);
        group.bench_function("review", |bencher| bencher.iter(|| review(&network)));
        group.bench_function("load, prepare and review", |bencher| {
            bencher.iter(|| {
                let site = self::site(&text);
                review(&Network::new(&site, TODAY))
            });
        });
        if rules == 10_000 {
            let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
            group.bench_function("pairs", |bencher| {
                bencher.iter(|| RulePairs::new(&Judge::new(&space, Effort::default())));
            });
            let judged = review(&network);
            group.bench_function("shorter list, compared", |bencher| {
                bencher.iter(|| Cleaned::new(&Judge::new(&space, Effort::default()), &judged));
            });
        }
        group.finish();
    }
}

/// The diagrams' running union beside ours, once: which rules never decide.
fn unions(_: &mut Criterion) {
    if std::env::var("BOUNDWALK_DIAGRAMS").as_deref() == Ok("0") {
        return;
    }
    for (rules, segments, nodes) in [
        (1_000, 50, 1 << 22),
        (3_000, 100, 1 << 23),
        (10_000, 200, 1 << 26),
    ] {
        let site = site(&text(rules, segments));
        let network = Network::new(&site, TODAY);
        let started = Instant::now();
        let mine = review(&network).rules.len();
        let ours = started.elapsed();
        let started = Instant::now();
        let list = ListDiagrams::new(&site, Family::V4, TODAY, nodes);
        let encoded = started.elapsed();
        let decided = list.decided().len();
        let theirs = started.elapsed();
        eprintln!(
            "{rules} rules: diagrams (intervals by rank) {theirs:?}, of which encoding {encoded:?}; review {ours:?}; \
             ratio {:.0} ({mine} and {decided} rules)",
            theirs.as_secs_f64() / ours.as_secs_f64()
        );
    }
}

/// Rules that each overlap many others, shifted against each other in three fields.
fn hard_site(count: usize) -> String {
    let mut text = text(2, 20);
    let end = text
        .find("[[gateways.edge.rules]]")
        .expect("rules come last");
    text.truncate(end);
    for number in 0..count {
        let low = number * 7 % 200;
        let high = (low + 20 + number % 13).min(255);
        let (net, port) = (number % 3, number * 5 % 9_000 + 1);
        let action = if number % 2 == 0 { "permit" } else { "deny" };
        let _ = write!(
            text,
            "[[gateways.edge.rules]]\nname = \"rule {number}\"\nsource = [\"10.0.{net}.{low}-10.0.{net}.{high}\"]\n\
             destination = [\"10.0.{}.{}-10.0.{}.{}\"]\nservices = [\"tcp/{port}-{}\"]\naction = \"{action}\"\n",
            4 + net,
            low * 3 % 180,
            5 + net,
            low * 3 % 180 + 40,
            port + 900
        );
    }
    text.push_str(
        "[[gateways.edge.rules]]\nname = \"over all\"\nsource = [\"10.0.0.0/22\"]\ndestination = [\"10.0.4.0/22\"]\n\
         services = [\"tcp/1-9900\"]\naction = \"permit\"\n",
    );
    text
}

fn hard(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("built to be hard");
    group.sample_size(10);
    for count in [500, 2_000, 5_000] {
        let site = site(&hard_site(count));
        let network = Network::new(&site, TODAY);
        let unknown = |review: &RuleReview| {
            use boundwalk::analysis::rules::{RuleStatus, Without};
            let rules = review.rules.iter();
            let open = rules.filter(|status| {
                matches!(
                    status,
                    RuleStatus::Unknown
                        | RuleStatus::Decides {
                            without: Without::Unknown,
                            ..
                        }
                )
            });
            open.count()
        };
        let started = Instant::now();
        let open = unknown(&review(&network));
        eprintln!(
            "{count} hard rules: {open} not settled, {:?}",
            started.elapsed()
        );
        group.bench_function(format!("review of {count}"), |bencher| {
            bencher.iter(|| review(&network));
        });
    }
    group.finish();
}

criterion_group!(benches, lists, hard, unions);
criterion_main!(benches);
