//! What checks found, as people and programs get it, and the words that explain it.

use boundwalk::checks::CHECKS;
use serde_json::Value;

use crate::json::parsed;
use crate::run::{about, demo, line, site, two_segments};

/// Twelve ports, each on a line of its own, live and empty.
fn empty_ports() -> String {
    let ports = (1..=12).map(|port| format!("\"{port}\" = {{ access = \"desks\" }}\n"));
    let ports: String = ports.collect();
    format!(
        "{}\n[switches.core.ports]\n{ports}",
        boundwalk::load::starter()
    )
}

#[test]
fn a_review_shows_the_first_few_findings_of_a_check_and_names_the_others() {
    let (_folder, file) = site(empty_ports());
    let ran = about(&file, "review", "");
    assert_eq!(ran.code, 1, "{ran:?}");
    assert_eq!(
        ran.out.matches("warning[unused-port-live]").count(),
        3,
        "{ran:?}"
    );
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("and 9 more of unused-port-live: core:4, core:5,"),
        "{flat}"
    );
    assert!(flat.contains("findings: 12 warnings, 2 notes"), "{flat}");

    let ran = about(&file, "review", "--all");
    assert_eq!(
        ran.out.matches("warning[unused-port-live]").count(),
        12,
        "{ran:?}"
    );
    assert!(!ran.out.contains(" more of "), "{ran:?}");
}

/// Findings are the result of a review: they go to standard output, problems of the file to standard error.
#[test]
fn findings_come_before_the_matrix_and_point_at_the_setting() {
    let ran = demo("review", "");
    assert_eq!(ran.err, "");
    let finding = ran
        .out
        .find("warning[source-check-off]: edge:cameras")
        .expect("a finding");
    let matrix = ran.out.find("from \\ to").expect("the matrix");
    assert!(finding < matrix);
    assert!(
        ran.out.contains("[gateways.edge.interfaces.cameras]"),
        "{}",
        ran.out
    );
}

#[test]
fn every_format_of_a_review_has_every_finding() {
    let value = parsed(&demo("review", "--format json"));
    let findings = value["findings"].as_array().expect("a list");
    let one = findings
        .iter()
        .find(|finding| finding["check"] == "ingress-filter-off")
        .expect("planted in the demo");
    assert_eq!(one["severity"], "warning");
    assert_eq!(one["subjects"], serde_json::json!(["taproom:6"]));
    let place = &one["place"];
    assert!(
        place["file"]
            .as_str()
            .expect("a file")
            .ends_with("site.toml")
    );
    assert_eq!(place["column"], 1);
    assert!(
        one["message"]
            .as_str()
            .expect("text")
            .starts_with("taproom:6: ")
    );
    assert!(one["help"].is_string() && one["notes"].is_array());

    let markdown = demo("review", "--format markdown").out;
    let items = markdown.lines().filter(|line| line.starts_with("- **"));
    assert_eq!(items.count(), findings.len(), "{markdown}");
    let all = demo("review", "--all").out;
    let shown = all.lines().filter(|line| {
        ["error[", "warning[", "note["]
            .iter()
            .any(|word| line.starts_with(word))
    });
    assert_eq!(shown.count(), findings.len(), "{all}");
}

#[test]
fn names_of_a_site_can_not_disturb_a_finding() {
    let wild = "[hosts.desk]\n[[hosts.desk.interfaces]]\nname = \"a\\u001b[31mb|<c>\"\nsegment = \"desks\"\n";
    let (_folder, file) = site(format!("{}\n{wild}", boundwalk::load::starter()));
    for format in ["text", "json", "markdown"] {
        let ran = about(&file, "review", &format!("--format {format}"));
        assert!(
            !ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'),
            "{ran:?}"
        );
    }
}

#[test]
fn a_gateway_that_checks_no_source_is_a_finding_of_its_own() {
    let (_folder, file) = site(two_segments("default = \"deny\""));
    let ran = about(&file, "review", "");
    assert_eq!(ran.code, 1, "{ran:?}");
    assert_eq!(
        ran.out.matches("warning[source-check-off]").count(),
        2,
        "{ran:?}"
    );
}

#[test]
fn explain_lists_every_check() {
    let ran = line("explain");
    assert_eq!(ran.code, 0);
    for registered in CHECKS {
        assert!(ran.out.contains(registered.check.name), "{}", ran.out);
    }
    assert!(
        ran.out.lines().all(|line| line.chars().count() <= 100),
        "{}",
        ran.out
    );
}

#[test]
fn explain_says_all_about_one_check() {
    let ran = line("explain ingress-filter-off");
    assert_eq!(ran.code, 0);
    for text in [
        "ingress-filter-off (warning): ",
        "Why it matters",
        "When it is fine",
        "What to do",
        "RFC 4363",
        "    [switches.core.ports]",
        "# <- here",
    ] {
        assert!(ran.out.contains(text), "{text}: {}", ran.out);
    }
}

#[test]
fn explain_knows_the_problems_of_loading_and_the_nearest_name() {
    let ran = line("explain own-address-twice");
    assert_eq!(ran.code, 0);
    assert!(
        ran.out.starts_with("own-address-twice (error): "),
        "{ran:?}"
    );

    let ran = line("explain ingres-filter-off");
    assert_eq!(ran.code, 2);
    assert_eq!(ran.out, "");
    assert!(
        ran.err.contains("did you mean `ingress-filter-off`?"),
        "{ran:?}"
    );
    let ran = line("explain zebra");
    assert!(
        ran.err.contains("`boundwalk explain` lists them"),
        "{ran:?}"
    );
}

#[test]
fn explain_as_a_document_holds_the_examples() {
    let value = parsed(&line("explain --format json"));
    assert_eq!(value["document"], "boundwalk-checks");
    assert_eq!(value["version"], 1);
    assert_eq!(value["checks"].as_array().map(Vec::len), Some(CHECKS.len()));
    assert!(
        value["problems"]
            .as_array()
            .is_some_and(|kinds| !kinds.is_empty())
    );
    let one = parsed(&line("explain two-tag-hop --format json"));
    let [check] = one["checks"].as_array().expect("a list").as_slice() else {
        panic!("one check: {one}");
    };
    let text = |key: &str| check[key].as_str().map(str::len).unwrap_or_default();
    for key in [
        "name",
        "severity",
        "summary",
        "why",
        "fine_when",
        "remedy",
        "fires",
        "quiet",
    ] {
        assert!(text(key) > 0, "{key}");
    }
    assert_eq!(one["problems"], Value::Array(Vec::new()));
}
