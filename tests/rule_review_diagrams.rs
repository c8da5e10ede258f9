//! Long rule lists: are the rules that never decide, that nothing can match and that nothing changes without the same
//! as decision diagrams find?

#[path = "oracles/diagrams.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod diagrams;
#[path = "oracles/list_diagrams.rs"]
mod list_diagrams;
#[path = "../benches/support/sites.rs"]
mod sites;

use boundwalk::analysis::rules::{
    Cleaned, Comparison, Effort, Judge, RuleReview, RuleSpace, RuleStatus, Without,
};
use boundwalk::forwarding::Network;
use boundwalk::load::{Edit, apply_edits, load_text};
use boundwalk::model::{Date, Family, RouterId, Site};

use diagrams::{and, not};
use list_diagrams::ListDiagrams;
use oxidd::BooleanFunction;
use sites::{Size, large_site};

const TODAY: Date = Date::constant(2026, 11, 25);
const NODES: usize = 1 << 22;

fn site(size: Size) -> (String, Site) {
    let text = large_site(size);
    let site = load_text("generated.toml", &text).site;
    (text, site.expect("the generated site is valid"))
}

/// What diagrams say of each rule, over both families.
fn judged(site: &Site) -> Vec<(bool, bool, bool)> {
    let families = Family::ALL.map(|family| ListDiagrams::new(site, family, TODAY, NODES).judged());
    let [four, six] = families;
    four.into_iter()
        .zip(six)
        .map(|(a, b)| (a.0 || b.0, a.1 || b.1, a.2 || b.2))
        .collect()
}

fn review(site: &Site) -> RuleReview {
    let network = Network::new(site, TODAY);
    let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
    RuleReview::new(&Judge::new(&space, Effort::default()))
}

fn sizes() -> Vec<Size> {
    let size = |rules, segments, dual, seed| Size {
        rules,
        segments,
        dual,
        seed,
    };
    vec![
        size(500, 12, false, 1),
        size(500, 12, true, 2),
        size(2_000, 40, false, 3),
        size(1_000, 30, true, 4),
    ]
}

#[test]
fn long_lists_are_judged_as_diagrams_judge_them() {
    for size in sizes() {
        let (_, site) = site(size);
        let (mut idle, mut spare) = (0, 0);
        for (number, (status, expected)) in
            review(&site).rules.iter().zip(judged(&site)).enumerate()
        {
            let found = match status {
                RuleStatus::Off | RuleStatus::Irrelevant => (false, false, false),
                RuleStatus::Dead(_) => (true, false, false),
                RuleStatus::Decides { without, .. } => {
                    (true, true, matches!(without, Without::Changed(_)))
                }
                RuleStatus::Unknown => panic!("{size:?}: rule {number} is not settled"),
            };
            assert_eq!(found, expected, "{size:?}: rule {number} is {status:?}");
            idle += usize::from(!found.1);
            spare += usize::from(found.1 && !found.2);
        }
        assert!(
            idle > 20 && spare > 20,
            "{size:?}: {idle} never decide, {spare} are redundant"
        );
    }
}

/// What the list permits in one family.
fn permitted(site: &Site, list: &ListDiagrams<'_>) -> oxidd::bdd::BDDFunction {
    let filter = site.routers[0].filter().expect("a gateway");
    let mut permitted = list.diagrams.constant(false);
    for (rule, decided) in filter.rules.iter().zip(list.decided()) {
        if rule.action.value == boundwalk::model::Action::Permit {
            permitted = diagrams::or(&permitted, &decided);
        }
    }
    permitted
}

/// The shorter list permits the same by diagrams of its own text, whose addresses are cut as those of the old one.
#[test]
fn a_shorter_list_permits_the_same_by_diagrams_too() {
    let (text, before) = site(Size {
        rules: 600,
        segments: 15,
        dual: false,
        seed: 8,
    });
    let network = Network::new(&before, TODAY);
    let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
    let judge = Judge::new(&space, Effort::default());
    let cleaned = Cleaned::new(&judge, &RuleReview::new(&judge));
    assert_eq!(cleaned.comparison, Comparison::Same);
    assert!(cleaned.removed.len() > 50);
    let router = RouterId(0);
    let edits: Vec<Edit> = cleaned
        .removed
        .iter()
        .map(|&rule| Edit::RemoveRule { router, rule })
        .collect();
    let sources = load_text("generated.toml", &text).sources;
    let edited = apply_edits(&before, &sources, &edits).expect("the edits can be made");
    let after = load_text("generated.toml", &edited[0].after)
        .site
        .expect("it loads");
    // One more rule that never decides, so that both lists cut addresses and services alike.
    let list = ListDiagrams::new(&before, Family::V4, TODAY, NODES);
    let left: Vec<&str> = {
        let filter = after.routers[0].filter().expect("a gateway");
        filter
            .rules
            .iter()
            .map(|rule| rule.name.value.as_str())
            .collect()
    };
    let filter = before.routers[0].filter().expect("a gateway");
    let mut open = list.possible.clone();
    let mut new = list.diagrams.constant(false);
    for (rule, named) in filter.rules.iter().zip(&list.named) {
        if left.contains(&rule.name.value.as_str()) {
            if rule.action.value == boundwalk::model::Action::Permit {
                new = diagrams::or(&new, &and(&open, named));
            }
            open = and(&open, &not(named));
        }
    }
    let old = permitted(&before, &list);
    assert!(!and(&old, &not(&new)).satisfiable() && !and(&new, &not(&old)).satisfiable());
    assert!(old.satisfiable() && left.len() == filter.rules.len() - cleaned.removed.len());
}
