//! Two branches that are harmless each, and their merge, in which a permit stands before a denial.

use crate::counts::alike;
use crate::run::{run, starter};
use crate::sites::{Folder, shown};

const PERMIT: &str = "name = \"helper\"\nfrom = \"guests\"\nto = \"office\"\n\
    services = [\"tcp/445\", \"tcp/9100\"]\naction = \"permit\"\nlog = true\n";
const DENIAL: &str = "name = \"no shares\"\nfrom = \"guests\"\nto = \"office\"\n\
    services = [\"tcp/445\"]\naction = \"deny\"\nlog = true\n";
/// Another rule behind which the denial is moved.
const OTHER: &str = "name = \"time\"\nfrom = \"guests\"\nto = \"office\"\n\
    services = [\"ntp\"]\naction = \"permit\"\nlog = true\n";

/// A site with some rules in this order, and a line that nothing of the guests may pass.
fn site(rules: &[&str]) -> String {
    let mut text = starter().to_owned();
    for rule in rules {
        text.push_str(&format!("\n[[gateways.edge.rules]]\n{rule}"));
    }
    text.push_str(
        "\n[[expectations]]\nname = \"nobody into the office\"\nfrom = \"guests\"\nto = \"office\"\n\
         permit = \"nothing\"\n",
    );
    text
}

/// How `change` judges two texts: exit code and output.
fn change(folder: &Folder, old: &str, new: &str, format: &str) -> (i32, String) {
    let old_file = folder.path("old.toml");
    std::fs::write(&old_file, old).expect("a site file");
    folder.rewrite(new);
    let words = [
        "change",
        shown(&old_file),
        shown(&folder.file),
        "--fail-on",
        "worse",
        "--format",
        format,
        "--today",
        "2026-11-25",
    ];
    let ran = run(words);
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    (ran.code, flat)
}

#[test]
fn a_permit_that_a_merge_puts_before_a_denial_turns_every_form_red() {
    let base = site(&[DENIAL, OTHER]);
    let with_permit = site(&[DENIAL, PERMIT, OTHER]);
    let moved = site(&[OTHER, DENIAL]);
    let merged = site(&[PERMIT, OTHER, DENIAL]);
    let folder = Folder::new(&base);
    let known = folder.baseline();
    folder.rewrite(&moved);
    assert_eq!(alike(&folder.file, &known), (0, 0), "the denial moves");
    let (code, text) = change(&folder, &base, &moved, "text");
    assert_eq!(code, 0, "{text}");

    // The permit alone is known and lived with; what the merge adds to it is not.
    folder.rewrite(&with_permit);
    let known = folder.baseline();
    assert_eq!(alike(&folder.file, &known), (0, 0), "the permit is known");
    folder.rewrite(&merged);
    let (worse, _) = alike(&folder.file, &known);
    assert!(worse > 0);
    assert_eq!(folder.review(&known).code, 1);
    for format in ["text", "json", "markdown", "html"] {
        let (code, text) = change(&folder, &with_permit, &merged, format);
        assert_eq!(code, 1, "{format}: {text}");
        let listed = text.contains("expectation-broken") && text.contains("more than before");
        assert!(listed, "{format}: {text}");
    }
}
