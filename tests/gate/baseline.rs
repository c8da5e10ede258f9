//! Accepted findings and baselines, by running the program.

use std::fs;

use serde_json::Value;

use crate::run::{Ran, demo, starter};
use crate::sites::{Folder, accepted, shown, wide_rule, wide_rule_back, with_wide_rule};

/// The finding that the wide rule brings, and its subject.
const WIDE: &str = "permit-any-service";
const SUBJECT: &str = "edge \"scanner\"";

fn json(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {ran:?}"))
}

/// Check, first subject and state of each finding.
fn states(value: &Value) -> Vec<(String, String, String)> {
    let findings = value["findings"].as_array().expect("a list").iter();
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let all = findings.map(|one| {
        (
            text(&one["check"]),
            text(&one["subjects"][0]),
            text(&one["state"]),
        )
    });
    all.collect()
}

/// Text with its line breaks and blanks evened out.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_wide_rule_is_found() {
    let folder = Folder::new(&with_wide_rule("scanner"));
    let ran = folder.review("");
    assert_eq!(ran.code, 1, "{ran:?}");
    let states = states(&json(&folder.review("--format json")));
    assert!(
        states.contains(&(WIDE.to_owned(), SUBJECT.to_owned(), "open".to_owned())),
        "{states:?}"
    );
}

/// Every finding of the wide rule, accepted one by one.
fn all_accepted(until: &str) -> String {
    let site = with_wide_rule("scanner");
    let value = json(&Folder::new(&site).review("--format json"));
    let entries = states(&value)
        .into_iter()
        .map(|(check, subject, _)| accepted(&check, &subject, until));
    format!("{site}{}", entries.collect::<String>())
}

#[test]
fn accepted_findings_do_not_count_up_to_their_last_day_and_stay_in_sight() {
    let folder = Folder::new(&all_accepted("2026-11-25"));
    let ran = folder.review("--fail-on note");
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(!ran.out.contains(&format!("[{WIDE}]")), "{ran:?}");
    let text = flat(&ran.out);
    assert!(
        text.contains("accepted: the <old> scanner needs it (IT & network, until 2026-11-25)"),
        "{text}"
    );
    assert!(
        text.contains("; no findings;") && text.contains(" accepted"),
        "{text}"
    );
    let value = json(&folder.review("--format json"));
    assert_eq!(value["findings"], serde_json::json!([]));
    let entry = value["accepted"]
        .as_array()
        .expect("a list")
        .iter()
        .find(|one| one["check"] == WIDE)
        .expect("accepted above");
    assert_eq!(entry["reason"], "the <old> scanner needs it");
    assert_eq!(entry["owner"], "IT & network");
    assert_eq!(entry["until"], "2026-11-25");
    assert!(entry["entry"]["line"].as_u64() > entry["place"]["line"].as_u64());
    let markdown = folder.review("--format markdown").out;
    assert!(markdown.contains("## Accepted, not counted"), "{markdown}");
    assert!(markdown.contains("the &lt;old&gt; scanner"), "{markdown}");
}

#[test]
fn a_day_later_all_counts_again_and_the_entry_is_a_finding() {
    let folder = Folder::new(&all_accepted("2026-11-24"));
    let ran = folder.review("");
    assert_eq!(ran.code, 1, "{ran:?}");
    assert!(ran.out.contains(&format!("[{WIDE}]")), "{ran:?}");
    let text = flat(&ran.out);
    assert!(text.contains("warning[acceptance-expired]"), "{text}");
    assert!(text.contains("until 2026-11-24, 1 day ago"), "{text}");
    assert!(text.contains("counts again"), "{text}");
}

#[test]
fn an_entry_for_nothing_and_one_of_no_check_are_findings() {
    let far = "2027-01-01";
    let text = format!(
        "{}{}{}{}",
        starter(),
        accepted("rule-dead", "edge \"gone\"", far),
        accepted("rule-daed", "edge \"gone\"", far),
        accepted("acceptance-stale", "rule-dead, edge \"gone\"", far),
    );
    let ran = Folder::new(&text).review("--all");
    assert_eq!(ran.code, 1, "{ran:?}");
    assert_eq!(
        ran.out.matches("warning[acceptance-stale]").count(),
        1,
        "{ran:?}"
    );
    assert_eq!(
        ran.out.matches("warning[acceptance-unknown]").count(),
        2,
        "{ran:?}"
    );
    assert!(ran.out.contains("did you mean `rule-dead`?"), "{ran:?}");
}

#[test]
fn only_what_is_not_in_the_baseline_counts() {
    let folder = Folder::new(&with_wide_rule("scanner"));
    let known = folder.baseline();
    let ran = folder.review(&known);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("Known from the baseline"), "{ran:?}");

    // Another rule of the same sort, in front: the lines of the known one move.
    let (head, tail) = starter()
        .split_once("[[gateways.edge.rules]]")
        .expect("rules");
    let moved = format!(
        "# a remark\n{head}{}\n[[gateways.edge.rules]]{tail}\n\n{}",
        wide_rule_back("printer"),
        wide_rule("scanner")
    );
    folder.rewrite(&moved);
    let ran = folder.review(&format!("{known} --format json"));
    assert_eq!(ran.code, 1, "{ran:?}");
    let value = json(&ran);
    let wide: Vec<_> = states(&value)
        .into_iter()
        .filter(|(check, ..)| check == WIDE)
        .collect();
    let row = |subject: &str, state: &str| (WIDE.to_owned(), subject.to_owned(), state.to_owned());
    assert_eq!(
        wide,
        [row("edge \"printer\"", "new"), row(SUBJECT, "known")]
    );

    folder.rewrite(starter());
    let ran = folder.review(&known);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(
        ran.out.contains("In the baseline, found no more"),
        "{ran:?}"
    );
    assert!(ran.out.contains(&format!("{WIDE}: {SUBJECT}")), "{ran:?}");

    // A new name is a new finding.
    folder.rewrite(&with_wide_rule("camera"));
    assert_eq!(folder.review(&known).code, 1);
}

#[test]
fn an_accepted_finding_is_not_in_the_baseline_and_new_when_its_day_has_passed() {
    let folder = Folder::new(&all_accepted("2026-11-25"));
    let known = folder.baseline();
    let text = fs::read_to_string(folder.path("known.json")).expect("written");
    assert!(!text.contains(WIDE), "{text}");
    assert_eq!(folder.review(&known).code, 0);
    folder.rewrite(&all_accepted("2026-11-24"));
    let ran = folder.review(&known);
    assert_eq!(ran.code, 1, "{ran:?}");
    assert!(ran.out.contains(&format!("[{WIDE}]")), "{ran:?}");
}

#[test]
fn a_baseline_of_the_demo_silences_it_and_is_the_same_each_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let [first, second] = ["a.json", "b.json"].map(|name| folder.path().join(name));
    for path in [&first, &second, &second] {
        let ran = demo("review", &format!("--write-baseline {}", shown(path)));
        assert_eq!(ran.code, 0, "{ran:?}");
    }
    let text = fs::read_to_string(&first).expect("written");
    assert_eq!(text, fs::read_to_string(&second).expect("written"));
    assert!(text.lines().count() > 40, "{text}");
    let ran = demo(
        "review",
        &format!("--fail-on note --baseline {}", shown(&first)),
    );
    assert_eq!(ran.code, 0, "{ran:?}");
    // Nothing else is left in the folder.
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 2);
}

#[test]
fn a_baseline_that_cannot_be_read_or_written_ends_with_2_and_says_why() {
    let folder = Folder::new(starter());
    for (text, reason) in [
        (None, "there is no baseline"),
        (Some("{"), "line 1 column 1"),
        (
            Some("{\"document\":\"x\",\"version\":1,\"findings\":[]}"),
            "calls itself `x`",
        ),
        (
            Some("{\"document\":\"boundwalk-baseline\",\"version\":7,\"findings\":[]}"),
            "version 7",
        ),
    ] {
        if let Some(text) = text {
            fs::write(folder.path("bad.json"), text).expect("a file");
        }
        let path = folder.path("bad.json");
        let ran = folder.review(&format!("--baseline {}", shown(&path)));
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{ran:?}");
        assert!(
            ran.err.contains(reason) && ran.err.contains("bad.json"),
            "{ran:?}"
        );
    }
    let nowhere = folder.path("no/such/folder.json");
    let ran = folder.review(&format!("--write-baseline {}", shown(&nowhere)));
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(ran.err.contains("can't write"), "{ran:?}");
}

#[test]
fn a_file_that_is_no_baseline_is_left_alone() {
    let folder = Folder::new(starter());
    for (name, text) in [
        ("site.toml", starter()),
        ("notes.txt", "remember the milk\n"),
    ] {
        let path = folder.path(name);
        fs::write(&path, text).expect("a file");
        let ran = folder.review(&format!("--write-baseline {}", shown(&path)));
        assert_eq!(ran.code, 2, "{ran:?}");
        assert!(ran.err.contains("is left alone"), "{ran:?}");
        assert_eq!(fs::read_to_string(&path).expect("still there"), text);
    }
    let empty = folder.path("empty.json");
    fs::write(&empty, "").expect("a file");
    assert_eq!(
        folder
            .review(&format!("--write-baseline {}", shown(&empty)))
            .code,
        0
    );
}

/// The entry that the read-me file shows speaks of a finding of the demo.
#[test]
fn the_entry_of_the_read_me_file_accepts_a_finding_of_the_demo() {
    let read_me = include_str!("../../README.md");
    let mut blocks = read_me
        .split("```toml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next());
    let entry = blocks
        .find(|block| block.contains("[[accepted]]"))
        .expect("an entry");
    let demo = include_str!("../../policies/kettle-lane/site.toml");
    let value = json(&Folder::new(&format!("{demo}\n{entry}")).review("--format json"));
    let [one] = value["accepted"].as_array().expect("a list").as_slice() else {
        panic!("{value}");
    };
    assert_eq!(one["check"], "ingress-filter-off");
    assert_eq!(one["subjects"], serde_json::json!(["taproom:6"]));
}

/// Lines moved, blanks and remarks put in: not one finding of the demo is new, and none is gone.
#[test]
fn moved_lines_change_no_fingerprint() {
    let demo = include_str!("../../policies/kettle-lane/site.toml");
    let folder = Folder::new(demo);
    let known = folder.baseline();
    let before = json(&folder.review("--format json"));
    let moved = demo
        .replace("\n[", "\n\n# moved\n[")
        .replace(" = ", "   =  ");
    assert!(moved.lines().count() > demo.lines().count() + 100);
    folder.rewrite(&moved);
    let ran = folder.review(&format!("{known} --fail-on note --format json"));
    assert_eq!(ran.code, 0, "{ran:?}");
    let after = json(&ran);
    assert_eq!(after["gone"], serde_json::json!([]));
    let marks = |value: &Value| -> Vec<String> {
        value["findings"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|one| one["fingerprint"].to_string())
            .collect()
    };
    assert_eq!(marks(&before), marks(&after));
}

/// The starter with a rule from the guests to the office that names some services, and a line against it.
pub fn narrow(from: &str, services: &str, destination: &str) -> String {
    format!(
        "{}\n[[gateways.edge.rules]]\nname = \"helper\"\nfrom = [{from}]\nto = \"office\"\n\
         destination = [{destination}]\nservices = [{services}]\naction = \"permit\"\nlog = true\n\
         [[expectations]]\nname = \"nobody into the office\"\nfrom = [\"guests\", \"internet\"]\nto = \"office\"\n\
         permit = \"nothing\"\n",
        starter()
    )
}

/// How a known broken line is judged once the rule was edited.
fn once_edited(edited: &str) -> (u8, String) {
    let folder = Folder::new(&narrow(
        "\"guests\"",
        "\"tcp/445\"",
        "\"10.20.10.20-10.20.10.29\"",
    ));
    let base = folder.path("base.json");
    let base = base.to_string_lossy().into_owned();
    let written = folder.review(&format!("--write-baseline {base}"));
    assert_eq!(written.code, 0, "{written:?}");
    folder.rewrite(edited);
    let ran = folder.review(&format!("--baseline {base}"));
    (ran.code as u8, flat(&ran.out))
}

#[test]
fn a_known_finding_that_got_worse_counts_and_says_by_what() {
    let (from, services, to) = ("\"guests\"", "\"tcp/445\"", "\"10.20.10.20-10.20.10.29\"");
    let same = narrow(from, services, to);
    let worse = [
        (
            "more pairs",
            narrow("\"guests\", \"internet\"", services, to),
        ),
        (
            "more services",
            narrow(from, "\"tcp/445\", \"tcp/139\"", to),
        ),
        (
            "more hosts",
            narrow(from, services, "\"10.20.10.20-10.20.10.99\""),
        ),
        (
            "other hosts",
            narrow(from, services, "\"10.20.10.30-10.20.10.39\""),
        ),
    ];
    let (code, said) = once_edited(&same);
    assert_eq!(code, 0);
    // What somebody lives with is true all the same.
    assert!(said.contains("of 2 expectations 2 broken"), "{said}");
    for (what, edited) in worse {
        let (code, said) = once_edited(&edited);
        assert_eq!(code, 1, "{what}: {said}");
        assert!(said.contains("more than before:"), "{what}: {said}");
    }
    let better = [
        narrow(from, services, "\"10.20.10.20\""),
        narrow(from, "\"tcp/445\"", "\"10.20.10.20-10.20.10.21\""),
    ];
    for edited in better {
        let (code, said) = once_edited(&edited);
        assert_eq!(code, 0, "{said}");
    }
}

#[test]
fn a_baseline_never_holds_that_an_acceptance_has_ended() {
    let folder = Folder::new(&all_accepted("2026-11-24"));
    let base = folder.path("base.json").to_string_lossy().into_owned();
    let written = folder.review(&format!("--write-baseline {base} --fail-on warning"));
    assert_eq!(written.code, 1, "{written:?}");
    assert!(
        flat(&written.out).contains("[acceptance-expired]"),
        "{written:?}"
    );
    let text = fs::read_to_string(&base).expect("it was written");
    assert!(!text.contains("acceptance-expired"), "{text}");
    let again = folder.review(&format!("--baseline {base} --fail-on warning"));
    assert_eq!(again.code, 1, "{again:?}");
}

/// Nothing was measured by an older program: then nothing is called worse.
#[test]
fn a_baseline_of_the_first_version_is_still_read() {
    let folder = Folder::new(&with_wide_rule("scanner"));
    let base = folder.path("base.json");
    let name = base.to_string_lossy().into_owned();
    folder.review(&format!("--write-baseline {name}"));
    let new: Value =
        serde_json::from_str(&fs::read_to_string(&base).expect("written")).expect("JSON");
    let mut old = new;
    old["version"] = Value::from(1);
    let list = old["findings"].as_array_mut().expect("a list");
    assert!(list.iter().any(|one| one.get("measured").is_some()));
    for one in list {
        one.as_object_mut().expect("an entry").remove("measured");
    }
    fs::write(&base, old.to_string()).expect("a file of our own");
    assert_eq!(folder.review(&format!("--baseline {name}")).code, 0);
}

/// VLANs and segments are measured too: a host that gets a third home is worse than with two.
#[test]
fn one_more_segment_of_a_host_is_worse_and_one_less_is_not() {
    let zones = "[zones.house]\ntrust = 50\n";
    let segments = (1..=4).map(|number| {
        format!("[segments.s{number}]\nzone = \"house\"\nprefixes = [\"10.44.{number}.0/24\"]\n")
    });
    let segments: String = segments.collect();
    let host = |homes: &[u8]| {
        let homes = homes.iter().map(|number| {
            format!("[[hosts.recorder.interfaces]]\nsegment = \"s{number}\"\naddresses = [\"10.44.{number}.9\"]\n")
        });
        format!(
            "{zones}{segments}[hosts.recorder]\n{}",
            homes.collect::<String>()
        )
    };
    let folder = Folder::new(&host(&[1, 2, 3]));
    let base = folder.path("base.json").to_string_lossy().into_owned();
    folder.review(&format!("--write-baseline {base} --fail-on note"));
    for (homes, red) in [
        (&[1, 2, 3][..], false),
        (&[1, 2], false),
        (&[1, 2, 3, 4], true),
        (&[1, 2, 4], true),
    ] {
        folder.rewrite(&host(homes));
        let ran = folder.review(&format!("--baseline {base} --fail-on note --format json"));
        let new = states(&json(&ran)).into_iter();
        let new = new.filter(|(check, _, state)| check == "several-homes" && state == "new");
        assert_eq!(new.count(), usize::from(red), "{homes:?}: {ran:?}");
    }
}
