//! How long loading and the matrix take. Ratios between lines of one run mean more than the figures.

mod support {
    pub mod sites;
}

use boundwalk::analysis::{By, Matrix, Question};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, Site};
use criterion::{Criterion, criterion_group, criterion_main};
use support::sites::{Size, large_site};

const TODAY: Date = Date::constant(2026, 11, 25);

fn site(text: &str) -> Site {
    let loaded = load_text("generated.toml", text);
    loaded.site.expect("the generated site is valid")
}

fn whole_matrix(site: &Site, hostile: bool) -> usize {
    let network = Network::new(site, TODAY);
    let question = Question::all(By::Segment, Family::V4, hostile);
    let matrix = Matrix::new(&network, &question, &mut |_, _| {});
    matrix
        .cells
        .iter()
        .flatten()
        .filter(|cell| !cell.some.is_empty())
        .count()
}

fn matrix(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("10,000 rules, 200 segments");
    group.sample_size(10);
    let text = large_site(Size {
        rules: 10_000,
        segments: 200,
        dual: false,
        seed: 1,
    });
    let large = site(&text);
    group.bench_function("load", |bencher| bencher.iter(|| site(&text)));
    group.bench_function("prepare", |bencher| {
        bencher.iter(|| Network::new(&large, TODAY));
    });
    group.bench_function("matrix, configured", |bencher| {
        bencher.iter(|| whole_matrix(&large, false));
    });
    group.bench_function("matrix with hostile", |bencher| {
        bencher.iter(|| whole_matrix(&large, true));
    });
    group.bench_function("load and matrix", |bencher| {
        bencher.iter(|| whole_matrix(&site(&text), false));
    });
    group.finish();
}

criterion_group!(benches, matrix);
criterion_main!(benches);
