//! Rules of the demo site, removed one by one.

use std::path::Path;

use boundwalk::load::{Edit, apply_edits, load_text};
use boundwalk::model::{Role, RouterId};

use crate::support::{loaded, placeless, rules};

/// The text of the demo site.
pub fn demo() -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane");
    std::fs::read_to_string(folder.join("site.toml")).expect("the demo site")
}

/// Each result loads, lacks that rule and differs in nothing else; what is gone from the text is one stretch of
/// lines with one header in it, and no heading.
#[test]
fn every_rule_of_the_demo_can_go_by_itself() {
    let text = demo();
    let loaded = loaded(&text);
    let site = loaded.site.expect("just checked");
    let router = RouterId(0);
    let total = rules(&site, router).len();
    assert!(total > 30, "the demo has rules");
    for rule in 0..total {
        let edit = Edit::RemoveRule { router, rule };
        let files = apply_edits(&site, &loaded.sources, &[edit]).expect("a sound edit");
        let after = &files[0].after;
        let again = load_text("site.toml", after).site.expect("it loads");
        let mut expected = site.clone();
        let Role::Gateway(filter) = &mut expected.routers[0].role else {
            panic!("the first router is a gateway");
        };
        let name = filter.rules.remove(rule).name.value;
        assert_eq!(placeless(again), placeless(expected), "{name}");
        let gone = one_stretch(&text, after);
        let headers = gone.iter().filter(|line| line.starts_with("[[")).count();
        let headings = gone.iter().filter(|line| line.starts_with("# ---")).count();
        let blanks = gone.iter().filter(|line| line.is_empty()).count();
        assert_eq!((headers, headings, blanks), (1, 0, 1), "{name}: {gone:#?}");
    }
}

/// The lines that are in the first text only, if they stand together.
fn one_stretch<'t>(before: &'t str, after: &str) -> Vec<&'t str> {
    let (old, new): (Vec<&str>, Vec<&str>) = (before.lines().collect(), after.lines().collect());
    let gone = old.len() - new.len();
    let same = old
        .iter()
        .zip(&new)
        .take_while(|(old, new)| old == new)
        .count();
    assert_eq!(old[same + gone..], new[same..], "the rest is as it was");
    old[same..same + gone].to_vec()
}
