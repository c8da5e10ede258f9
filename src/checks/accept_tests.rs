//! Findings about made-up ports, accepted and held against baselines.

use crate::{CHECKS, find};
use boundwalk_diagnostic::{FileId, Span, Spanned};

use super::*;

/// The day of these tests.
const TODAY: Date = Date::constant(2026, 11, 25);

/// A finding as checks report it.
pub(crate) fn finding(check: &str, subjects: &[&str]) -> Finding {
    let subjects: Vec<String> = subjects.iter().map(|&one| one.to_owned()).collect();
    Finding {
        check: find(check).expect("a check"),
        message: format!("{} takes every frame", joined(&subjects)),
        subjects,
        span: Some(Span::new(FileId(0), 5, 9)),
        notes: Vec::new(),
        help: None,
        measured: Default::default(),
    }
}

fn entry(check: &str, subject: Option<&str>, until: Date) -> Accepted {
    let spanned = |text: &str| Spanned::new(text.to_owned(), Span::default());
    Accepted {
        check: spanned(check),
        subject: subject.map(spanned),
        reason: "a camera needs it".to_owned(),
        owner: "network".to_owned(),
        until: Spanned::new(until, Span::default()),
        place: Span::default(),
    }
}

fn site(accepted: Vec<Accepted>) -> Site {
    Site {
        accepted,
        ..Site::default()
    }
}

/// Messages of those that are open, and messages with the number of the entry of those that are accepted.
fn parts(site: &Site, findings: Vec<Finding>) -> (Vec<String>, Vec<(String, usize)>) {
    let judged = accept(site, TODAY, findings);
    let number = |entry: &Accepted| {
        let mut all = site.accepted.iter();
        all.position(|one| std::ptr::eq(one, entry))
            .expect("an entry of the site")
    };
    let open = judged.open.into_iter().map(|one| one.message);
    let accepted = judged.accepted.into_iter();
    (
        open.collect(),
        accepted
            .map(|(one, entry)| (one.message, number(entry)))
            .collect(),
    )
}

#[test]
fn one_of_three_subjects_stays_open_and_is_named() {
    let site = site(vec![
        entry("ingress-filter-off", Some("core:1"), TODAY),
        entry("ingress-filter-off", Some("core:3"), TODAY),
    ]);
    let found = vec![finding(
        "ingress-filter-off",
        &["core:1", "core:2", "core:3"],
    )];
    let (open, accepted) = parts(&site, found);
    assert_eq!(open, ["core:2: takes every frame"]);
    let expected = [
        ("core:1: takes every frame".to_owned(), 0),
        ("core:3: takes every frame".to_owned(), 1),
    ];
    assert_eq!(accepted, expected);
}

#[test]
fn an_entry_without_subject_takes_all_of_its_check_and_nothing_else() {
    let site = site(vec![entry("ingress-filter-off", None, TODAY)]);
    let found = vec![
        finding("ingress-filter-off", &["core:1", "core:2"]),
        finding("unused-port-live", &["core:1"]),
    ];
    let (open, accepted) = parts(&site, found);
    assert_eq!(open, ["core:1: takes every frame"]);
    assert_eq!(
        accepted,
        [("core:1, core:2: takes every frame".to_owned(), 0)]
    );
}

#[test]
fn a_day_late_is_too_late() {
    let yesterday = TODAY.yesterday().expect("a day before");
    let site = site(vec![entry("ingress-filter-off", None, yesterday)]);
    let (open, accepted) = parts(&site, vec![finding("ingress-filter-off", &["core:1"])]);
    assert_eq!((open.len(), accepted.len()), (1, 0));
}

#[test]
fn what_is_found_about_entries_cannot_be_accepted() {
    for check in OWN {
        assert!(
            CHECKS.iter().any(|known| known.check.name == check),
            "{check}"
        );
        let site = site(vec![entry(check, None, TODAY)]);
        let (open, accepted) = parts(&site, vec![finding(check, &["rule-dead"])]);
        assert_eq!((open.len(), accepted.len()), (1, 0), "{check}");
    }
}
