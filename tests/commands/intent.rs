//! `expectations`, `privilege` and `change` as a person runs them.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::json::parsed;
use crate::run::{DEMO, about, demo, ended, line, program, site, starter};
use crate::skipped::skip;

const PROPOSED: &str = "policies/kettle-lane/proposed";
const FLOWS: &str = "policies/kettle-lane/flows.csv";

#[test]
fn expectations_of_the_demo_are_told_with_packets_and_rules() {
    let ran = demo("expectations", "");
    assert_eq!(ran.code, 1, "{ran:?}");
    for told in [
        "  broken   cameras never to the internet",
        "edge rule 17 \"business",
        "  held     management reaches nothing",
        "  met      customers",
        "14 expectations: 12 held, 2 broken; 25 needs: 25 met",
    ] {
        assert!(ran.out.contains(told), "{told}: {}", ran.out);
    }
    let page = demo("expectations", "--format markdown").out;
    assert!(page.starts_with("# What must hold: Kettle Lane Brewery"));
    assert_eq!(page.matches("| broken |").count(), 2);
    let clean = site(starter());
    assert_eq!(about(&clean.1, "expectations", "").code, 0);
}

#[test]
fn ready_made_sets_are_listed_and_used() {
    let list = line("expectations --baselines");
    assert_eq!(list.code, 0);
    for set in [
        "small-office",
        "card-data",
        "plant-floor",
        "PCI DSS v4.0.1, 1.4.4",
    ] {
        assert!(list.out.contains(set), "{set}");
    }
    let document = parsed(&line("expectations --baselines --format json"));
    let sets = document["baselines"].as_array().expect("sets");
    assert_eq!(sets.len(), 3);
    let page = line("expectations --baselines --format markdown").out;
    for set in sets {
        let name = set["name"].as_str().expect("a name");
        assert!(page.contains(&format!("## {name}\n")), "{page}");
        let lines = set["lines"].as_array().expect("lines");
        assert!(!lines.is_empty());
        for line in lines {
            let requirement = line["requirement"].as_str().expect("a requirement");
            assert!(
                list.out.replace("\n    ", " ").contains(requirement),
                "{requirement}"
            );
            assert!(page.contains(requirement), "{requirement}");
        }
    }
    // A list of what ships is about no site.
    let (_folder, file) = site(starter());
    assert_eq!(about(&file, "expectations", "--baselines").code, 2);
    let text = fs::read_to_string(format!("{DEMO}/site.toml")).expect("the demo");
    let roles = "[baselines.card-data.roles]\ncard-data = [\"cards\"]\nuntrusted = [\"internet\", \"guest\"]\n\
        wireless = []\nout-of-scope = [\"production\"]\n";
    let (_folder, file) = site(format!("{text}\n{roles}"));
    let ran = about(&file, "expectations", "--format json");
    let value = parsed(&ran);
    let lines = value["lines"].as_array().expect("lines");
    let own: Vec<_> = lines
        .iter()
        .filter(|line| line["baseline"] == "card-data")
        .collect();
    // Nobody is wireless, so that line speaks of nobody and is left out.
    assert_eq!(own.len(), 5, "{own:#?}");
    assert!(own.iter().all(|line| {
        line["requirement"]
            .as_str()
            .is_some_and(|text| text.len() > 5)
    }));
    // One of them left out, another one said otherwise by the site.
    let without = "[baselines.card-data]\nwithout = [\"out of scope reaches no card data\"]\n";
    let instead = "[[expectations]]\nname = \"what leaves the card data zone is logged\"\nfrom = \"cards\"\nto = \"guest\"\n\
        permit = \"nothing\"\nreason = \"ours\"\n";
    let (_folder, file) = site(format!("{text}\n{without}{roles}{instead}"));
    let value = parsed(&about(&file, "expectations", "--format json"));
    let own = value["lines"]
        .as_array()
        .expect("lines")
        .iter()
        .filter(|line| line["baseline"] == "card-data");
    assert_eq!(own.count(), 3);
    assert_eq!(line("expectations").code, 2);
}

#[test]
fn privilege_names_the_widest_rules_of_the_demo() {
    let ran = demo("privilege", &format!("--flows {FLOWS}"));
    assert_eq!(ran.code, 1, "{ran:?}");
    let order: Vec<usize> = [
        "1. edge rule 44 \"IT reaches everything\"",
        "2. edge rule 35 \"recorder fetches",
        "3. edge rule 14 \"tills",
    ]
    .iter()
    .map(|told| {
        ran.out
            .find(told)
            .unwrap_or_else(|| panic!("{told}: {}", ran.out))
    })
    .collect();
    assert!(order.is_sorted(), "{}", ran.out);
    for told in [
        "2 malformed lines left out",
        "needs 2 of ",
        "Observed, but the model says it can't pass: ",
        "10.44.70.12:49152 -> 198.51.100.141:32100",
        "Needs of which no flow was observed",
        "Three likely causes",
    ] {
        assert!(ran.out.contains(told), "{told}: {}", ran.out);
    }
    assert!(
        ran.err.contains("flows.csv:") && ran.err.contains("is no address"),
        "{}",
        ran.err
    );
    assert_eq!(
        demo("privilege", &format!("--flows {FLOWS} --strict")).code,
        2
    );
    assert_eq!(demo("privilege", "--flows nowhere.csv").code, 2);
    let page = demo("privilege", "--format markdown").out;
    assert!(
        page.contains("\n1. edge rule 44 \"IT reaches everything\"\n"),
        "{page}"
    );
}

/// The suggestion goes into the file by the program `patch`, and then nothing is left to suggest.
#[test]
fn the_tighter_rules_of_the_demo_apply_and_settle() {
    let text = fs::read_to_string(format!("{DEMO}/site.toml")).expect("the demo");
    let log = fs::read(FLOWS).expect("the log");
    for most in ["1", "3"] {
        let (folder, file) = site(&text);
        fs::write(folder.path().join("flows.csv"), &log).expect("a file");
        let arguments = [
            "privilege",
            "site.toml",
            "--flows",
            "flows.csv",
            "--tighten",
            "--most",
            most,
            "--today",
            "2026-11-25",
        ];
        let run = || ended(program().current_dir(folder.path()).args(arguments));
        let ran = run();
        assert_eq!(ran.code, 1, "{ran:?}");
        assert!(
            ran.out.contains("Proved before this was shown"),
            "{}",
            ran.out
        );
        fs::write(folder.path().join("tighter.patch"), &ran.out).expect("a file");
        let patch = Command::new("patch")
            .current_dir(folder.path())
            .args(["-p0", "-i", "tighter.patch"])
            .output();
        let patch = match patch {
            Ok(patch) => patch,
            Err(error) => return skip("patch", &error),
        };
        assert!(patch.status.success(), "{patch:?}");
        let tighter = fs::read_to_string(&file).expect("the site");
        let written = ended(program().current_dir(folder.path()).args([
            "change",
            "old.toml",
            "site.toml",
            "--fail-on",
            "opened",
            "--today",
            "2026-11-25",
        ]));
        assert_eq!(written.code, 2, "there is no old.toml");
        fs::write(folder.path().join("old.toml"), &text).expect("a file");
        let change = [
            "change",
            "old.toml",
            "site.toml",
            "--format",
            "json",
            "--no-findings",
            "--today",
            "2026-11-25",
        ];
        let value = parsed(&ended(program().current_dir(folder.path()).args(change)));
        assert_eq!(value["opened"].as_array().map(Vec::len), Some(0));
        assert_ne!(value["closed"].as_array().map(Vec::len), Some(0));
        // --write does the same.
        fs::write(&file, &text).expect("the site");
        let ran = ended(
            program()
                .current_dir(folder.path())
                .args(arguments)
                .arg("--write"),
        );
        assert_eq!(ran.code, 0, "{ran:?}");
        assert_eq!(fs::read_to_string(&file).expect("the site"), tighter);
    }
}

#[test]
fn the_proposed_change_is_told_in_every_form() {
    let ran = demo("change", PROPOSED);
    assert_eq!(ran.code, 1, "{ran:?}");
    for told in [
        "  published -> coldstore, IPv4",
        "now by  edge rule 27 \"cooling firm",
        "before  denied by edge rule 45 \"everything else\"",
        "was by  edge rule 17 \"business on the web\"",
        "renamed (was \"labels from the label server\"), no effect on who reaches",
        "the expectation \"cameras never to the internet\": was broken, is held",
        "opens something for 1 pair of segments and closes something for 6 pairs",
    ] {
        let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(&told), "{told}: {}", ran.out);
    }
    let page = demo("change", &format!("{PROPOSED} --format markdown")).out;
    for chapter in [
        "## What opens",
        "## What closes",
        "## Who is affected",
        "## Risks to weigh",
        "## What was edited",
        "## How to test",
        "## How to go back",
        "## What this rests on",
    ] {
        assert!(page.contains(chapter), "{chapter}: {page}");
    }
    let value = parsed(&demo("change", &format!("{PROPOSED} --format json")));
    assert_eq!(value["opened"].as_array().map(Vec::len), Some(1));
    assert_eq!(value["closed"].as_array().map(Vec::len), Some(6));
    assert_eq!(value["no_effect"], false);
    let same = demo("change", DEMO);
    assert_eq!(same.code, 0, "{same:?}");
    assert!(same.out.contains("nothing opens and nothing closes"));
    for (what, code) in [("never", 0), ("worse", 1), ("opened", 1), ("any", 1)] {
        assert_eq!(
            demo("change", &format!("{PROPOSED} --fail-on {what}")).code,
            code,
            "{what}"
        );
    }
}

fn git(folder: &Path, arguments: &[&str]) {
    let mut git = Command::new("git");
    git.current_dir(folder).args([
        "-c",
        "user.name=somebody",
        "-c",
        "user.email=somebody@example.org",
    ]);
    let output = git.args(arguments).output().expect("git runs");
    assert!(output.status.success(), "{arguments:?}: {output:?}");
}

#[test]
fn a_git_revision_is_compared_without_touching_the_work_tree() {
    if let Err(error) = Command::new("git").arg("--version").output() {
        return skip("git", &error);
    }
    let folder = tempfile::tempdir().expect("a folder");
    let inner = folder.path().join("network");
    fs::create_dir(&inner).expect("a folder");
    let site = inner.join("site.toml");
    fs::write(&site, starter()).expect("a file");
    git(folder.path(), &["init", "-q"]);
    git(folder.path(), &["add", "."]);
    git(folder.path(), &["commit", "-q", "-m", "first"]);
    let closed = starter().replacen("action = \"permit\"", "action = \"deny\"", 1);
    fs::write(&site, &closed).expect("a file");
    let index = fs::read(folder.path().join(".git/index")).expect("an index");
    for path in ["network", "network/site.toml"] {
        let run = |more: &[&str]| {
            let since = ["change", path, "--since", "HEAD", "--today", "2026-11-25"];
            ended(program().current_dir(folder.path()).args(since).args(more))
        };
        let ran = run(&[]);
        assert_eq!(ran.code, 1, "{ran:?}");
        assert!(
            ran.out.contains("at HEAD") && ran.out.contains("Closes"),
            "{}",
            ran.out
        );
    }
    assert_eq!(fs::read_to_string(&site).expect("the site"), closed);
    assert_eq!(
        fs::read(folder.path().join(".git/index")).expect("an index"),
        index
    );
    for (revision, told) in [("nowhere", "no revision"), ("--output=x", "is no revision")] {
        let since = format!("--since={revision}");
        let ran = ended(
            program()
                .current_dir(folder.path())
                .args(["change", "network", &since]),
        );
        assert_eq!(ran.code, 2, "{ran:?}");
        assert!(ran.err.contains(told), "{}", ran.err);
    }
    let outside = ended(program().args(["change", DEMO, "--since", "no-such-revision"]));
    assert_eq!(outside.code, 2);
}
