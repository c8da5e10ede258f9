//! How long a report and pictures take, from the file of the site to the file that is handed over. Ratios between
//! lines of one run mean more than the figures.

mod support {
    pub mod fabrics;
    pub mod sites;
}

/// A browser, for how long a page takes to open.
#[path = "../tests/browser/client.rs"]
#[allow(dead_code, reason = "tests ask a browser for more")]
mod client;
#[path = "../tests/support/skipped.rs"]
mod skipped;

use std::fs;
use std::path::{Path, PathBuf};

use boundwalk::cli::{self, Verdict};
use client::Browser;
use criterion::{Criterion, criterion_group, criterion_main};
use support::fabrics::{Fabric, fabric_site};
use support::sites::{Size, large_site};

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench-report");
    fs::create_dir_all(&folder).expect("a folder for generated sites");
    folder
}

fn written(name: &str, text: &str) -> PathBuf {
    let file = folder().join(name);
    fs::write(&file, text).expect("a generated site");
    file
}

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane")
}

/// Runs a command that writes a file; gives the size of that file in bytes.
fn run(command: &[&str], site: &Path) -> u64 {
    let made = folder().join("made");
    let words = command.iter().map(|&word| word.into());
    let rest = ["-o".into(), made.clone().into_os_string()];
    let line = [
        "boundwalk".into(),
        command[0].into(),
        site.as_os_str().to_owned(),
    ];
    let verdict = cli::run(line.into_iter().chain(words.skip(1)).chain(rest));
    assert_ne!(verdict, Verdict::Failed, "{command:?}");
    fs::metadata(&made).expect("what the command wrote").len()
}

fn measure(criterion: &mut Criterion, title: &str, commands: &[&[&str]], site: &Path) {
    let mut group = criterion.benchmark_group(title);
    group.sample_size(10);
    for command in commands {
        let size = run(command, site);
        let name = format!("{} ({} kB)", command.join(" "), size / 1_000);
        group.bench_function(name, |bencher| bencher.iter(|| run(command, site)));
    }
    group.finish();
}

fn small(criterion: &mut Criterion) {
    let commands: [&[&str]; 2] = [&["report"], &["draw", "--format", "svg"]];
    measure(criterion, "demo", &commands, &demo());
}

fn branch(criterion: &mut Criterion) {
    let text = fabric_site(Fabric {
        switches: 20,
        ports: 48,
        vlans: 60,
        hosts: 200,
    });
    let commands: [&[&str]; 5] = [
        &["draw", "--format", "svg"],
        &["draw", "--format", "svg", "--what", "logical"],
        &["draw", "--format", "svg", "--what", "matrix"],
        &["draw", "--format", "dot"],
        &["report"],
    ];
    let site = written("branch.toml", &text);
    measure(criterion, "20 switches, 60 segments", &commands, &site);
}

fn company(criterion: &mut Criterion) {
    let text = large_site(Size {
        rules: 10_000,
        segments: 200,
        dual: false,
        seed: 1,
    });
    let site = written("company.toml", &text);
    let title = "200 segments, 10,000 rules";
    measure(criterion, title, &[&["report"]], &site);
    run(&["report"], &site);
    let page = folder().join("made.html");
    fs::rename(folder().join("made"), &page).expect("the page");
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let mut group = criterion.benchmark_group(title);
    group.sample_size(10);
    group.bench_function("the page opens", |bencher| {
        bencher.iter_custom(|count| {
            let opened = (0..count).map(|_| {
                let page = browser.open(&page, true);
                let took = page.loaded;
                page.close();
                took
            });
            opened.sum()
        });
    });
    group.finish();
}

criterion_group!(benches, small, branch, company);
criterion_main!(benches);
