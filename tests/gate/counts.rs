//! Does every form of a review tell of the same findings?

use std::path::Path;

use crate::baseline::narrow;
use crate::run::{DEMO, about};
use crate::sites::{Folder, accepted, wide_rule_back, with_wide_rule};
use crate::{junit, sarif};

/// Findings that count and those accepted, as each form has them.
type Counts = (usize, usize);

fn of_json(site: &Path, rest: &str) -> Counts {
    let value = sarif::parsed(&about(site, "review", &format!("--format json {rest}")));
    let open = value["findings"]
        .as_array()
        .expect("a list")
        .iter()
        .filter(|one| one["state"] != "known");
    (
        open.count(),
        value["accepted"].as_array().expect("a list").len(),
    )
}

fn of_sarif(site: &Path, rest: &str) -> Counts {
    let value = sarif::valid(&about(site, "review", &format!("--format sarif {rest}")));
    let results = sarif::results(&value).iter();
    // Results without a fingerprint are problems of the file.
    let findings = results.filter(|one| one.get("partialFingerprints").is_some());
    let mut counts = (0, 0);
    for finding in findings {
        let accepted = finding["suppressions"] != serde_json::json!([]);
        let state = finding["baselineState"].as_str();
        match (accepted, state) {
            (true, _) => counts.1 += 1,
            // A known one with more than before is an updated one (SARIF 2.1.0 section 3.27.24).
            (false, None | Some("new" | "updated")) => counts.0 += 1,
            (false, _) => {}
        }
    }
    counts
}

fn of_text(site: &Path, rest: &str) -> Counts {
    let text = about(site, "review", &format!("--all {rest}")).out;
    let starts = |line: &&str| {
        ["error[", "warning[", "note["]
            .iter()
            .any(|word| line.starts_with(word))
    };
    let findings = text.lines().filter(starts).count();
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    (findings, joined.matches(": accepted: ").count())
}

fn of_markdown(site: &Path, rest: &str) -> Counts {
    let text = about(site, "review", &format!("--format markdown {rest}")).out;
    let chapter = |title: &str| {
        let after = text.split_once(&format!("## {title}\n"));
        let lines = after.map_or("", |(_, after)| {
            after.split("\n## ").next().unwrap_or_default()
        });
        lines
            .lines()
            .filter(|line| line.starts_with("- **"))
            .count()
    };
    (chapter("Findings"), chapter("Accepted, not counted"))
}

fn of_junit(site: &Path, rest: &str) -> usize {
    let xml = about(
        site,
        "review",
        &format!("--format junit --fail-on note {rest}"),
    )
    .out;
    let (cases, _) = junit::cases(&xml);
    cases
        .iter()
        .filter(|case| case.suite == "checks")
        .map(junit::lines)
        .sum()
}

pub fn alike(site: &Path, rest: &str) -> Counts {
    let counts = of_json(site, rest);
    assert_eq!(of_sarif(site, rest), counts, "SARIF");
    assert_eq!(of_text(site, rest), counts, "text");
    assert_eq!(of_markdown(site, rest), counts, "Markdown");
    assert_eq!(of_junit(site, rest), counts.0, "JUnit");
    counts
}

#[test]
fn the_demo_has_as_many_findings_in_each_form() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join(DEMO);
    let (open, accepted) = alike(&demo, "");
    assert!(open > 40 && accepted == 0, "{open}, {accepted}");
}

#[test]
fn accepted_and_known_findings_are_counted_alike() {
    let entry = accepted("permit-any-service", "edge \"scanner\"", "2026-12-31");
    let text = format!("{}{entry}", with_wide_rule("scanner"));
    let folder = Folder::new(&text);
    let (before, accepted) = alike(&folder.file, "");
    assert!(before > 0 && accepted == 1, "{before}, {accepted}");
    let known = folder.baseline();
    assert_eq!(alike(&folder.file, &known), (0, 1));
    folder.rewrite(&format!("{text}{}", wide_rule_back("printer")));
    let (new, accepted) = alike(&folder.file, &known);
    assert!(new > 1 && accepted == 1, "{new}, {accepted}");
}

#[test]
fn a_known_finding_that_got_worse_is_counted_alike() {
    let (services, to) = ("\"tcp/445\"", "\"10.20.10.20-10.20.10.29\"");
    let folder = Folder::new(&narrow("\"guests\"", services, to));
    let known = folder.baseline();
    assert_eq!(alike(&folder.file, &known), (0, 0));
    folder.rewrite(&narrow("\"guests\"", "\"tcp/445\", \"tcp/139\"", to));
    let (worse, accepted) = alike(&folder.file, &known);
    assert!(worse > 0 && accepted == 0, "{worse}, {accepted}");
}
