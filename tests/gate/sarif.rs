//! SARIF, held to the schema of its standard and to the findings that it tells.

use std::fs;
use std::path::Path;

use jsonschema::Validator;
use serde_json::{Value, json};

use crate::run::{DAY, Ran, about, demo, ended, program, site, starter};
use crate::sites::{Folder, accepted, shown, wide_rule_back, with_wide_rule};

/// The schema that OASIS published with the standard.
pub fn validator() -> Validator {
    let text = include_str!("../data/sarif-schema-2.1.0.json");
    let mut schema: Value = serde_json::from_str(text).expect("JSON");
    // One pattern has a bracket too many, which only lenient readers of patterns take. We name no language.
    for part in ["run", "toolComponent"] {
        let language = &mut schema["definitions"][part]["properties"]["language"];
        let keys = language.as_object_mut().expect("the schema as it was");
        assert!(keys.remove("pattern").is_some(), "the schema as it was");
    }
    jsonschema::draft7::options()
        .should_validate_formats(true)
        .build(&schema)
        .expect("a schema")
}

pub fn parsed(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {ran:?}"))
}

/// A document that the schema takes.
pub fn valid(ran: &Ran) -> Value {
    let value = parsed(ran);
    let wrong: Vec<String> = validator()
        .iter_errors(&value)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    assert_eq!(wrong, Vec::<String>::new());
    value
}

pub fn results(value: &Value) -> &Vec<Value> {
    value["runs"][0]["results"].as_array().expect("a list")
}

/// The schema takes the small documents that the standard takes and refuses those that it refuses.
#[test]
fn the_schema_can_say_no() {
    let run = json!({"tool": {"driver": {"name": "x"}}, "results": []});
    let with = |result: Value| {
        let mut run = run.clone();
        run["results"] = json!([result]);
        json!({"version": "2.1.0", "runs": [run]})
    };
    let at = |line: u32| {
        with(json!({"message": {"text": "x"}, "locations": [
            {"physicalLocation": {"artifactLocation": {"uri": "a"}, "region": {"startLine": line}}}
        ]}))
    };
    let validator = validator();
    for good in [
        json!({"version": "2.1.0", "runs": []}),
        json!({"version": "2.1.0", "runs": [run]}),
        with(json!({"message": {"text": "x"}})),
        at(1),
    ] {
        assert!(validator.is_valid(&good), "{good}");
    }
    for bad in [
        json!({"runs": []}),
        json!({"version": "2.1.0"}),
        json!({"version": "2.2.0", "runs": []}),
        json!({"version": "2.1.0", "runs": [], "more": 1}),
        json!({"version": "2.1.0", "runs": [{"tool": {}}]}),
        with(json!({"ruleId": "x"})),
        with(json!({"message": {}})),
        with(json!({"message": {"text": "x"}, "level": "high"})),
        at(0),
    ] {
        assert!(!validator.is_valid(&bad), "{bad}");
    }
}

#[test]
fn each_result_points_at_its_rule_and_its_place() {
    let value = valid(&demo("review", "--format sarif"));
    let rules = value["runs"][0]["tool"]["driver"]["rules"]
        .as_array()
        .expect("a list");
    let names: Vec<&str> = rules
        .iter()
        .filter_map(|rule| rule["id"].as_str())
        .collect();
    for known in boundwalk::checks::CHECKS {
        assert!(names.contains(&known.check.name), "{names:?}");
    }
    let findings = parsed(&demo("review", "--format json"));
    let findings = findings["findings"].as_array().expect("a list");
    assert_eq!(results(&value).len(), findings.len());
    for (result, finding) in results(&value).iter().zip(findings) {
        let index = result["ruleIndex"].as_u64().expect("a number") as usize;
        assert_eq!(rules[index]["id"], result["ruleId"]);
        assert_eq!(
            rules[index]["defaultConfiguration"]["level"],
            result["level"]
        );
        assert_eq!(result["ruleId"], finding["check"]);
        assert_eq!(result["level"], finding["severity"]);
        let place = &result["locations"][0];
        let physical = &place["physicalLocation"];
        assert_eq!(
            physical["artifactLocation"]["uri"],
            "policies/kettle-lane/site.toml"
        );
        assert_eq!(physical["region"]["startLine"], finding["place"]["line"]);
        assert_eq!(
            physical["region"]["startColumn"],
            finding["place"]["column"]
        );
        let subjects: Vec<&Value> = place["logicalLocations"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|one| &one["fullyQualifiedName"])
            .collect();
        let own: Vec<&Value> = finding["subjects"]
            .as_array()
            .expect("a list")
            .iter()
            .collect();
        assert_eq!(subjects, own);
        assert_eq!(result["suppressions"], json!([]));
        assert!(result.get("baselineState").is_none());
        let notes = finding["notes"].as_array().expect("a list").len();
        let related = result["relatedLocations"].as_array().map_or(0, Vec::len);
        assert_eq!(related, notes);
    }
    let invocation = &value["runs"][0]["invocations"][0];
    assert_eq!(invocation["executionSuccessful"], true);
    assert_eq!(invocation["exitCode"], 1);
    let caution = &invocation["toolExecutionNotifications"][0]["message"]["text"];
    assert_eq!(caution, boundwalk::analysis::CAUTION);
}

#[test]
fn fingerprints_are_distinct_and_those_of_the_json_document() {
    let value = valid(&demo("review", "--format sarif"));
    let findings = parsed(&demo("review", "--format json"));
    let other: Vec<&Value> = findings["findings"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| &one["fingerprint"])
        .collect();
    let marks: Vec<&Value> = results(&value)
        .iter()
        .map(|one| &one["partialFingerprints"]["checkAndSubjects/v1"])
        .collect();
    assert_eq!(marks, other);
    let mut distinct: Vec<String> = marks.iter().map(|mark| mark.to_string()).collect();
    distinct.sort();
    distinct.dedup();
    assert_eq!(distinct.len(), marks.len());
}

#[test]
fn accepted_known_new_and_gone_are_told_apart() {
    let folder = Folder::new(&with_wide_rule("scanner"));
    let known = folder.baseline();
    let subject = "edge \"scanner\"";
    let entry = accepted("permit-any-service", subject, "2026-12-31");
    let more = wide_rule_back("printer");
    folder.rewrite(&format!("{}{entry}{more}", with_wide_rule("scanner")));
    let value = valid(&folder.review(&format!("{known} --format sarif")));
    let of = |check: &str| -> Vec<&Value> {
        results(&value)
            .iter()
            .filter(|one| one["ruleId"] == check)
            .collect()
    };
    let mut wide = of("permit-any-service").into_iter();
    let accepted = wide.find(|one| one["suppressions"] != json!([]));
    let accepted = accepted.expect("accepted above");
    assert!(accepted.get("baselineState").is_none());
    assert_eq!(accepted["suppressions"][0]["kind"], "external");
    assert_eq!(accepted["suppressions"][0]["status"], "accepted");
    assert_eq!(
        accepted["suppressions"][0]["justification"],
        "the <old> scanner needs it (IT & network, until 2026-12-31)"
    );
    let [new] = of("permit-any-service")
        .into_iter()
        .filter(|one| one["suppressions"] == json!([]))
        .collect::<Vec<_>>()[..]
    else {
        panic!("{value}");
    };
    assert_eq!(new["baselineState"], "new");
    let states: Vec<&Value> = of("reason-missing")
        .into_iter()
        .map(|one| &one["baselineState"])
        .collect();
    assert_eq!(states, ["new", "unchanged"], "{value}");
    folder.rewrite(starter());
    let value = valid(&folder.review(&format!("{known} --format sarif")));
    assert!(!results(&value).is_empty());
    for result in results(&value) {
        assert_eq!(result["baselineState"], "absent");
        assert_eq!(result["level"], "none");
    }
}

#[test]
fn a_site_that_does_not_load_gives_its_problems() {
    let (_folder, file) = site("nonsense");
    let ran = about(&file, "review", "--format sarif");
    assert_eq!(ran.code, 2, "{ran:?}");
    let value = valid(&ran);
    assert!(!results(&value).is_empty());
    let run = &value["runs"][0];
    assert_eq!(run["invocations"][0]["executionSuccessful"], false);
    for result in results(&value) {
        let index = result["ruleIndex"].as_u64().expect("a number") as usize;
        assert_eq!(
            run["tool"]["driver"]["rules"][index]["id"],
            result["ruleId"]
        );
    }
}

/// From wherever it is run, the same document, without a path of the machine.
#[test]
fn no_path_of_the_machine_gets_in() {
    let folder = Folder::new(&with_wide_rule("scanner"));
    fs::create_dir(folder.path("a b")).expect("a folder");
    let inner = folder.path("a b/site.toml");
    fs::copy(&folder.file, &inner).expect("a copy");
    let review = |here: &Path, name: &str| {
        let mut command = program();
        command
            .current_dir(here)
            .args(["review", name, "--format", "sarif"])
            .args(DAY);
        ended(&mut command)
    };
    let here = folder.folder.path().canonicalize().expect("a folder");
    let absolute = here.join("a b/site.toml");
    let relative = review(&here, "a b/site.toml");
    assert_eq!(relative.out, review(&here, shown(&absolute)).out);
    assert_eq!(relative.out, review(&here, "./a b/site.toml").out);
    let value = valid(&relative);
    let place = &results(&value)[0]["locations"][0]["physicalLocation"];
    assert_eq!(place["artifactLocation"]["uri"], "a%20b/site.toml");
    assert!(!relative.out.contains(shown(&here)), "{}", relative.out);
    let above = review(&here.join("a b"), shown(&here.join("site.toml")));
    let value = valid(&above);
    let place = &results(&value)[0]["locations"][0]["physicalLocation"];
    assert_eq!(place["artifactLocation"]["uri"], "../site.toml");
}
