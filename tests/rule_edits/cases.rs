//! Texts before and after, by hand: rules that go, and what is refused.

use boundwalk::load::{Edit, EditError, RuleField, apply_edits, load_texts};
use boundwalk::model::RouterId;

use crate::field_cases::FIELDS;
use crate::support::{HEAD, edited, loaded};

/// Rules before, edits, rules after. The head of the site stands in front.
pub struct Case {
    pub what: &'static str,
    pub before: &'static str,
    pub edits: &'static [&'static str],
    pub after: &'static str,
}

const REMOVALS: &[Case] = &[
    Case {
        what: "a rule goes with the comment above it and the comments in it; a heading stays",
        before: r##"
# --- Office ---

# The first.
# It has two lines.
[[gateways.edge.rules]] # here
name = "a"
# log = true

# Why:
action = "permit" # always
# The end of it.

[[gateways.edge.rules]]
name = "b"
action = "deny"
"##,
        edits: &["remove a"],
        after: r##"
# --- Office ---

[[gateways.edge.rules]]
name = "b"
action = "deny"
"##,
    },
    Case {
        what: "a heading behind the rule stays, and so does the comment of the next rule",
        before: r##"
[[gateways.edge.rules]]
name = "a"
action = "permit"

# --- Brewhouse ---

# Of b.
[[gateways.edge.rules]]
name = "b"
action = "deny"
# Of c.
[[gateways.edge.rules]]
name = "c"
action = "deny"

# The end.
"##,
        edits: &["remove a", "remove b"],
        after: r##"
# --- Brewhouse ---

# Of c.
[[gateways.edge.rules]]
name = "c"
action = "deny"

# The end.
"##,
    },
    Case {
        what: "blank lines do not pile up, the widest gap stays",
        before: r#"
[[gateways.edge.rules]]
name = "a"
action = "permit"

[[gateways.edge.rules]]
name = "b"
action = "permit"


[[gateways.edge.rules]]
name = "c"
action = "permit"

[[gateways.edge.rules]]
name = "d"
action = "permit"
"#,
        edits: &["remove c", "remove b"],
        after: r#"
[[gateways.edge.rules]]
name = "a"
action = "permit"


[[gateways.edge.rules]]
name = "d"
action = "permit"
"#,
    },
    Case {
        what: "the last rule of a text without a last line break",
        before: "\n[[gateways.edge.rules]]\nname = \"a\"\naction = \"deny\"\n\n[[gateways.edge.rules]]\nname = \"b\"\naction = \"deny\"",
        edits: &["remove b"],
        after: "\n[[gateways.edge.rules]]\nname = \"a\"\naction = \"deny\"\n",
    },
    Case {
        what: "the last rule of all, with keys of any spelling; a table behind stays",
        before: r#"
[["gateways" . 'edge'.rules]]
  "name" = "a"
  'action' = "deny"
[gateways.edge.lags.up]
ports = ["1", "2"]
lacp = "active"
"#,
        edits: &["remove a"],
        after: r#"
[gateways.edge.lags.up]
ports = ["1", "2"]
lacp = "active"
"#,
    },
    Case {
        what: "what looks like a comment or a header in a string is none",
        before: r##"
[[gateways.edge.rules]]
name = "a"
action = "deny"
reason = """
[[gateways.edge.rules]]

# no comment"""
[[gateways.edge.rules]]
name = "b"
reason = '''

# no comment either

'''
action = "deny"
# Of c.
[[gateways.edge.rules]]
name = "c"
action = "deny"
"##,
        edits: &["remove b"],
        after: r##"
[[gateways.edge.rules]]
name = "a"
action = "deny"
reason = """
[[gateways.edge.rules]]

# no comment"""
# Of c.
[[gateways.edge.rules]]
name = "c"
action = "deny"
"##,
    },
];

const REMOVALS_IN_BRACES: &[Case] = &[
    Case {
        what: "rules in braces, one a line",
        before: r##"rules = [
    # Office

    # Of a.
    { name = "a", action = "permit" }, # behind a
    { name = "b", action = "permit" }, # behind b
    # Of c.
    { name = "c", action = "deny" } # behind c
]
"##,
        edits: &["remove a", "remove c"],
        after: r##"rules = [
    # Office

    { name = "b", action = "permit" }, # behind b
]
"##,
    },
    Case {
        what: "rules in braces, all on one line: the first and the middle one",
        before: "rules = [ { name = \"a\", action = \"permit\" }, { name = \"b\", action = \"deny\" }, {name='c',action='deny'} ] # all\n",
        edits: &["remove a", "remove b"],
        after: "rules = [ {name='c',action='deny'} ] # all\n",
    },
    Case {
        what: "rules in braces, all on one line: the last two",
        before: "rules = [ { name = \"a\", action = \"permit\" }, { name = \"b\", action = \"deny\" }, {name='c',action='deny'} ] # all\n",
        edits: &["remove b", "remove c"],
        after: "rules = [ { name = \"a\", action = \"permit\" } ] # all\n",
    },
    Case {
        what: "rules in braces, all of them",
        before: "rules = [\n  {name=\"a\", action=\"permit\"},\n\n  {name=\"b\", action=\"permit\"}, ]\n",
        edits: &["remove a", "remove b"],
        after: "rules = []\n",
    },
    Case {
        what: "rules in braces, two a line",
        before: "rules = [\n  {name=\"a\", action=\"deny\"}, {name=\"b\", action=\"deny\"},\n  {name=\"c\", action=\"deny\"}, {name=\"d\", action=\"deny\"}\n]\n",
        edits: &["remove b", "remove d"],
        after: "rules = [\n  {name=\"a\", action=\"deny\"},\n  {name=\"c\", action=\"deny\"}\n]\n",
    },
    Case {
        what: "rules in braces of several lines",
        before: r##"rules = [
    {
        name = "a", # the first
        action = "deny",
    },
    # The second.
    {
        name = "b",

        action = "deny",
    },
]
"##,
        edits: &["remove b"],
        after: r##"rules = [
    {
        name = "a", # the first
        action = "deny",
    },
]
"##,
    },
];

/// Each case as it is written, with CR and LF at the end of lines, and behind a byte order mark.
fn run(cases: &[Case]) {
    for case in cases {
        let before = format!("{HEAD}{}", case.before);
        let after = format!("{HEAD}{}", case.after);
        let windows = |text: &str| text.replace('\n', "\r\n");
        let marked = |text: &str| format!("\u{feff}{text}");
        assert_eq!(result(&before, case), after, "{}", case.what);
        assert_eq!(
            result(&windows(&before), case),
            windows(&after),
            "{}: CR LF",
            case.what
        );
        assert_eq!(
            result(&marked(&before), case),
            marked(&after),
            "{}: marked",
            case.what
        );
    }
}

fn result(before: &str, case: &Case) -> String {
    let file = edited(before, case.edits);
    let file = file.unwrap_or_else(|error| panic!("{}: {error}", case.what));
    file.map_or_else(|| before.to_owned(), |file| file.after)
}

#[test]
fn rules_go_with_what_belongs_to_them() {
    run(REMOVALS);
}

#[test]
fn rules_in_braces_go_with_what_belongs_to_them() {
    run(REMOVALS_IN_BRACES);
}

#[test]
fn fields_change_in_the_style_of_the_rule() {
    run(FIELDS);
}

/// A text may begin with a rule; the byte order mark stays where it is.
#[test]
fn a_rule_at_the_very_start_of_a_text_goes() {
    let rule = "[[gateways.edge.rules]]\nname = \"a\"\naction = \"deny\"\n\n";
    let before = format!("\u{feff}{rule}{HEAD}");
    let after = edited(&before, &["remove a"])
        .expect("a sound edit")
        .expect("a change");
    assert_eq!(after.after, format!("\u{feff}{HEAD}"));
}

/// Rules of two gateways in two files of one folder; the third file is not touched.
#[test]
fn each_file_is_edited_by_itself() {
    let second = "[gateways.back]\ndefault = \"deny\"\n[gateways.back.interfaces.office]\nsegment = \"office\"\n[[gateways.back.rules]]\nname = \"x\"\naction = \"deny\"\n";
    let first = format!("{HEAD}[[gateways.edge.rules]]\nname = \"a\"\naction = \"deny\"\n");
    let texts = [
        ("1.toml", first.as_str()),
        ("2.toml", "# Nothing.\n"),
        ("3.toml", second),
    ];
    let texts = texts.map(|(name, text)| (name.to_owned(), text.to_owned()));
    let loaded = load_texts(texts.to_vec());
    let site = loaded.site.expect("a site");
    let remove = |router| Edit::RemoveRule {
        router: RouterId(router),
        rule: 0,
    };
    let files = apply_edits(&site, &loaded.sources, &[remove(1), remove(0)]).expect("sound edits");
    let names: Vec<&str> = files.iter().map(|file| file.name.as_str()).collect();
    assert_eq!(names, ["1.toml", "3.toml"]);
    assert_eq!(files[0].after, HEAD);
    assert_eq!(
        files[1].after,
        "[gateways.back]\ndefault = \"deny\"\n[gateways.back.interfaces.office]\nsegment = \"office\"\n"
    );
    assert_eq!(files[1].before, second);
}

#[test]
fn what_can_not_be_done_is_refused() {
    let text = format!("{HEAD}[[gateways.edge.rules]]\nname = \"a\"\naction = \"deny\"\n");
    let refused = |edits: &[&str]| edited(&text, edits).expect_err("an error");
    let contradiction = EditError::Contradiction {
        rule: "a".to_owned(),
    };
    assert_eq!(refused(&["remove a", "remove a"]), contradiction);
    assert_eq!(
        refused(&["a: to = office", "a: to = internet"]),
        contradiction
    );
    assert_eq!(refused(&["a: to = office", "remove a"]), contradiction);
    let message = refused(&["a: to = cellar"]).to_string();
    assert_eq!(
        message,
        "the edited file would not load: site.toml:24:7: no zone or segment is called `cellar`"
    );
    let good = loaded(&text);
    let site = good.site.as_ref().expect("a site");
    let (router, rule) = (RouterId(0), 7);
    let none = apply_edits(site, &good.sources, &[Edit::RemoveRule { router, rule }]);
    assert_eq!(none, Err(EditError::NoSuchRule { router, rule }));
    let other = loaded(&text.replace("name = \"a\"", "name = \"b\""));
    let edit = Edit::RemoveRule { router, rule: 0 };
    assert_eq!(
        apply_edits(site, &other.sources, &[edit]),
        Err(EditError::OtherTexts)
    );
}

/// Whatever an item holds, it is one string of the text, and a site that does not load is refused.
#[test]
fn items_with_odd_characters_break_nothing_out() {
    let text = format!("{HEAD}[[gateways.edge.rules]]\nname = 'a'\naction = 'deny'\n");
    let good = loaded(&text);
    let site = good.site.as_ref().expect("a site");
    for item in ["office'] #", "office\"\n[x]", "\\", "a\tb\u{7f}", ""] {
        let edit = Edit::SetRuleField {
            router: RouterId(0),
            rule: 0,
            field: RuleField::To,
            items: vec![item.to_owned()],
        };
        let error = apply_edits(site, &good.sources, &[edit]).expect_err("no such segment");
        let EditError::WouldNotLoad { problem } = &error else {
            panic!("{item:?}: {error}");
        };
        assert!(
            problem.starts_with("site.toml:24:7: no zone or segment"),
            "{item:?}: {problem}"
        );
    }
}
