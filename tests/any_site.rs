//! Sites changed by their own grammar, asked by every command in every format: a verdict, never a panic, the same
//! verdict in each format, documents that their readers take, and nothing that disturbs a terminal.
//!
//! `BOUNDWALK_SITES` says how many sites (12); a failure prints its number, and `BOUNDWALK_FIRST_SITE` repeats it.

#[path = "../fuzz/grown.rs"]
mod grown;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "commands/run.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod run;
#[path = "support/seeds.rs"]
mod seeds;

use std::fs;
use std::path::Path;

use boundwalk::checks::CHECKS;
use boundwalk::load::{load_text, starter};
use boundwalk::model::Site;

use grown::Parts;
use pulldown_cmark::{Event, Options, Parser, Tag};
use random::Random;
use run::{Ran, run};
use seeds::seeds;

/// Every command about a site, and its formats. `SEGMENT`, `OTHER`, `BEFORE`, `RESULTS`, `LOG` are filled in.
const COMMANDS: [(&str, &str); 21] = [
    ("review SITE", "text json markdown sarif junit"),
    ("review SITE --all --ipv6", "text json markdown sarif junit"),
    ("matrix SITE --by zone", "text json csv markdown"),
    (
        "matrix SITE --by segment --two-way",
        "text json csv markdown",
    ),
    ("matrix SITE --no-hostile --flows", "text json csv markdown"),
    ("bypass SITE --all", "text markdown json"),
    ("isolation SITE --all", "text markdown json"),
    ("rules SITE --all", "text markdown csv json"),
    ("expectations SITE", "text markdown json"),
    ("change BEFORE SITE", "text markdown html json"),
    (
        "change SITE BEFORE --no-findings",
        "text markdown html json",
    ),
    ("privilege SITE", "text markdown json"),
    ("privilege SITE --flows LOG --all", "text markdown json"),
    ("privilege SITE --tighten", "text markdown json"),
    (
        "path SITE SEGMENT OTHER tcp/443 --rules",
        "text markdown json",
    ),
    ("ports SITE", "text markdown csv json"),
    (
        "draw SITE --what site",
        "text svg dot mermaid markdown json",
    ),
    ("draw SITE --what logical", "svg dot mermaid markdown json"),
    ("draw SITE --what panels", "text svg"),
    ("probes SITE", "text json csv markdown"),
    ("verify SITE RESULTS", "text markdown json"),
];

/// What is filled into a command line.
struct Words {
    site: String,
    before: String,
    log: String,
    results: String,
    segments: [String; 2],
}

impl Words {
    fn fill(&self, command: &str) -> Vec<String> {
        let word = |word: &str| match word {
            "SITE" => self.site.clone(),
            "BEFORE" => self.before.clone(),
            "LOG" => self.log.clone(),
            "RESULTS" => self.results.clone(),
            "SEGMENT" => self.segments[0].clone(),
            "OTHER" => self.segments[1].clone(),
            other => other.to_owned(),
        };
        command.split(' ').map(word).collect()
    }
}

/// Two segments of a site; of one that does not load, names that may be some.
fn segments(random: &mut Random, site: Option<&Site>) -> [String; 2] {
    let names = site.map_or_else(Vec::new, |site| {
        site.segments
            .iter()
            .map(|segment| &segment.name.value)
            .filter(|name| !name.starts_with('-'))
            .cloned()
            .collect()
    });
    if names.is_empty() {
        ["office".to_owned(), "servers".to_owned()]
    } else {
        [random.pick(&names).clone(), random.pick(&names).clone()]
    }
}

#[test]
fn every_command_answers_whatever_the_site() {
    let texts: Vec<&str> = CHECKS
        .iter()
        .map(|registered| registered.check.fires)
        .chain([starter()])
        .collect();
    let parts = Parts::new(texts.iter().copied());
    for number in seeds(12) {
        let mut random = Random::new(number ^ 0x517e);
        let before = *random.pick(&texts);
        let after = parts
            .grown(&mut random, before)
            .unwrap_or_else(|| before.to_owned());
        let folder = tempfile::tempdir().expect("a folder");
        asked(&mut random, folder.path(), (before, &after), number);
    }
}

fn asked(random: &mut Random, folder: &Path, (before, after): (&str, &str), number: u64) {
    let file = |name: &str, text: &str| {
        let path = folder.join(name);
        fs::write(&path, text).expect("a file");
        path.to_str().expect("UTF-8").to_owned()
    };
    let site = load_text("site.toml", after).site;
    let words = Words {
        site: file("site.toml", after),
        before: file("before.toml", before),
        log: file(
            "log.csv",
            "src,dst,proto,dport\n10.44.10.2,10.44.30.3,tcp,443\n",
        ),
        results: file("results.csv", ""),
        segments: segments(random, site.as_ref()),
    };
    let plan = run(words.fill("probes SITE --format csv --today 2026-11-25"));
    file("results.csv", &filled_in(random, &plan.out));
    for (command, formats) in COMMANDS {
        let mut verdicts = Vec::new();
        for format in formats.split(' ') {
            let mut line = words.fill(command);
            line.extend(["--format", format, "--today", "2026-11-25"].map(str::to_owned));
            let ran = run(&line);
            let place = format!("site {number}, {}", line.join(" "));
            answered(&ran, format, &place, after);
            verdicts.push((format, ran.code));
        }
        let same = verdicts.iter().all(|(_, code)| *code == verdicts[0].1);
        assert!(same, "site {number}, {command}: {verdicts:?}\n{after}");
        let could = verdicts[0].1 != 2;
        assert!(
            site.is_some() || !could,
            "site {number}, {command}: a site that does not load is judged"
        );
    }
}

/// A test plan with results that somebody may have seen; some rows stay open.
fn filled_in(random: &mut Random, plan: &str) -> String {
    let mut out = String::new();
    for row in plan.lines() {
        let result = *random.pick(&["answered", "nothing", "refused", ""]);
        match row.strip_suffix(",,") {
            Some(start) => out.push_str(&format!("{start},{result},\n")),
            None => out.push_str(&format!("{row}\n")),
        }
    }
    out
}

/// What holds for each answer.
fn answered(ran: &Ran, format: &str, place: &str, site: &str) {
    let Ran { code, out, err } = ran;
    assert!(
        (0..=2).contains(code),
        "{place} ends with {code}\n{err}\n{site}"
    );
    assert!(!err.contains("panicked"), "{place}\n{err}\n{site}");
    assert!(
        !err.contains("--help"),
        "there is no such command line: {place}\n{err}"
    );
    let wild = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    assert!(
        !out.contains(wild) && !err.contains(wild),
        "{place}\n{out}\n{err}"
    );
    match code {
        2 => assert!(
            !err.trim().is_empty(),
            "{place} fails without a reason\n{out}\n{err}\n{site}"
        ),
        _ => assert!(!out.is_empty(), "{place} answers nothing\n{err}\n{site}"),
    }
    if !out.is_empty() {
        read(out, format).unwrap_or_else(|error| panic!("{place}: {error}\n{out}\n{site}"));
    }
}

/// Whether a reader of the format takes a document.
fn read(text: &str, format: &str) -> Result<(), String> {
    match format {
        "json" | "sarif" => serde_json::from_str::<serde_json::Value>(text)
            .map(drop)
            .map_err(|error| error.to_string()),
        "junit" | "svg" => roxmltree::Document::parse(text)
            .map(drop)
            .map_err(|error| error.to_string()),
        "csv" => columns(text),
        "markdown" => page(text),
        _ => Ok(()),
    }
}

/// A page has one title, its headings leave out no level, and nothing in it is markup of HTML or a link (CommonMark 0.31,
/// and tables as most readers have them).
fn page(text: &str) -> Result<(), String> {
    let mut level = 0;
    for event in Parser::new_ext(text, Options::ENABLE_TABLES | Options::ENABLE_TASKLISTS) {
        match event {
            Event::Start(Tag::Heading { level: own, .. }) => {
                let own = own as usize;
                let fits = match own {
                    1 => level == 0,
                    own => level > 0 && own <= level + 1,
                };
                if !fits {
                    return Err(format!("a heading of level {own} below one of {level}"));
                }
                level = own;
            }
            Event::Html(html) | Event::InlineHtml(html) => return Err(format!("HTML: {html}")),
            Event::Start(Tag::Link { .. } | Tag::Image { .. } | Tag::BlockQuote(_)) => {
                return Err("a link, a picture or a quotation".to_owned());
            }
            _ => {}
        }
    }
    match level {
        0 => Err("no title".to_owned()),
        _ => Ok(()),
    }
}

/// All rows of a CSV text have as many fields (RFC 4180, section 2, rule 4).
fn columns(text: &str) -> Result<(), String> {
    let (mut quoted, mut fields, mut rows) = (false, 1, Vec::new());
    for c in text.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => fields += 1,
            '\n' if !quoted => rows.push(std::mem::replace(&mut fields, 1)),
            _ => {}
        }
    }
    if rows.iter().all(|row| *row == rows[0]) && !quoted {
        Ok(())
    } else {
        Err(format!("fields per row: {rows:?}"))
    }
}
