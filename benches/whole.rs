//! The program as people run it, from the file of a site to a file of JSON: seconds and memory of the whole process.
//!
//! `cargo bench --bench whole` prints a table. `-- --keep` writes it to `benches/whole.csv`; `-- --compare` holds a run
//! against that file and names what takes a quarter longer or more memory, against the pace of this machine, which a sum
//! of hashes of its own measures. `-- --long` adds the rows that take minutes.

#![allow(clippy::print_stdout)]

mod support {
    pub mod sites;
}

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use support::sites::{Size, dense_site, large_site};

/// What is kept of an earlier run.
const KEPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/whole.csv");

/// A row: its name, and what is asked about which sites.
struct Job {
    name: &'static str,
    arguments: &'static [&'static str],
    sites: Vec<PathBuf>,
    long: bool,
}

/// What a run took.
#[derive(Clone, Copy)]
struct Taken {
    seconds: f64,
    megabytes: u64,
}

fn main() -> ExitCode {
    let asked = |option: &str| std::env::args().any(|argument| argument == option);
    let pace = pace();
    let mut taken: BTreeMap<&str, Taken> = BTreeMap::new();
    println!("{:<58} {:>8} {:>8}", "job", "s", "MB");
    for job in jobs() {
        if job.long && !asked("--long") {
            continue;
        }
        let run = run(&job);
        println!("{:<58} {:>8.2} {:>8}", job.name, run.seconds, run.megabytes);
        taken.insert(job.name, run);
    }
    println!("{:<58} {pace:>8.2}", "pace: a fixed sum of hashes");
    if asked("--keep") {
        keep(&taken, pace);
    }
    if asked("--compare") && compare(&taken, pace) > 0 {
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

fn jobs() -> Vec<Job> {
    let size = |rules, segments| Size {
        rules,
        segments,
        dual: false,
        seed: 1,
    };
    let dense = written("dense", &dense_site(size(10_000, 200)));
    let usual = written("usual", &large_site(size(10_000, 200)));
    let dual = written(
        "dual",
        &large_site(Size {
            dual: true,
            ..size(10_000, 200)
        }),
    );
    let edited = written("dense-edited", &edited(&dense_site(size(10_000, 200))));
    let long = written("long", &large_site(size(100_000, 200)));
    let wide = written("wide", &large_site(size(10_000, 2_000)));
    let job = |name, arguments, sites: &[&PathBuf], long| Job {
        name,
        arguments,
        sites: sites.iter().map(|site| (*site).clone()).collect(),
        long,
    };
    let by_segment = &["matrix", "--by", "segment", "--format", "json"][..];
    let by_zone = &["matrix", "--by", "zone", "--format", "json"][..];
    let rules = &["rules", "--format", "json"][..];
    let review = &["review", "--format", "json"][..];
    let change = &["change", "--format", "json"][..];
    let reach = &["change", "--no-findings", "--format", "json"][..];
    vec![
        job(
            "load: 10,000 usual, nothing asked",
            &["expectations", "--format", "json"],
            &[&usual],
            false,
        ),
        job("rules, 10,000 usual", rules, &[&usual], false),
        job("rules, 10,000 dense", rules, &[&dense], false),
        job(
            "matrix by segment, 200, 10,000 usual",
            by_segment,
            &[&usual],
            false,
        ),
        job(
            "matrix by segment, 200, 10,000 usual, dual stack",
            by_segment,
            &[&dual],
            false,
        ),
        job(
            "matrix by segment, 200, 10,000 dense",
            by_segment,
            &[&dense],
            false,
        ),
        job(
            "matrix by zone, 200 segments, 10,000 dense",
            by_zone,
            &[&dense],
            false,
        ),
        job("review, 10,000 usual", review, &[&usual], false),
        job("review, 10,000 dense", review, &[&dense], false),
        job(
            "change without findings, 1 % of 10,000 dense",
            reach,
            &[&dense, &edited],
            false,
        ),
        job(
            "change, 1 % of 10,000 dense",
            change,
            &[&dense, &edited],
            false,
        ),
        job("report, 10,000 usual", &["report"], &[&usual], false),
        job(
            "matrix by zone, 2,000 segments, 10,000 usual",
            by_zone,
            &[&wide],
            true,
        ),
        job("rules, 100,000 usual", rules, &[&long], true),
    ]
}

fn written(name: &str, text: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench-whole");
    fs::create_dir_all(&folder).expect("a folder for generated sites");
    let file = folder.join(format!("{name}.toml"));
    fs::write(&file, text).expect("a generated site");
    file
}

/// The site with every hundredth rule turned round.
fn edited(text: &str) -> String {
    let mut rules = 0;
    let lines = text.lines().map(|line| {
        let turned = match line {
            "action = \"permit\"" => "action = \"deny\"",
            "action = \"deny\"" => "action = \"permit\"",
            _ => return line,
        };
        rules += 1;
        if rules % 100 == 0 { turned } else { line }
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// Runs a job once; its output goes to a file.
fn run(job: &Job) -> Taken {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench-whole");
    let output = File::create(folder.join("output")).expect("a file for the output");
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_boundwalk"))
        .args(job.arguments)
        .args(&job.sites)
        .stdin(Stdio::null())
        .stdout(output)
        .stderr(Stdio::null())
        .spawn()
        .expect("the program runs");
    let mut megabytes = 0;
    loop {
        if let Some(peak) = peak(child.id()) {
            megabytes = peak;
        }
        if let Some(status) = child.try_wait().expect("it is our child") {
            assert!(
                matches!(status.code(), Some(0 | 1)),
                "{}: {status}",
                job.name
            );
            return Taken {
                seconds: start.elapsed().as_secs_f64(),
                megabytes,
            };
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// The most memory that a process had so far, by its own high-water mark (proc(5), `VmHWM`), in megabytes.
fn peak(process: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kilobytes: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes / 1024)
}

/// Seconds that this machine takes for a fixed piece of work (FNV-1a over numbers), so that figures of two machines can be
/// held against each other.
fn pace() -> f64 {
    let start = Instant::now();
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for number in 0..400_000_000u64 {
        hash = (hash ^ number).wrapping_mul(0x0100_0000_01b3);
    }
    std::hint::black_box(hash);
    start.elapsed().as_secs_f64()
}

fn keep(taken: &BTreeMap<&str, Taken>, pace: f64) {
    let mut text = format!("job;seconds;megabytes\npace;{pace:.3};0\n");
    for (job, run) in taken {
        text.push_str(&format!("{job};{:.3};{}\n", run.seconds, run.megabytes));
    }
    fs::write(KEPT, text).expect("the kept figures");
}

/// Names what got slower or larger by a quarter; how many.
fn compare(taken: &BTreeMap<&str, Taken>, pace: f64) -> usize {
    let kept = fs::read_to_string(KEPT).expect("figures that were kept: --keep");
    let lines = kept.lines().skip(1).map(|line| {
        let mut fields = line.split(';');
        let name = fields.next().expect("a job");
        let mut number = || fields.next().and_then(|field| field.parse::<f64>().ok());
        let (seconds, megabytes) = (number(), number());
        (
            name,
            seconds.expect("seconds"),
            megabytes.expect("megabytes"),
        )
    });
    let lines: Vec<(&str, f64, f64)> = lines.collect();
    let before = lines
        .iter()
        .find(|(name, ..)| *name == "pace")
        .expect("the pace")
        .1;
    let mut found = 0;
    for (name, seconds, megabytes) in lines {
        let Some(now) = taken.get(name) else { continue };
        let expected = seconds * pace / before;
        // Below that, noise is larger.
        if now.seconds > 1.25 * expected + 0.05 {
            println!(
                "slower: {name}: {:.2} s, {expected:.2} s at this machine's pace",
                now.seconds
            );
            found += 1;
        }
        if now.megabytes as f64 > 1.25 * megabytes + 5.0 {
            println!(
                "larger: {name}: {} MB, {megabytes} MB before",
                now.megabytes
            );
            found += 1;
        }
    }
    found
}
