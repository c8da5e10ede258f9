//! Documents for programs.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::run::{Ran, about, demo, line, site, starter, two_segments, with_warning};

pub fn parsed(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {ran:?}"))
}

/// One result of a test, held against the starter site.
fn verified() -> Ran {
    let (folder, file) = site(starter());
    let results = folder.path().join("results.csv");
    let row = "10.20.10.7,203.0.113.9,tcp,443,nothing";
    let text = format!("source,destination,protocol,port,result\n{row}\n");
    std::fs::write(&results, text).expect("a file");
    let results = results.display().to_string();
    about(&file, "verify", &format!("{results} --format json"))
}

/// `from to family`, as the document has them.
fn pairs(cells: &Value) -> Vec<(String, String, String)> {
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    cells
        .as_array()
        .expect("a list")
        .iter()
        .map(|cell| {
            (
                text(&cell["from"]),
                text(&cell["to"]),
                text(&cell["family"]),
            )
        })
        .collect()
}

#[test]
fn every_document_names_its_kind_and_version() {
    let (_folder, broken) = site("nonsense");
    for (ran, document) in [
        (demo("matrix", "--format json"), "boundwalk-matrix"),
        (demo("review", "--format json"), "boundwalk-review"),
        (demo("ports", "--format json"), "boundwalk-ports"),
        (demo("bypass", "--format json"), "boundwalk-bypass"),
        (demo("isolation", "--format json"), "boundwalk-isolation"),
        (demo("rules", "--format json"), "boundwalk-rules"),
        (demo("rules", "--rule 1 --format json"), "boundwalk-rule"),
        (demo("rules", "--clean --format json"), "boundwalk-clean"),
        (demo("probes", "--format json"), "boundwalk-probes"),
        (verified(), "boundwalk-verified"),
        (
            demo("expectations", "--format json"),
            "boundwalk-expectations",
        ),
        (demo("privilege", "--format json"), "boundwalk-privilege"),
        (
            demo("privilege", "--tighten --format json"),
            "boundwalk-tightened",
        ),
        (
            demo("change", "policies/kettle-lane/proposed --format json"),
            "boundwalk-change",
        ),
        (
            demo("path", "guest office ssh --format json"),
            "boundwalk-path",
        ),
        (
            about(&broken, "review", "--format json"),
            "boundwalk-problems",
        ),
        (
            about(&broken, "matrix", "--format json"),
            "boundwalk-problems",
        ),
        (
            about(&broken, "path", "a b https --format json"),
            "boundwalk-problems",
        ),
    ] {
        let value = parsed(&ran);
        assert_eq!(value["document"], document);
        let version = match document {
            "boundwalk-change" | "boundwalk-matrix" | "boundwalk-review" => 2,
            _ => 1,
        };
        assert_eq!(value["version"], version);
    }
}

#[test]
fn a_matrix_holds_each_pair_once_in_each_family() {
    for (by, rows, columns) in [("segment", 10, 11), ("zone", 7, 8), ("host", 23, 24)] {
        let value = parsed(&demo("matrix", &format!("--by {by} --format json")));
        let pairs = pairs(&value["cells"]);
        let distinct: BTreeSet<_> = pairs.iter().collect();
        assert_eq!(pairs.len(), rows * columns * 2, "{by}");
        assert_eq!(distinct.len(), pairs.len(), "{by}");
        assert_eq!(value["rows"].as_array().map(Vec::len), Some(rows));
        assert_eq!(value["columns"].as_array().map(Vec::len), Some(columns));
    }
}

#[test]
fn the_cells_of_the_demo_say_what_passes_and_why() {
    let value = parsed(&demo(
        "matrix",
        "--from point-of-sale --to internet --ipv4 --format json",
    ));
    let [cell] = value["cells"].as_array().expect("a list").as_slice() else {
        panic!("one pair: {value}");
    };
    assert_eq!(cell["state"], "services");
    assert_eq!(cell["services"], serde_json::json!(["https"]));
    assert_eq!(cell["services_from_every_address"], serde_json::json!([]));
    assert_eq!(cell["replies"], "all");
    assert_eq!(cell["gateway_decides"], "all");
    assert_eq!(cell["crossed"], serde_json::json!(["edge"]));
    let at = cell["rules"][0].as_u64().expect("a place in the list") as usize;
    let rule = &value["rules"][at];
    assert_eq!(rule["name"], "tills to the payment processor");
    assert_eq!(rule["number"], 13);
    assert_eq!(cell["witness"]["destination_port"], 443);
    assert_eq!(cell["complete"], true);
}

#[test]
fn flows_come_with_every_pair_that_has_some() {
    let value = parsed(&demo("matrix", "--flows --format json"));
    let flowing: BTreeSet<_> = pairs(&value["flows"]).into_iter().collect();
    let cells = value["cells"].as_array().expect("a list").iter();
    let open =
        cells.filter(|cell| matches!(cell["state"].as_str(), Some("services" | "everything")));
    let open = Value::Array(open.cloned().collect());
    let open: BTreeSet<_> = pairs(&open).into_iter().collect();
    assert_eq!(flowing, open);
    // What was asked for and is empty is an empty list.
    let closed = "--from point-of-sale --to management --format json";
    let value = parsed(&demo("matrix", &format!("--flows {closed}")));
    let flows = value["flows"].as_array().expect("a list");
    assert!(!flows.is_empty());
    assert!(
        flows
            .iter()
            .all(|pair| pair["flows"] == serde_json::json!([]))
    );
    assert_eq!(parsed(&demo("matrix", closed))["flows"], Value::Null);
    let nobody = "--flows --from management --format json";
    assert_eq!(
        parsed(&demo("matrix", nobody))["flows"],
        serde_json::json!([])
    );
}

#[test]
fn a_review_holds_what_loading_noticed_with_its_place() {
    let (_folder, file) = site(with_warning());
    let value = parsed(&about(&file, "review", "--format json"));
    assert_eq!(value["problems"], serde_json::json!([]));
    let findings = value["findings"].as_array().expect("a list");
    let problem = findings
        .iter()
        .find(|finding| finding["check"] == "zone-empty");
    let problem = problem.expect("the zone without a segment");
    assert_eq!(problem["severity"], "warning");
    let line = starter().lines().count() + 2;
    assert_eq!(problem["place"]["line"], line);
    assert_eq!(value["matrix"]["document"], "boundwalk-matrix");
}

#[test]
fn a_path_tells_each_step() {
    let value = parsed(&demo(
        "path",
        "198.51.100.9 203.0.113.3 https --format json",
    ));
    assert_eq!(value["sender"], "internet");
    assert_eq!(value["forged"], false);
    let way = &value["ways"][0];
    assert_eq!(way["delivered"], true);
    assert_eq!(way["replies"], "come back");
    assert_eq!(way["packet"]["destination"], "10.44.40.10");
    assert_eq!(way["packet"]["destination_port"], 8443);
    assert_eq!(way["steps"][0]["device"], "edge");
    assert_eq!(way["steps"][0]["rule"]["name"], "the shop");
}

/// What the read-me file lists for a document, or for a cell: words in backquotes outside brackets.
fn documented(row: &str) -> BTreeSet<String> {
    let read_me = include_str!("../../README.md");
    let start = format!("| {row} | ");
    let line = read_me.lines().find_map(|line| line.strip_prefix(&start));
    let mut depth = 0;
    let outside = |&c: &char| {
        depth += i32::from(c == '(');
        let keep = depth == 0;
        depth -= i32::from(c == ')');
        keep
    };
    let line = line.unwrap_or_else(|| panic!("{row} is not described"));
    let text: String = line.chars().filter(outside).collect();
    text.split('`')
        .skip(1)
        .step_by(2)
        .filter(|word| !word.starts_with('-'))
        .map(str::to_owned)
        .collect()
}

#[test]
fn documents_have_the_keys_that_the_read_me_file_lists() {
    let keys = |value: &Value| -> BTreeSet<String> {
        value
            .as_object()
            .expect("an object")
            .keys()
            .filter(|key| !["document", "version"].contains(&key.as_str()))
            .cloned()
            .collect()
    };
    let (_folder, broken) = site("nonsense");
    let matrix = parsed(&demo("matrix", "--flows --format json"));
    assert_eq!(keys(&matrix), documented("`boundwalk-matrix`"));
    assert_eq!(keys(&matrix["cells"][1]), documented("a cell"));
    let review = parsed(&demo("review", "--format json"));
    assert_eq!(keys(&review["findings"][0]), documented("a finding"));
    let rules = parsed(&demo("rules", "--format json"));
    let gateway = &rules["gateways"][0];
    assert_eq!(keys(gateway), documented("a gateway of it"));
    // A rule has the keys that fit its state.
    let of_rules: BTreeSet<String> = gateway["rules"]
        .as_array()
        .expect("rules")
        .iter()
        .flat_map(keys)
        .collect();
    assert_eq!(of_rules, documented("a rule of it"));
    let probes = parsed(&demo("probes", "--format json"));
    assert_eq!(keys(&probes["probes"][0]), documented("a probe"));
    let ports = parsed(&demo("ports", "--format json"));
    assert_eq!(keys(&ports["switches"][0]), documented("a switch"));
    assert_eq!(
        keys(&ports["switches"][0]["ports"][0]),
        documented("a port")
    );
    for (ran, document) in [
        (demo("review", "--format json"), "`boundwalk-review`"),
        (demo("ports", "--format json"), "`boundwalk-ports`"),
        (demo("bypass", "--format json"), "`boundwalk-bypass`"),
        (
            demo("expectations", "--format json"),
            "`boundwalk-expectations`",
        ),
        (demo("privilege", "--format json"), "`boundwalk-privilege`"),
        (
            demo("privilege", "--tighten --format json"),
            "`boundwalk-tightened`",
        ),
        (
            demo("change", "policies/kettle-lane/proposed --format json"),
            "`boundwalk-change`",
        ),
        (demo("isolation", "--format json"), "`boundwalk-isolation`"),
        (demo("rules", "--format json"), "`boundwalk-rules`"),
        (demo("rules", "--rule 1 --format json"), "`boundwalk-rule`"),
        (demo("rules", "--clean --format json"), "`boundwalk-clean`"),
        (demo("probes", "--format json"), "`boundwalk-probes`"),
        (verified(), "`boundwalk-verified`"),
        (
            demo("path", "guest office ssh --format json"),
            "`boundwalk-path`",
        ),
        (
            about(&broken, "review", "--format json"),
            "`boundwalk-problems`",
        ),
        (line("explain --format json"), "`boundwalk-checks`"),
    ] {
        assert_eq!(keys(&parsed(&ran)), documented(document));
    }
}

#[test]
fn lists_of_a_change_are_lists_in_full() {
    let before = two_segments("default = \"deny\"");
    let every_other: Vec<String> = (3..=60)
        .step_by(2)
        .map(|at| format!("10.44.61.{at}"))
        .collect();
    let (folder, file) = site(&before);
    let after = folder.path().join("proposed.toml");
    let quoted: Vec<String> = every_other.iter().map(|at| format!("\"{at}\"")).collect();
    let rule = format!(
        "[[gateways.edge.rules]]\nname = \"many\"\nfrom = [\"cellar\"]\nto = [\"books\"]\nsource = [{}]\n\
         services = [\"tcp/5 from 7\", \"udp/5\", \"sctp/9 from 3\", \"icmp/3\", \"icmp/12\"]\naction = \"permit\"\n",
        quoted.join(", ")
    );
    std::fs::write(&after, format!("{before}\n{rule}")).expect("a file");
    let options = format!("{} --no-findings --format json", after.display());
    let value = parsed(&about(&file, "change", &options));
    let pair = &value["opened"][0];
    assert_eq!(
        (&pair["from"], &pair["to"]),
        (&"cellar".into(), &"books".into())
    );
    assert_eq!(pair["to_kind"], "segment");
    let flows = pair["flows"].as_array().expect("a list");
    let all = |key: &str| -> BTreeSet<String> {
        flows
            .iter()
            .flat_map(|flow| flow[key].as_array().expect("a list"))
            .map(|item| item.as_str().expect("a text").to_owned())
            .collect()
    };
    assert_eq!(all("source"), every_other.into_iter().collect());
    let services = [
        "udp/5",
        "tcp/5 from 7",
        "sctp/9 from 3",
        "icmp/3",
        "icmp/12",
    ];
    assert_eq!(all("services"), services.map(str::to_owned).into());
    assert_eq!(flows[0]["passes_by"][0]["name"], "many");
    assert_eq!(flows[0]["stopped_by"][0]["number"], Value::Null);
    let edit = &value["edits"][0];
    assert_eq!(edit["what"], "edge rule \"many\"");
    assert_eq!(edit["place"]["column"], 8);
    assert_eq!(edit["settings"], serde_json::json!([]));
}
