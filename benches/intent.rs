//! How long change, expectations and least privilege take on a long rule list. Ratios between lines of one run mean more
//! than the figures.

mod support {
    pub mod sites;
}

use std::fmt::Write;

use boundwalk::analysis::change::reach_change;
use boundwalk::analysis::intent::{IntentStatus, judge_expectations};
use boundwalk::analysis::privilege::privilege;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};
use criterion::{Criterion, criterion_group, criterion_main};
use support::sites::{Size, large_site};

const TODAY: Date = Date::constant(2026, 11, 25);

fn text() -> String {
    large_site(Size {
        rules: 10_000,
        segments: 200,
        dual: false,
        seed: 1,
    })
}

fn site(text: &str) -> Site {
    let loaded = load_text("generated.toml", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems.first()))
}

/// The text with every hundredth rule doing the opposite: 1 % of the rules.
fn edited(text: &str) -> String {
    let mut parts = text.split("[[gateways.");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for (number, part) in parts.enumerate() {
        out.push_str("[[gateways.");
        let flipped = match part.contains("action = \"permit\"") {
            true => part.replace("action = \"permit\"", "action = \"deny\""),
            false => part.replace("action = \"deny\"", "action = \"permit\""),
        };
        out.push_str(if number % 100 == 50 { &flipped } else { part });
    }
    out
}

/// A thousand lines between segments, of the four kinds of permit.
fn with_expectations(text: &str) -> String {
    let loaded = site(text);
    let names: Vec<&str> = loaded
        .segments
        .iter()
        .map(|one| one.name.value.as_str())
        .collect();
    let mut out = text.to_owned();
    for number in 0..1_000 {
        let from = names[number * 7 % names.len()];
        let to = names[(number * 13 + 1) % names.len()];
        if from == to {
            continue;
        }
        let permit = ["nothing", "at-most", "at-least", "exactly"][number % 4];
        let services = if permit == "nothing" {
            ""
        } else {
            "services = [\"https\", \"ssh\"]\n"
        };
        let _ = writeln!(
            out,
            "[[expectations]]\nname = \"line {number}\"\nfrom = \"segment:{from}\"\nto = \"segment:{to}\"\npermit = \"{permit}\"\n{services}"
        );
    }
    out
}

fn benches(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("10,000 rules, 200 segments");
    group.sample_size(10);
    let text = text();
    let other = edited(&text);
    let (old, new) = (site(&text), site(&other));
    group.bench_function("change of 1 %, prepared", |bencher| {
        let networks = Network::versions(&old, &new, TODAY);
        bencher.iter(|| reach_change(&networks[0], &networks[1], &mut |_, _| {}));
    });
    group.bench_function("change of 1 %, with loading both", |bencher| {
        bencher.iter(|| {
            let (old, new) = (site(&text), site(&other));
            let networks = Network::versions(&old, &new, TODAY);
            reach_change(&networks[0], &networks[1], &mut |_, _| {})
                .pairs
                .len()
        });
    });
    let expected = with_expectations(&text);
    group.bench_function("1,000 expectations, with loading", |bencher| {
        bencher.iter(|| {
            let site = site(&expected);
            let network = Network::new(&site, TODAY);
            let judged = judge_expectations(&network);
            judged
                .iter()
                .filter(|one| one.status == IntentStatus::Held)
                .count()
        });
    });
    group.bench_function("privilege, with loading", |bencher| {
        bencher.iter(|| {
            let site = site(&text);
            privilege(&Network::new(&site, TODAY), &[]).rules.len()
        });
    });
    group.finish();
}

criterion_group!(all, benches);
criterion_main!(all);
