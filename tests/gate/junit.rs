//! JUnit XML, held to a schema of a reader and to the findings that it tells.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use crate::run::{about, demo, site, starter};
use crate::sites::{Folder, accepted, wide_rule_back, with_wide_rule};
use crate::skipped::skip;

/// What another program says of a text under the schema; `None`: that program is missing.
pub fn schema_takes(xml: &str) -> Option<bool> {
    let schema = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/junit-10.xsd");
    let mut command = Command::new("xmllint");
    command
        .args(["--noout", "--nonet", "--schema"])
        .arg(schema)
        .arg("-");
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let mut child = match command.spawn() {
        Ok(child) => child,
        Err(error) => {
            skip("xmllint", &error);
            return None;
        }
    };
    let mut input = child.stdin.take().expect("it was asked for");
    input.write_all(xml.as_bytes()).expect("it reads");
    drop(input);
    Some(child.wait().expect("it ends").success())
}

/// A case as a reader sees it: suite, class and name, what became of it, the message and the text.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Case {
    pub suite: String,
    pub name: String,
    pub fate: String,
    pub message: String,
    pub text: String,
}

fn attribute(element: &BytesStart<'_>, name: &str) -> String {
    let found = element.try_get_attribute(name).expect("attributes");
    let found = found.unwrap_or_else(|| panic!("{name} in {element:?}"));
    let value = found.normalized_value(quick_xml::XmlVersion::Explicit1_0);
    value.expect("escapes that are known").into_owned()
}

/// All cases of a document, and what its head says of tests and failures.
pub fn cases(xml: &str) -> (Vec<Case>, [usize; 2]) {
    let mut reader = Reader::from_str(xml);
    let (mut cases, mut suite, mut head) = (Vec::<Case>::new(), String::new(), [0, 0]);
    loop {
        let event = reader.read_event().expect("XML");
        match &event {
            Event::Start(element) | Event::Empty(element) => match element.name().as_ref() {
                "testsuites" => {
                    head = ["tests", "failures"]
                        .map(|name| attribute(element, name).parse().expect("a number"));
                }
                "testsuite" => suite = attribute(element, "name"),
                "testcase" => cases.push(Case {
                    suite: suite.clone(),
                    name: attribute(element, "name"),
                    fate: "held".to_owned(),
                    ..Case::default()
                }),
                "failure" | "skipped" => {
                    let case = cases.last_mut().expect("inside of a case");
                    case.fate = element.name().as_ref().to_owned();
                    case.message = attribute(element, "message");
                }
                other => panic!("{other}"),
            },
            Event::Text(text) => add(&mut cases, text),
            Event::GeneralRef(name) => {
                let character = match name.as_ref() {
                    "lt" => "<",
                    "gt" => ">",
                    "amp" => "&",
                    "quot" => "\"",
                    "apos" => "'",
                    other => panic!("{other}"),
                };
                add(&mut cases, character);
            }
            Event::Eof => break,
            _ => {}
        }
    }
    (cases, head)
}

fn add(cases: &mut [Case], text: &str) {
    if let Some(case) = cases.last_mut() {
        case.text.push_str(text);
    }
}

/// How many lines of a failure are findings.
pub fn lines(case: &Case) -> usize {
    match case.fate.as_str() {
        "failure" => case.text.trim().lines().count(),
        _ => 0,
    }
}

#[test]
fn the_schema_can_say_no() {
    for (xml, fine) in [
        ("<testsuites/>", true),
        (
            "<testsuites><testsuite name='a' tests='0' failures='0' errors='0'/></testsuites>",
            true,
        ),
        (
            "<testsuites><testsuite name='a' failures='0' errors='0'/></testsuites>",
            false,
        ),
        ("<testsuites><testcase name='a'/></testsuites>", false),
        ("<testsuites findings='1'/>", false),
        ("<testsuites>", false),
    ] {
        if let Some(taken) = schema_takes(xml) {
            assert_eq!(taken, fine, "{xml}");
        }
    }
}

#[test]
fn every_check_that_counts_is_a_case() {
    let xml = demo("review", "--format junit").out;
    assert_ne!(schema_takes(&xml), Some(false), "{xml}");
    let (cases, [tests, failures]) = cases(&xml);
    assert_eq!(cases.len(), tests);
    let failed = cases.iter().filter(|case| case.fate == "failure").count();
    assert_eq!(failed, failures);
    let names: Vec<&str> = cases
        .iter()
        .filter(|case| case.suite == "checks")
        .map(|case| case.name.as_str())
        .collect();
    let counting = boundwalk::checks::CHECKS.iter().map(|known| known.check);
    let counting =
        counting.filter(|check| check.severity >= boundwalk::diagnostic::Severity::Warning);
    assert_eq!(names, counting.map(|check| check.name).collect::<Vec<_>>());
    let loads = cases
        .iter()
        .find(|case| case.suite == "site file")
        .expect("a case");
    assert_eq!(loads.fate, "held");
    let expectations = cases.iter().filter(|case| case.suite == "expectations");
    assert!(expectations.count() > 5, "{xml}");
    assert_eq!(xml, demo("review", "--format junit").out);
}

#[test]
fn accepted_and_known_findings_are_no_failures() {
    let subject = "edge \"scanner\"";
    let entry = accepted("permit-any-service", subject, "2026-12-31");
    let folder = Folder::new(&format!("{}{entry}", with_wide_rule("scanner")));
    let known = folder.baseline();
    let xml = folder
        .review(&format!("{known} --format junit --fail-on note"))
        .out;
    assert_ne!(schema_takes(&xml), Some(false), "{xml}");
    let (cases, [_, failures]) = cases(&xml);
    assert_eq!(failures, 0, "{xml}");
    let of = |name: &str| cases.iter().find(|case| case.name == name).expect("a case");
    assert_eq!(of("permit-any-service").fate, "skipped");
    assert_eq!(
        of("permit-any-service").message,
        "edge \"scanner\": accepted: the <old> scanner needs it (IT & network, until 2026-12-31)"
    );
    let known = cases
        .iter()
        .filter(|case| case.message == "1 known from the baseline");
    assert!(known.count() > 0, "{xml}");
}

#[test]
fn a_site_that_does_not_load_is_a_failure() {
    let (_folder, file) = site("nonsense");
    let ran = about(&file, "review", "--format junit");
    assert_eq!(ran.code, 2, "{ran:?}");
    assert_ne!(schema_takes(&ran.out), Some(false), "{ran:?}");
    let (cases, [tests, failures]) = cases(&ran.out);
    assert_eq!((tests, failures), (1, 1));
    assert!(cases[0].text.contains("site.toml:1:"), "{cases:?}");
}

/// An expectation of the starter that does not hold, given a rule that permits what it forbids.
#[test]
fn an_expectation_is_a_case_that_holds_fails_or_is_accepted() {
    let expectation = "[[expectations]]\nname = \"guests stay out\"\nfrom = \"guests\"\nto = \"office\"\nservices = \"ssh\"\npermit = \"nothing\"\n";
    let broken = format!(
        "{}\n{}\n{expectation}",
        starter(),
        wide_rule_back("printer")
    );
    let accepted = accepted("expectation-broken", "guests stay out", "2026-12-31");
    for (text, fate, message) in [
        (format!("{}\n{expectation}", starter()), "held", ""),
        (broken.clone(), "failure", "guests stay out: "),
        (
            format!("{broken}{accepted}"),
            "skipped",
            "accepted: the <old> scanner",
        ),
    ] {
        let xml = Folder::new(&text).review("--format junit").out;
        assert_ne!(schema_takes(&xml), Some(false), "{xml}");
        let (cases, _) = cases(&xml);
        let own = cases.iter().find(|case| case.name == "guests stay out");
        let own = own.expect("a case");
        assert_eq!(
            (own.suite.as_str(), own.fate.as_str()),
            ("expectations", fate),
            "{xml}"
        );
        assert!(own.message.starts_with(message), "{xml}");
    }
}
