//! Texts before and after, by hand: fields that change, come and go.

use crate::cases::Case;

/// Changes of fields.
pub const FIELDS: &[Case] = &[
    Case {
        what: "lists on one line keep their quotes, their spaces and what stands behind",
        before: r##"
[[gateways.edge.rules]]
name = "a"
from = ['office']   # who
services = [ "tcp/80", 'tcp/443' ]
source = "10.44.20.0/24"
destination = "10.44.60.7"
action = "permit"
"##,
        edits: &[
            "a: from = office, brewhouse",
            "a: services = tcp/443, udp/443",
            "a: source = 10.44.20.0/25",
            "a: destination = 10.44.60.7, 10.44.60.8",
        ],
        after: r##"
[[gateways.edge.rules]]
name = "a"
from = ['office', 'brewhouse']   # who
services = [ 'tcp/443', "udp/443" ]
source = "10.44.20.0/25"
destination = ["10.44.60.7", "10.44.60.8"]
action = "permit"
"##,
    },
    Case {
        what: "new keys stand in the usual order, with the quotes of the rule",
        before: r#"
[[gateways.edge.rules]]
  name = "a" # its name
  to = ['office']
  action = "permit"
"#,
        edits: &[
            "a: services = tcp/80",
            "a: from = brewhouse",
            "a: destination = 10.44.20.1, 10.44.20.9",
        ],
        after: r#"
[[gateways.edge.rules]]
  name = "a" # its name
  from = ['brewhouse']
  to = ['office']
  destination = ['10.44.20.1', '10.44.20.9']
  services = ['tcp/80']
  action = "permit"
"#,
    },
    Case {
        what: "keys go and come, a text without a last line break",
        before: "\n[[gateways.edge.rules]]\nto = \"office\"\naction = \"permit\"\nservices = [\n  # web\n  \"tcp/80\"\n] # why\nname = \"a\"",
        edits: &["a: to =", "a: services =", "a: source = 10.44.60.1"],
        after: "\n[[gateways.edge.rules]]\naction = \"permit\"\nname = \"a\"\nsource = [\"10.44.60.1\"]",
    },
    Case {
        what: "a list of several lines keeps the comments of what stays",
        before: r##"
[[gateways.edge.rules]]
name = "a"
services = [
    # Web.
    "tcp/80", # plain
    "tcp/443", # with TLS

    # Names.
    "udp/53", # by UDP
    "tcp/53" # by TCP
] # all
action = "permit"
"##,
        edits: &["a: services = tcp/443, udp/53, tcp/993, tcp/995"],
        after: r##"
[[gateways.edge.rules]]
name = "a"
services = [
    "tcp/443", # with TLS

    # Names.
    "udp/53", # by UDP
    "tcp/993",
    "tcp/995"
] # all
action = "permit"
"##,
    },
    Case {
        what: "a list of several lines in another order, and one with two items a line",
        before: r#"
[[gateways.edge.rules]]
name = "a"
services = [
  "tcp/80",
  'tcp/443',
]
source = ["10.44.20.1",
  "10.44.20.2", "10.44.20.3"]
action = "permit"
"#,
        edits: &[
            "a: services = tcp/443, tcp/80",
            "a: source = 10.44.20.1, 10.44.20.3, 10.44.20.5",
        ],
        after: r#"
[[gateways.edge.rules]]
name = "a"
services = [
    'tcp/443',
    "tcp/80",
]
source = ["10.44.20.1",
  "10.44.20.3", "10.44.20.5"]
action = "permit"
"#,
    },
    Case {
        what: "a list that would reach beyond 110 characters gets a line for each item",
        before: r#"
[[gateways.edge.rules]]
name = "a"
services = ["tcp/1000", "tcp/1001", "tcp/1002", "tcp/1003", "tcp/1004", "tcp/1005", "tcp/1006", "tcp/1007"]
action = "permit"

[[gateways.edge.rules]]
name = "b"
services = ["tcp/1000", "tcp/1001", "tcp/1002", "tcp/1003", "tcp/1004", "tcp/1005", "tcp/1006", "tcp/1007"]
action = "permit"
"#,
        edits: &[
            "a: services = tcp/1000, tcp/1001, tcp/1002, tcp/1003, tcp/1004, tcp/1005, tcp/1006, tcp/100-8100",
            "b: services = tcp/1000, tcp/1001, tcp/1002, tcp/1003, tcp/1004, tcp/1005, tcp/1006, tcp/80-8100",
        ],
        after: r#"
[[gateways.edge.rules]]
name = "a"
services = [
    "tcp/1000",
    "tcp/1001",
    "tcp/1002",
    "tcp/1003",
    "tcp/1004",
    "tcp/1005",
    "tcp/1006",
    "tcp/100-8100",
]
action = "permit"

[[gateways.edge.rules]]
name = "b"
services = ["tcp/1000", "tcp/1001", "tcp/1002", "tcp/1003", "tcp/1004", "tcp/1005", "tcp/1006", "tcp/80-8100"]
action = "permit"
"#,
    },
    Case {
        what: "fields of a rule in braces",
        before: r#"rules = [
    { name = "a", from = ["office"], services = ["tcp/80"], action = "permit" },
    { name = "b", action = "permit", to = ["office"] }, # b
    {
        name = "c",
        action = "permit",
        from = "office",
    },
]
"#,
        edits: &[
            "a: from =",
            "a: services = tcp/80, tcp/443",
            "a: to = brewhouse",
            "b: to =",
            "b: from = brewhouse",
            "c: from =",
            "c: to = office",
        ],
        after: r#"rules = [
    { name = "a", to = ["brewhouse"], services = ["tcp/80", "tcp/443"], action = "permit" },
    { name = "b", from = ["brewhouse"], action = "permit" }, # b
    {
        name = "c",
        to = ["office"],
        action = "permit",
    },
]
"#,
    },
    Case {
        what: "edits that change nothing",
        before: "\n[[gateways.edge.rules]]\nname = \"a\"\nfrom = [ \"office\", ]\naction = \"deny\"\n",
        edits: &["a: from = office", "a: to ="],
        after: "\n[[gateways.edge.rules]]\nname = \"a\"\nfrom = [ \"office\", ]\naction = \"deny\"\n",
    },
];
