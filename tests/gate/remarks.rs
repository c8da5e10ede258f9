//! What loading notices in a file is accepted and baselined like any other finding.

use boundwalk::checks::CHECKS;
use boundwalk::diagnostic::Check;
use boundwalk::load::KINDS;

use crate::counts::alike;
use crate::run::about;
use crate::sarif::parsed;
use crate::sites::{Folder, accepted};

/// The checks that report what loading noticed.
fn remarks() -> impl Iterator<Item = &'static Check> {
    CHECKS
        .iter()
        .map(|registered| registered.check)
        .filter(|check| KINDS.iter().any(|kind| kind.name == check.name))
}

/// Whom the open findings of a check speak of.
fn subjects(folder: &Folder, check: &Check, rest: &str) -> Vec<String> {
    let value = parsed(&folder.review(&format!("--format json --fail-on never {rest}")));
    value["findings"]
        .as_array()
        .expect("a list")
        .iter()
        .filter(|one| one["check"] == check.name && one["state"] != "known")
        .flat_map(|one| one["subjects"].as_array().expect("a list").clone())
        .map(|subject| subject.as_str().expect("a text").to_owned())
        .collect()
}

#[test]
fn each_is_accepted_by_its_subject() {
    let mut seen = 0;
    for check in remarks() {
        let folder = Folder::new(check.fires);
        let found = subjects(&folder, check, "");
        let [subject] = found.as_slice() else {
            panic!("{}: {found:?}", check.name);
        };
        let entry = accepted(check.name, subject, "2026-12-31");
        folder.rewrite(&format!("{}{entry}", check.fires));
        assert_eq!(subjects(&folder, check, ""), [""; 0], "{}", check.name);
        let (_, accepted) = alike(&folder.file, "");
        assert_eq!(accepted, 1, "{}", check.name);
        // The other commands do not warn of it either.
        let ran = about(&folder.file, "matrix", "");
        assert!(!ran.err.contains(check.name), "{ran:?}");
        seen += 1;
    }
    assert_eq!(seen, 16);
}

#[test]
fn each_is_known_to_a_baseline_and_a_second_one_is_new() {
    for check in remarks() {
        let folder = Folder::new(check.fires);
        let known = folder.baseline();
        assert_eq!(alike(&folder.file, &known), (0, 0), "{}", check.name);
    }
    let check = remarks().find(|check| check.name == "unused-name");
    let check = check.expect("it is one of them");
    let folder = Folder::new(check.fires);
    let known = folder.baseline();
    folder.rewrite(&check.fires.replace(
        "label-printers =",
        "tills = [\"10.44.10.41\"]\nlabel-printers =",
    ));
    assert_eq!(subjects(&folder, check, &known), ["tills"]);
}

/// The examples hold one of each fault: none of them stops a command half-way.
#[test]
fn every_command_ends_on_every_example() {
    for check in CHECKS.iter().map(|registered| registered.check) {
        let folder = Folder::new(check.fires);
        for command in [
            "review",
            "matrix",
            "report",
            "rules",
            "isolation",
            "bypass",
            "ports",
            "probes",
            "expectations",
            "privilege",
            "draw",
        ] {
            let ran = about(&folder.file, command, "");
            let ended = matches!(ran.code, 0 | 1) && !ran.out.is_empty();
            let nothing_to_ask =
                ran.code == 2 && ran.err.lines().any(|line| line.starts_with("error: "));
            assert!(
                ended || nothing_to_ask,
                "{command} of {}: {ran:?}",
                check.name
            );
        }
    }
}
