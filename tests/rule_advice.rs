//! Advice about rules, followed: alone, and two at a time.
//!
//! Whatever a finding says to remove is removed from small random gateways. By every packet, nothing may be decided
//! otherwise then; of two at once, unless one of the findings names the other rule as one that must stay. A list that
//! was cleaned has nothing left to clean.

#[path = "support/random.rs"]
mod random;
#[path = "support/rule_draft.rs"]
mod rule_draft;
#[path = "support/rule_draft_text.rs"]
mod rule_draft_text;
#[path = "oracles/rule_universe.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod rule_universe;
#[path = "support/seeds.rs"]
mod seeds;

use std::path::Path;
use std::process::Command;

use boundwalk::analysis::rules::{Effort, Judge, RuleReview, RuleSpace};
use boundwalk::checks::run;
use boundwalk::diagnostic::Finding;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, RouterId, Site};

use random::Random;
use rule_draft::Draft;
use rule_universe::Universe;
use seeds::seeds;

/// The day on which rules of [`rule_draft::PAST`] are over and those of [`rule_draft::AHEAD`] have their last.
const TODAY: Date = Date::constant(2026, 4, 1);

/// What a finding says to remove: the rule, and all that the finding says.
struct Removal {
    rule: usize,
    said: String,
}

fn removals(site: &Site, findings: &[Finding]) -> Vec<Removal> {
    let rules = &site.routers[0].filter().expect("a gateway").rules;
    let of_rule = |finding: &Finding| {
        let rule = rules
            .iter()
            .position(|rule| Some(rule.name.span) == finding.span)?;
        let help = finding.help.as_ref()?;
        let notes = finding.notes.iter().map(|note| note.text.as_str());
        let said: Vec<&str> = [finding.message.as_str(), help]
            .into_iter()
            .chain(notes)
            .collect();
        help.contains("remove it").then(|| Removal {
            rule,
            said: said.join("\n"),
        })
    };
    findings.iter().filter_map(of_rule).collect()
}

#[test]
fn what_is_to_be_removed_changes_nothing_alone_and_two_at_a_time() {
    let (mut alone, mut pairs, mut warned) = (0, 0, 0);
    for seed in seeds(150) {
        let mut random = Random::new(seed ^ 0xad71ce);
        let draft = Draft::new(&mut random, 3 + seed as usize % 8);
        let Some(site) = load_text("drawn.toml", &draft.text()).site else {
            continue;
        };
        let network = Network::new(&site, TODAY);
        let universe = Universe::new(&draft);
        let advised = removals(&site, &run(&network));
        let name = |removal: &Removal| {
            let rules = &site.routers[0].filter().expect("a gateway").rules;
            format!("\"{}\"", rules[removal.rule].name.value)
        };
        for (at, one) in advised.iter().enumerate() {
            // A rule that another one contradicts is somebody's to decide: it may be moved instead.
            let same = universe.same_without(1 << one.rule);
            assert!(same, "seed {seed}: {}\n{}", one.said, draft.text());
            alone += 1;
            for other in advised[..at].iter().filter(|other| other.rule != one.rule) {
                let both = 1 << one.rule | 1 << other.rule;
                let told = one.said.contains(&name(other)) || other.said.contains(&name(one));
                let same = universe.same_without(both);
                pairs += 1;
                warned += usize::from(!same);
                assert!(
                    same || told,
                    "seed {seed}: {}\nand {}\n{}",
                    one.said,
                    other.said,
                    draft.text()
                );
            }
        }
    }
    assert!(
        100 < alone && 100 < pairs && 3 < warned,
        "{alone} {pairs} {warned}"
    );
}

/// The site file after `rules --clean --write`, and what is said.
fn cleaned(folder: &Path, text: &str) -> (String, String) {
    let file = folder.join("site.toml");
    std::fs::write(&file, text).expect("a file of our own");
    let run = Command::new(env!("CARGO_BIN_EXE_boundwalk"))
        .args(["rules", "--clean", "--write", "--today", "2026-04-01"])
        .arg(&file)
        .output()
        .expect("the program runs");
    let text = std::fs::read_to_string(&file).expect("a file of our own");
    assert_eq!(run.status.code(), Some(0), "{run:?}");
    (text, String::from_utf8_lossy(&run.stdout).into_owned())
}

#[test]
fn a_cleaned_list_is_clean() {
    let folder = tempfile::tempdir().expect("a folder of our own");
    let mut shorter = 0;
    for seed in 0..40 {
        let draft = Draft::new(&mut Random::new(seed ^ 0xc1ea2), 4 + seed as usize % 7);
        let text = draft.text();
        if load_text("drawn.toml", &text).site.is_none() {
            continue;
        }
        let (once, said) = cleaned(folder.path(), &text);
        let (twice, again) = cleaned(folder.path(), &once);
        assert_eq!(once, twice, "seed {seed}\n{said}\n{again}\n{text}");
        shorter += usize::from(once != text);
    }
    assert!(10 < shorter, "{shorter}");
}

/// What two rules are needed for alone is a rule that goes.
#[test]
fn what_only_a_removed_rule_needed_goes_with_it() {
    let rules = [
        "from = \"loading\"\naction = \"deny\"",
        "from = \"office\"\naction = \"permit\"",
        "action = \"permit\"",
    ];
    let accepted =
        "[[accepted]]\ncheck = \"rule-unhit\"\nreason = \"r\"\nowner = \"o\"\nuntil = 2027-01-01\n";
    let folder = tempfile::tempdir().expect("a folder of our own");
    let text = written("permit", &rules);
    // Wherever an accepted finding stands.
    for text in [format!("{accepted}{text}"), format!("{text}{accepted}")] {
        let (left, said) = cleaned(folder.path(), &text);
        assert_eq!(left.matches("[[gateways.edge.rules]]").count(), 1, "{said}");
        assert!(left.contains("rule 1") && left.contains(accepted), "{left}");
    }
}

const HEAD: &str = r#"
[zones.house]
trust = 60
[zones.yard]
trust = 60
[segments.office]
zone = "house"
prefixes = ["10.44.10.0/29"]
[segments.loading]
zone = "yard"
prefixes = ["10.44.20.0/29"]
[gateways.edge]
default = "DEFAULT"
[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.10.6/29"]
source_check = "strict"
[gateways.edge.interfaces.loading]
segment = "loading"
addresses = ["10.44.20.6/29"]
source_check = "strict"
"#;

fn written(default: &str, rules: &[&str]) -> String {
    let mut text = HEAD.replace("DEFAULT", default);
    for (number, rule) in rules.iter().enumerate() {
        let name = number + 1;
        text.push_str(&format!(
            "[[gateways.edge.rules]]\nname = \"rule {name}\"\n{rule}\n"
        ));
    }
    text
}

fn site(default: &str, rules: &[&str]) -> Site {
    let loaded = load_text("advice.toml", &written(default, rules));
    let problems = loaded.problems;
    loaded.site.unwrap_or_else(|| panic!("{problems:#?}"))
}

/// Findings of a check, as they are said, for rules in this order.
fn said(check: &str, default: &str, rules: &[&str]) -> Vec<String> {
    let site = site(default, rules);
    let network = Network::new(&site, TODAY);
    let said = run(&network)
        .into_iter()
        .filter(|finding| finding.check.name == check)
        .map(|finding| {
            let notes: Vec<&str> = finding
                .notes
                .iter()
                .map(|note| note.text.as_str())
                .collect();
            let help = finding.help.unwrap_or_default();
            format!("{}; {help}; {}", finding.message, notes.join("; "))
        });
    said.collect()
}

#[test]
fn a_redundant_rule_names_the_dead_one_that_it_rests_on() {
    let rules = [
        "from = \"office\"\naction = \"deny\"",
        "from = \"loading\"\naction = \"permit\"",
        "from = [\"office\", \"loading\"]\naction = \"deny\"",
    ];
    let never_both = "\"rule 1\" is redundant only as long as \"rule 3\" stays: never remove both";
    let redundant = said("rule-redundant", "permit", &rules);
    assert!(redundant[0].contains(never_both), "{redundant:#?}");
    assert!(redundant[0].contains("remove it as long as \"rule 3\" stays"));
    let dead = said("rule-dead", "permit", &rules);
    assert!(dead[0].contains(never_both), "{dead:#?}");
}

#[test]
fn a_denial_of_everything_at_the_end_stays() {
    let rules = [
        "from = \"office\"\naction = \"deny\"",
        "from = \"loading\"\naction = \"permit\"",
        "action = \"deny\"",
    ];
    for default in ["permit", "deny"] {
        for check in ["rule-dead", "rule-repeated"] {
            assert_eq!(said(check, default, &rules), Vec::<String>::new());
        }
    }
}

#[test]
fn a_denial_between_two_sides_is_no_last_rule() {
    let web = "from = \"loading\"\nservices = [\"tcp/80\"]\naction = \"permit\"";
    let stay_out = "from = \"loading\"\nto = \"office\"\naction = \"deny\"";
    let any = format!("{stay_out}\nservices = \"any\"");
    let by_gateway = "from = \"loading\"\nto = [\"office\", \"gateway\"]\nsource = [\"10.44.20.0/30\"]\naction = \"permit\"";
    for denial in [stay_out, any.as_str()] {
        let order = said("rules-correlated", "deny", &[web, denial, by_gateway]);
        assert!(
            order[0].contains("\"rule 1\" comes first and permits"),
            "{order:#?}"
        );
    }
    // What is left of what one side sends is denied last.
    let rest = "from = \"loading\"\naction = \"deny\"";
    assert_eq!(
        said("rules-correlated", "deny", &[web, rest]),
        Vec::<String>::new()
    );
}

#[test]
fn the_largest_set_that_can_go_holds_what_only_a_dead_rule_needed() {
    let site = site("permit", &["action = \"permit\"", "action = \"deny\""]);
    let network = Network::new(&site, TODAY);
    let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
    let review = RuleReview::new(&Judge::new(&space, Effort::default()));
    assert_eq!((review.together, review.largest), (vec![0, 1], true));
}
