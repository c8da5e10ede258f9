//! Baselines of made-up findings.

use crate::accept::tests::finding;

use super::*;

/// Subjects of the new ones, of the known ones, and what is gone.
fn against(before: &[Finding], now: Vec<Finding>) -> [Vec<String>; 3] {
    let judged = Judged {
        open: now,
        accepted: Vec::new(),
    };
    let reviewed = JudgedFindings::new(judged, Some(&Baseline::of(before)));
    let subjects = |findings: Vec<Finding>| {
        findings
            .into_iter()
            .map(|one| one.subjects.join("+"))
            .collect()
    };
    let gone = reviewed.gone.expect("there is a baseline");
    [
        subjects(reviewed.open),
        subjects(reviewed.known),
        gone.into_iter().map(|one| one.subject).collect(),
    ]
}

fn open(subjects: &[&str]) -> Finding {
    finding("ingress-filter-off", subjects)
}

#[test]
fn nothing_changed_nothing_new() {
    let all = || vec![open(&["core:1", "core:2"]), open(&["edge:1"])];
    let [new, known, gone] = against(&all(), all());
    assert_eq!((new.len(), gone.len()), (0, 0));
    assert_eq!(known, ["core:1+core:2", "edge:1"]);
}

#[test]
fn which_ports_a_line_describes_does_not_matter() {
    let before = [open(&["core:1", "core:2"]), open(&["core:3"])];
    let now = vec![open(&["core:3", "core:2"]), open(&["core:1"])];
    let [new, known, gone] = against(&before, now);
    assert_eq!((new.len(), known.len(), gone.len()), (0, 2, 0));
}

#[test]
fn a_port_that_joins_is_new_alone() {
    let [new, known, gone] = against(&[open(&["core:1"])], vec![open(&["core:1", "core:2"])]);
    assert_eq!(new, ["core:2"]);
    assert_eq!(known, ["core:1"]);
    assert_eq!(gone.len(), 0);
}

#[test]
fn the_second_time_about_the_same_subject_is_new_and_one_less_is_gone() {
    let [new, known, gone] = against(&[open(&["a"])], vec![open(&["a"]), open(&["a"])]);
    assert_eq!((new.len(), known.len(), gone.len()), (1, 1, 0));
    let [new, known, gone] = against(&[open(&["a"]), open(&["a"])], vec![open(&["a"])]);
    assert_eq!((new.len(), known.len()), (0, 1));
    assert_eq!(gone, ["a"]);
}

#[test]
fn another_check_or_another_name_is_new() {
    let now = vec![finding("unused-port-live", &["a"]), open(&["b"])];
    let [new, known, gone] = against(&[open(&["a"])], now);
    assert_eq!(new, ["a", "b"]);
    assert_eq!(known.len(), 0);
    assert_eq!(gone, ["a"]);
}
