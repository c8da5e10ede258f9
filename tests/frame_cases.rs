//! Small sites where layer 2 decides, each worked out by hand: does the simulator of single frames say the same?
//!
//! What is so stands at the top of each file of `tests/cases/`.

use boundwalk::load::load_text;

/// The cases whose answer layer 2 decides.
const CASES: [&str; 9] = [
    "dumb-switch",
    "hub",
    "isolated-ports",
    "twin-vlan",
    "twin-vlan-2",
    "unused-port-empty",
    "unused-port-filter-off",
    "unused-port-pvid-10",
    "vlan1-everywhere",
];

#[test]
fn every_case_loads() {
    for case in CASES {
        let path = format!("{}/tests/cases/{case}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&path).expect(&path);
        let loaded = load_text(case, &text);
        assert!(loaded.site.is_some(), "{case}: {:#?}", loaded.problems);
    }
}
