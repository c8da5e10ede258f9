//! Random edits of random sites, compared with the same edits of the model.

use std::collections::BTreeSet;

use boundwalk::load::{Edit, EditError, RuleField, apply_edits, load_text};
use boundwalk::model::{Role, RouterId, Rule, Site};

use crate::random::Random;
use crate::seeds::seeds;
use crate::sprinkled::{Owner, Part, Sprinkled, sprinkled};
use crate::support::{placeless, rules};

/// Edits, and what they come to.
struct Wanted {
    edits: Vec<Edit>,
    /// The model edited.
    site: Site,
    removed: BTreeSet<Owner>,
    changed: BTreeSet<Owner>,
}

impl Wanted {
    /// Gives a rule fields of other rules.
    fn change(
        &mut self,
        source: &Sprinkled,
        old: &[Rule],
        (router, owner): (RouterId, &Owner),
        rule: &mut Rule,
        random: &mut Random,
    ) {
        let count = random.between(1, 3);
        for field in random.some(&RuleField::ALL, count) {
            let from = random.below(old.len());
            copy_field(rule, &old[from], field);
            self.edits.push(Edit::SetRuleField {
                router,
                rule: owner.1,
                field,
                items: items(source, &(owner.0.clone(), from), field),
            });
        }
        self.changed.insert(owner.clone());
    }
}

/// The strings of a value as the random sites write it.
fn strings(value: &str) -> Vec<String> {
    value
        .trim_matches(['[', ']', ' '])
        .split(", ")
        .map(|item| item.trim_matches('"').to_owned())
        .collect()
}

/// The strings that a field of a rule holds.
fn items(source: &Sprinkled, owner: &Owner, field: RuleField) -> Vec<String> {
    let keys = &source.rules[&owner.0][owner.1];
    let found = keys.iter().find(|(key, _)| key == field.key());
    found.map_or_else(Vec::new, |(_, value)| strings(value))
}

/// Gives a field of a rule what another rule has there.
fn copy_field(rule: &mut Rule, other: &Rule, field: RuleField) {
    match field {
        RuleField::From => rule.from.clone_from(&other.from),
        RuleField::To => rule.to.clone_from(&other.to),
        RuleField::Source => rule.source.clone_from(&other.source),
        RuleField::Destination => rule.destination.clone_from(&other.destination),
        RuleField::Services => rule.services.clone_from(&other.services),
    }
}

fn wanted(source: &Sprinkled, site: &Site, random: &mut Random) -> Wanted {
    let mut wanted = Wanted {
        edits: Vec::new(),
        site: site.clone(),
        removed: BTreeSet::new(),
        changed: BTreeSet::new(),
    };
    let share = random.between(1, 60);
    for router in (0..site.routers.len()).map(RouterId) {
        let name = site.router(router).name.value.clone();
        let old = rules(site, router);
        let mut new = Vec::new();
        for (number, rule) in old.iter().enumerate() {
            let owner = (name.clone(), number);
            if random.percent(share) {
                wanted.edits.push(Edit::RemoveRule {
                    router,
                    rule: number,
                });
                wanted.removed.insert(owner);
                continue;
            }
            let mut rule = rule.clone();
            if random.percent(share) {
                wanted.change(source, old, (router, &owner), &mut rule, random);
            }
            new.push(rule);
        }
        if let Role::Gateway(filter) = &mut wanted.site.routers[router.0].role {
            filter.rules = new;
        }
    }
    // The order of edits does not matter.
    for at in (1..wanted.edits.len()).rev() {
        wanted.edits.swap(at, random.below(at + 1));
    }
    wanted
}

/// The lines that must be there afterwards, in this order; and comments that must be gone.
fn fate(source: &Sprinkled, wanted: &Wanted) -> (Vec<String>, Vec<String>) {
    let (mut stay, mut go) = (Vec::new(), Vec::new());
    for line in source
        .lines
        .iter()
        .filter(|line| !line.text.trim().is_empty())
    {
        match &line.owner {
            Some((owner, Part::Comment)) if wanted.removed.contains(owner) => {
                go.push(line.text.clone());
            }
            Some((_, Part::Comment)) | None => stay.push(line.text.clone()),
            Some(((_, usize::MAX), Part::Body)) => {}
            Some((owner, Part::Body)) => {
                if !wanted.removed.contains(owner) && !wanted.changed.contains(owner) {
                    stay.push(line.text.clone());
                }
            }
        }
    }
    (stay, go)
}

fn check_lines(seed: u64, source: &Sprinkled, wanted: &Wanted, after: &str) {
    let (stay, go) = fate(source, wanted);
    let mut left = after.lines();
    for line in &stay {
        let found = left.any(|left| left == line);
        assert!(found, "seed {seed}: `{line}` is lost in\n{after}");
    }
    for line in go {
        assert!(
            !after.lines().any(|left| left == line),
            "seed {seed}: `{line}` stays in\n{after}"
        );
    }
    // Four blank lines are the most that were ever written at one place.
    let mut blank = 0;
    for line in after.lines() {
        blank = if line.trim().is_empty() { blank + 1 } else { 0 };
        assert!(blank <= 4, "seed {seed}: blank lines pile up in\n{after}");
    }
}

/// What one seed came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Outcome {
    Edited,
    WouldNotLoad,
    Same,
}

fn try_seed(seed: u64) -> Outcome {
    let source = sprinkled(seed);
    let mut random = Random::new(seed ^ 0xed17);
    let windows = random.percent(30);
    let mut text = source.text(random.percent(80));
    if windows {
        text = text.replace('\n', "\r\n");
    }
    let loaded = load_text("site.toml", &text);
    let problems = loaded.problems;
    let site = loaded
        .site
        .unwrap_or_else(|| panic!("seed {seed}: {problems:#?}\n{text}"));
    let wanted = wanted(&source, &site, &mut random);
    let files = match apply_edits(&site, &loaded.sources, &wanted.edits) {
        Ok(files) => files,
        Err(EditError::WouldNotLoad { .. }) => return Outcome::WouldNotLoad,
        Err(error) => panic!("seed {seed}: {error}\n{:#?}\n{text}", wanted.edits),
    };
    let Some(file) = files.first() else {
        assert_eq!(placeless(site), placeless(wanted.site), "seed {seed}");
        return Outcome::Same;
    };
    let breaks = file.after.matches('\n').count();
    let windows_breaks = file.after.matches("\r\n").count();
    assert_eq!(
        windows_breaks,
        if windows { breaks } else { 0 },
        "seed {seed}"
    );
    let again = load_text("site.toml", &file.after).site;
    let again = again.expect("it was loaded once already");
    assert_eq!(
        placeless(again),
        placeless(wanted.site.clone()),
        "seed {seed}"
    );
    check_lines(seed, &source, &wanted, &file.after.replace("\r\n", "\n"));
    Outcome::Edited
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn edits_of_the_text_are_edits_of_the_model() {
    let outcomes: Vec<Outcome> = seeds(600).map(try_seed).collect();
    let times = |wanted| {
        outcomes
            .iter()
            .filter(|outcome| **outcome == wanted)
            .count()
    };
    let (edited, refused) = (times(Outcome::Edited), times(Outcome::WouldNotLoad));
    eprintln!("{edited} edited, {refused} would not load");
    assert!(
        edited > 4 * refused,
        "{edited} edited, {refused} would not load"
    );
    assert!(
        3 * edited > outcomes.len(),
        "only {edited} of {} sites were edited",
        outcomes.len()
    );
}
