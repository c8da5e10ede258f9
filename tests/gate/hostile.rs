//! Names that a site may have must come out of SARIF and JUnit as they went in.

use crate::junit;
use crate::run::Ran;
use crate::sarif;
use crate::sites::{Folder, with_wide_rule};

/// Names of rules that load; each tries something.
const NAMES: [&str; 6] = [
    "<script>alert(1)</script>",
    "]]></failure><testcase/>",
    "a 'b' & &amp; &#x41;",
    "[link](1) {0} {{1}}",
    "北の醸造所 \u{1f37a}",
    "%s %00 ..\\\\..",
];

/// The name as it is in the model: of a TOML string the backslashes are halved.
fn loaded(name: &str) -> String {
    name.replace("\\\\", "\\")
}

fn review(name: &str, format: &str) -> Ran {
    Folder::new(&with_wide_rule(name)).review(&format!("--fail-on note --format {format}"))
}

/// Undoes what SARIF wants of a text: 3.11.5 and 3.11.6.
fn unescaped(text: &str) -> String {
    text.replace("{{", "{")
        .replace("}}", "}")
        .replace("\\](", "](")
}

#[test]
fn in_sarif_names_stay_names() {
    for name in NAMES {
        let value = sarif::valid(&review(name, "sarif"));
        let own: Vec<_> = sarif::results(&value)
            .iter()
            .filter(|one| one["ruleId"] == "permit-any-service")
            .collect();
        let [one] = own[..] else {
            panic!("{name}: {value}");
        };
        let subject = format!("edge \"{}\"", loaded(name));
        assert_eq!(
            one["locations"][0]["logicalLocations"][0]["fullyQualifiedName"],
            subject
        );
        let message = one["message"]["text"].as_str().expect("text");
        let start = format!("{subject}: ");
        assert!(unescaped(message).starts_with(&start), "{message}");
        // No placeholder and no link is left.
        let odd = message.replace("{{", "").replace("}}", "");
        assert!(!odd.contains(['{', '}']), "{message}");
        assert!(!message.replace("\\](", "").contains("]("), "{message}");
    }
}

#[test]
fn in_junit_names_stay_names() {
    for name in NAMES {
        let xml = review(name, "junit").out;
        assert_ne!(junit::schema_takes(&xml), Some(false), "{xml}");
        let (cases, _) = junit::cases(&xml);
        let case = cases
            .iter()
            .find(|case| case.name == "permit-any-service")
            .expect("a case");
        assert_eq!(case.fate, "failure");
        assert_eq!(junit::lines(case), 1, "{case:?}");
        let subject = format!(": edge \"{}\": ", loaded(name));
        assert!(case.text.contains(&subject), "{case:?}");
    }
}

/// Reasons may have line breaks: they must not look like further findings or break a list.
#[test]
fn a_reason_of_several_lines_stays_one_entry() {
    let entry = "\n[[accepted]]\ncheck = \"permit-any-service\"\nowner = \"IT\"\nuntil = 2026-12-31\n\
                 reason = \"\"\"one\n- **error** two\n## three\"\"\"\n";
    let folder = Folder::new(&format!("{}{entry}", with_wide_rule("scanner")));
    let markdown = folder.review("--format markdown").out;
    assert!(!markdown.contains("\n- **error** two"), "{markdown}");
    assert!(!markdown.contains("\n## three"), "{markdown}");
    let text = folder.review("").out;
    assert!(
        !text.lines().any(|line| line.starts_with("## three")),
        "{text}"
    );
    let xml = folder.review("--format junit --fail-on note").out;
    assert_ne!(junit::schema_takes(&xml), Some(false), "{xml}");
    let value = sarif::valid(&folder.review("--format sarif"));
    assert!(
        sarif::results(&value)
            .iter()
            .any(|one| one["suppressions"][0]["kind"] == "external")
    );
}
