//! The packet floor under load: long rule lists, and every pair of segments.
// Macros of the harness make undocumented functions.
#![allow(missing_docs)]
// What was measured belongs beside how long it took.
#![allow(clippy::print_stderr)]

#[path = "support/rules.rs"]
mod rules;

use std::hint::black_box;
use std::time::Duration;

use boundwalk::packet::{Coverage, LineList, Region, RuleIndex, ServiceClasses, cover};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use rules::{Palette, Random, Rules};

/// A few hundred prefixes and hosts, some sixty services, eight interfaces.
fn palette(random: &mut Random) -> Palette {
    Palette::new(random, 8, 200, 200, 60)
}

fn list(count: usize) -> (Palette, Rules, Random) {
    let mut random = Random::new(count as u64);
    let palette = palette(&mut random);
    let rules = palette.rules(&mut random, count);
    (palette, rules, random)
}

fn index(c: &mut Criterion) {
    for count in [1_000, 10_000, 100_000] {
        let (palette, rules, mut random) = list(count);
        c.bench_function(&format!("index_build_{count}"), |b| {
            b.iter(|| RuleIndex::new(&palette.space, black_box(&rules.boxes)));
        });
        let index = RuleIndex::new(&palette.space, &rules.boxes);
        eprintln!("index of {count} boxes: {} bytes", index.memory());
        let inside = rules.points(&mut random, 1 << 12);
        let mixed = rules.mixtures(&mut random, 1 << 12);
        for (kind, points) in [("", inside), ("_deep", mixed)] {
            let mean = |sum: usize| sum / points.len();
            let found = points.iter().filter_map(|point| index.first_match(point));
            eprintln!(
                "first_match_{count}{kind}: mean place {}",
                mean(found.sum())
            );
            let mut next = 0;
            c.bench_function(&format!("first_match_{count}{kind}"), |b| {
                b.iter(|| {
                    next = (next + 1) % points.len();
                    index.first_match(black_box(&points[next]))
                });
            });
        }
    }
}

/// Every rule with addresses of its own: the most cuts there can be.
fn index_of_hosts(c: &mut Criterion) {
    let mut random = Random::new(9);
    let palette = Palette::new(&mut random, 8, 200, 100_000, 60);
    let rules = palette.rules(&mut random, 100_000);
    c.bench_function("index_build_100000_hosts", |b| {
        b.iter(|| RuleIndex::new(&palette.space, black_box(&rules.boxes)));
    });
    let index = RuleIndex::new(&palette.space, &rules.boxes);
    eprintln!("index of as many hosts: {} bytes", index.memory());
}

/// For each rule: do the earlier ones leave anything of it?
fn coverage(c: &mut Criterion) {
    for count in [1_000, 10_000] {
        let (palette, rules, _) = list(count);
        let index = RuleIndex::new(&palette.space, &rules.boxes);
        let idle = |boxes: &[_]| {
            let covered = |n: &usize| {
                let cover = cover(&boxes[*n], boxes, &index, *n, |_| true, 10_000);
                matches!(cover, Coverage::Covered { .. })
            };
            (0..count).filter(covered).count()
        };
        eprintln!("{} of {count} rules are idle", idle(&rules.boxes));
        c.bench_function(&format!("cover_each_of_{count}"), |b| {
            b.iter(|| idle(black_box(&rules.boxes)));
        });
    }
}

fn walk(c: &mut Criterion) {
    let (palette, rules, _) = list(10_000);
    let classes = ServiceClasses::new(&palette.services);
    let lines = palette.lines(&rules, &classes);
    c.bench_function("line_list_10000", |b| {
        b.iter_batched(|| lines.clone(), LineList::new, BatchSize::LargeInput);
    });
    let list = LineList::new(lines);
    let segments = &palette.addresses[..200];
    c.bench_function("walk_200x200_of_10000", |b| {
        b.iter(|| {
            let mut pieces = 0;
            let to: Vec<_> = segments.iter().map(|s| list.to_destination(s)).collect();
            for (from, source) in segments.iter().enumerate() {
                let mut sending = list.from_source(source);
                sending.and_assign(&list.from_ingress(from as u32 % 8));
                for (at, destination) in segments.iter().enumerate() {
                    let mut candidates = sending.and(&to[at]);
                    candidates.and_assign(&list.to_egress(at as u32 % 8));
                    let start = Region {
                        source: source.clone(),
                        destination: destination.clone(),
                        services: classes.all(),
                    };
                    list.walk(&candidates, start, 100_000, &mut |_, _| pieces += 1)
                        .expect("few pieces between two segments");
                }
            }
            pieces
        });
    });
    let mean = segments
        .iter()
        .map(|s| list.from_source(s).count())
        .sum::<usize>();
    eprintln!("mean lines from a segment: {}", mean / segments.len());
}

fn services(c: &mut Criterion) {
    let mut random = Random::new(5);
    for count in [60, 600] {
        let seeds = Palette::new(&mut random, 1, 1, 0, count).services;
        let plain = ServiceClasses::new(&seeds).len();
        let symmetric = ServiceClasses::symmetric(&seeds).len();
        eprintln!("{count} services: {plain} classes, {symmetric} when symmetric");
        c.bench_function(&format!("classes_of_{count}"), |b| {
            b.iter(|| ServiceClasses::new(black_box(&seeds)));
        });
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_secs(1))
        .measurement_time(Duration::from_secs(2));
    targets = index, index_of_hosts, coverage, walk, services
}
criterion_main!(benches);
