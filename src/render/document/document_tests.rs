//! One document in its three forms.

use proptest::prelude::*;
use pulldown_cmark::{Event, Parser};

use super::markdown::code;
use super::{Document, Holds, Mark, Rank, Table, Tone};
use crate::text_style::TextStyle;

fn document(notes: &[String]) -> Document<'_> {
    let mut out = Document::new("Path", "Brewery <1>");
    out.heading(Rank::Answer, "office -> internet");
    out.plain(2, "sent by a device");
    out.line(
        0,
        Mark::Number {
            number: 1,
            digits: 1,
        },
        "edge",
    );
    out.labelled(
        3,
        "route  ",
        "by wan_1, which is the only way that there is",
    );
    out.labelled(3, "       ", "and back");
    out.line(
        0,
        Mark::Number {
            number: 2,
            digits: 1,
        },
        "far",
    );
    out.line(0, Mark::Sign("=> "), "delivered");
    out.section("Rules", ["- odd name"]);
    out.table(Table::new(
        &[("rule", Holds::Texts), ("hits", Holds::Numbers)],
        vec![vec!["a|b".to_owned(), "7".to_owned()]],
    ));
    out.toned(Tone::Strong, 0, Mark::None, "loud");
    out.summary("1 rule".to_owned());
    out.notes(notes);
    out
}

#[test]
fn a_terminal_shows_it_in_columns() {
    let style = TextStyle {
        colour: false,
        columns: 40,
    };
    let expected = "\
office -> internet
  sent by a device
1. edge
   route  by wan_1, which is the only
          way that there is
          and back
2. far
=> delivered

Rules
  - - odd name
rule  hits
------------
a|b      7
loud

1 rule

What this rests on
  - one note
";
    assert_eq!(document(&["one note".to_owned()]).text(style), expected);
}

#[test]
fn a_page_has_lists_below_what_they_belong_to() {
    let expected = "\
# Path: Brewery &lt;1&gt;

1 rule.

## office -> internet

- sent by a device
1. edge
   - route: by wan\\_1, which is the only way that there is
   - and back
2. far

**delivered**

### Rules

- \\- odd name

| rule | hits |
|---|--:|
| a\\|b | 7 |

**loud**

## What this rests on

- one note
";
    assert_eq!(document(&["one note".to_owned()]).markdown(), expected);
}

/// Every element that begins ends, and every text is one.
#[test]
fn a_part_of_a_page_is_well_formed() {
    let html = document(&["a <b> & c".to_owned()]).html();
    let tree = format!("<main>{html}</main>");
    let tree = roxmltree::Document::parse(&tree).expect("well-formed");
    let items = |name: &str| {
        let lists = tree
            .descendants()
            .filter(|node| node.has_tag_name(name))
            .map(|list| {
                list.children()
                    .filter(|node| node.has_tag_name("li"))
                    .map(|item| item.text().unwrap_or_default().trim().to_owned())
                    .collect::<Vec<String>>()
            });
        lists.collect::<Vec<_>>()
    };
    assert_eq!(items("ol"), [["edge", "far"]]);
    let nested = [
        "route by wan_1, which is the only way that there is",
        "and back",
    ];
    assert!(
        items("ul").contains(&nested.map(str::to_owned).to_vec()),
        "{html}"
    );
    assert!(
        items("ul").contains(&vec!["a <b> & c".to_owned()]),
        "{html}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// A command is read as it stands, whatever quotes are in it.
    #[test]
    fn a_command_stays_a_command(text in "[a-z`$|<&\\\\ ]{0,10}[a-z`]") {
        let page = code(&text);
        let read: Vec<String> = Parser::new(&page)
            .filter_map(|event| match event {
                Event::Code(text) => Some(text.into_string()),
                _ => None,
            })
            .collect();
        prop_assert_eq!(read, vec![text], "{}", page);
    }
}
