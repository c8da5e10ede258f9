//! How long layer 2 takes: ways round the gateway and isolation on generated fabrics. Ratios between lines of one
//! run mean more than the figures.

mod support {
    pub mod fabrics;
}

use std::cell::LazyCell;

use boundwalk::analysis::{IsolationVerdict, bypasses, isolations};
use boundwalk::diagnostic::Severity;
use boundwalk::forwarding::layer2::{Fabric, Wiring, flood, hostile_starts};
use boundwalk::forwarding::{Network, Origin};
use boundwalk::load::load_text;
use boundwalk::model::{Date, SegmentId, Site};
use criterion::{Criterion, criterion_group, criterion_main};
use support::fabrics::{Fabric as Size, fabric_site};

const TODAY: Date = Date::constant(2026, 11, 25);

fn site(text: &str) -> Site {
    let loaded = load_text("generated.toml", text);
    match loaded.site {
        Some(site) => site,
        None => {
            let grave = loaded.problems.iter();
            let mut grave = grave.filter(|problem| problem.severity() == Severity::Error);
            panic!("the generated site is not valid: {:?}", grave.next())
        }
    }
}

/// Ways round and segments isolated by design.
fn judge(site: &Site) -> (usize, usize) {
    let network = Network::new(site, TODAY);
    let ways = bypasses(&network, &|_, _| true).len();
    let segments: Vec<SegmentId> = site.segment_ids().collect();
    let verdicts = isolations(&network, &segments).into_iter();
    let isolated = verdicts.filter(|verdict| matches!(verdict, IsolationVerdict::ByDesign(_)));
    (ways, isolated.count())
}

/// Interfaces and open ports that a hostile device of each segment reaches.
fn every_segment(fabric: &Fabric) -> usize {
    let segments = (0..fabric.segments()).map(SegmentId);
    segments
        .map(|segment| {
            flood(fabric, &hostile_starts(fabric, Origin::Segment(segment)))
                .taken
                .len()
        })
        .sum()
}

fn branch(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("200 switches, 500 VLANs, 2,000 hosts");
    group.sample_size(10);
    // Made only for the lines that are asked for.
    let text = LazyCell::new(|| {
        fabric_site(Size {
            switches: 200,
            ports: 48,
            vlans: 500,
            hosts: 2_000,
        })
    });
    let branch = LazyCell::new(|| site(&text));
    let fabric = LazyCell::new(|| Fabric::new(&branch));
    group.bench_function("load", |bencher| bencher.iter(|| site(&text)));
    group.bench_function("graph", |bencher| bencher.iter(|| Fabric::new(&branch)));
    group.bench_function("who reaches whom", |bencher| {
        bencher.iter(|| Wiring::new(&fabric));
    });
    group.bench_function("prepare", |bencher| {
        bencher.iter(|| Network::new(&branch, TODAY));
    });
    group.bench_function("load, all ways round, all isolation", |bencher| {
        bencher.iter(|| judge(&site(&text)));
    });
    group.finish();
}

fn campus(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("1,000 switches, 4,093 VLANs");
    group.sample_size(10);
    let campus = LazyCell::new(|| {
        site(&fabric_site(Size {
            switches: 1_000,
            ports: 48,
            vlans: 4_093,
            hosts: 0,
        }))
    });
    let fabric = LazyCell::new(|| Fabric::new(&campus));
    group.bench_function("graph", |bencher| bencher.iter(|| Fabric::new(&campus)));
    group.bench_function("reach of every segment", |bencher| {
        bencher.iter(|| every_segment(&fabric));
    });
    group.finish();
}

criterion_group!(benches, branch, campus);
criterion_main!(benches);
