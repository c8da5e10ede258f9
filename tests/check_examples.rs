//! Does each check find what it says, at the place it says, and nothing where all is well?

use boundwalk::checks::{CHECKS, find, run};
use boundwalk::diagnostic::{Check, Severity, Sources};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::Date;

/// How a line of an example says that a finding belongs there.
const MARK: &str = "# <- here";

/// Checks that judge the whole: what other checks find may well make them fire.
const FOLLOW: [&str; 2] = ["bypass-open", "isolation-broken"];

/// Notes on what an example leaves out to stay short.
const UNFINISHED: [&str; 2] = ["segment-unrouted", "unused-name"];

/// Checks that can't fire alone: whatever opens every service of the gateway is too wide besides, nothing is needed
/// inside one segment that a gateway could permit, and a LAG without VLANs is live without one.
const BESIDES: [(&str, &str); 5] = [
    ("same-segment-only", "need-unmet"),
    ("lag-without-vlans", "ingress-filter-off"),
    ("lag-without-vlans", "unused-port-live"),
    ("gateway-unprotected", "permit-any-service"),
    ("gateway-unprotected", "management-exposed"),
];

/// Check and line of every finding of a site. Nothing is wrong with it that is no finding.
fn findings(name: &str, text: &str) -> Vec<(&'static str, u32, String)> {
    let loaded = load_text(name, text);
    let grave: Vec<String> = loaded
        .problems
        .iter()
        .filter(|problem| find(problem.kind.name).is_none())
        .map(|problem| format!("{}: {}", problem.kind.name, problem.message))
        .collect();
    assert_eq!(grave, Vec::<String>::new(), "{name} loads clean");
    let site = loaded.site.expect("no error, so a site");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    // What is about limits is asked with less than the usual effort.
    let effort = text
        .lines()
        .find_map(|line| line.strip_prefix("# effort: "));
    let network = match effort.map(str::parse) {
        Some(effort) => network.limited_to(effort.expect("a number")),
        None => network,
    };
    run(&network)
        .into_iter()
        .map(|finding| {
            let line = finding.span.map_or(0, |span| line(&loaded.sources, span));
            (finding.check.name, line, finding.message)
        })
        .collect()
}

fn line(sources: &Sources, span: boundwalk::diagnostic::Span) -> u32 {
    sources.line(span)
}

fn marked(text: &str) -> Vec<u32> {
    text.lines()
        .enumerate()
        .filter(|(_, line)| line.ends_with(MARK))
        .map(|(number, _)| number as u32 + 1)
        .collect()
}

fn all() -> impl Iterator<Item = &'static Check> {
    CHECKS.iter().map(|registered| registered.check)
}

#[test]
fn each_check_fires_in_its_example_where_it_is_marked_and_no_other_does() {
    let mut wrong = Vec::new();
    for check in all() {
        let name = format!("{}.fires.toml", check.name);
        let follows = |(other, ..): &(&str, u32, String)| {
            let besides = BESIDES.contains(&(check.name, *other));
            let aside = FOLLOW.contains(other) || UNFINISHED.contains(other);
            *other != check.name && (aside || besides)
        };
        let mut found = findings(&name, check.fires);
        found.retain(|finding| !follows(finding));
        let mut places: Vec<u32> = found.iter().map(|(_, line, _)| *line).collect();
        places.sort_unstable();
        let expected = marked(check.fires);
        assert!(!expected.is_empty(), "{name} marks no line");
        let own = found.iter().all(|(other, ..)| *other == check.name);
        if places != expected || !own {
            wrong.push(format!("{name}: lines {expected:?}, found {found:#?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn each_check_is_quiet_where_all_is_well() {
    for check in all() {
        let name = format!("{}.quiet.toml", check.name);
        let found = findings(&name, check.quiet);
        let own: Vec<_> = found
            .iter()
            .filter(|(name, ..)| *name == check.name)
            .collect();
        assert!(own.is_empty(), "{name}: {found:#?}");
        assert!(marked(check.quiet).is_empty(), "{name}");
    }
}

#[test]
fn the_list_is_in_order_and_names_each_check_once() {
    let names: Vec<&str> = all().map(|check| check.name).collect();
    let mut sorted = names.clone();
    sorted.sort_unstable();
    sorted.dedup();
    assert_eq!(names, sorted);
    for check in all() {
        assert_eq!(find(check.name).map(|check| check.name), Some(check.name));
        let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        assert!(check.name.chars().all(fits), "{}", check.name);
    }
}

/// Kinds of problems that speak of the reading itself: no check and nothing to accept.
const OF_THE_READING: [&str; 2] = ["check-incomplete", "too-many-problems"];

/// What loading notices and does not refuse is a check with the same name, severity and summary, so that it can be
/// accepted, baselined and explained; what it refuses is none.
#[test]
fn whatever_loading_notices_is_a_check() {
    for kind in boundwalk::load::KINDS {
        let check = find(kind.name);
        if kind.severity == Severity::Error || OF_THE_READING.contains(&kind.name) {
            assert!(check.is_none(), "{}", kind.name);
            continue;
        }
        let check = check.unwrap_or_else(|| panic!("{} is no check", kind.name));
        assert_eq!(check.severity, kind.severity, "{}", kind.name);
        assert_eq!(check.summary, kind.summary, "{}", kind.name);
    }
}

/// Each file of the folder belongs to a check of the list: none is left behind.
#[test]
fn every_file_of_a_check_is_in_the_list() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/checks");
    let helpers = [
        "accept",
        "accept_tests",
        "acceptance",
        "baseline",
        "baseline_tests",
        "changed",
        "clear_text_services",
        "extent",
        "fingerprint",
        "in_a_row",
        "lags",
        "measured",
        "lib",
        "noticed",
        "permit",
        "permits",
        "report",
        "reviewed",
        "rule_asked",
        "translation",
        "translations",
        "trust",
        "view",
        "words",
        "zone_pairs",
        "zones_around",
    ];
    for entry in std::fs::read_dir(folder).expect("the folder of the checks") {
        let path = entry.expect("an entry").path();
        let stem = path
            .file_stem()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        let code = path.extension().is_some_and(|ending| ending == "rs");
        if code && !helpers.contains(&stem.as_str()) {
            assert!(
                find(&stem.replace('_', "-")).is_some(),
                "{stem} is in no list"
            );
        }
    }
}

#[test]
fn each_check_says_why_and_what_to_do_and_where_that_comes_from() {
    for check in all() {
        let name = check.name;
        for text in [check.summary, check.why, check.fine_when, check.remedy] {
            assert!(text.len() > 20, "{name}: {text:?}");
            assert!(!text.contains("  "), "{name}: {text:?}");
        }
        assert!(!check.summary.ends_with('.'), "{name}");
        for text in [check.why, check.fine_when, check.remedy] {
            assert!(text.ends_with(['.', ')']), "{name}: {text:?}");
        }
        assert!(!check.references.is_empty(), "{name}");
        assert!(check.references.iter().all(|text| text.len() > 7), "{name}");
        assert_ne!(check.fires, check.quiet, "{name}");
    }
}

#[test]
fn a_site_without_switches_has_nothing_of_layer_2_to_find() {
    let found = findings("starter.toml", boundwalk::load::starter());
    assert_eq!(found, []);
}
