//! Does the engine find in the demo site what a person read out of it by hand, nothing more and nothing less?

#[path = "support/hand_reading.rs"]
mod hand_reading;
#[path = "support/hand_table.rs"]
mod hand_table;

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::path::Path;

use boundwalk::analysis::{
    By, Cell, Endpoint, Matrix, PermittedFlow, Question, Reading, flows, party_name,
};
use boundwalk::forwarding::Network;
use boundwalk::load::load_path;
use boundwalk::model::{Date, Family, Site};
use boundwalk::packet::{ClassSet, Region};

use hand_reading::{Passing, Reader, without};
use hand_table::{HandTable, Written};

const TODAY: Date = Date::constant(2026, 11, 25);

/// What the engine says about one pair.
struct Found {
    from: Endpoint,
    to: Endpoint,
    family: Family,
    cell: Cell,
    passing: Vec<Passing>,
}

#[test]
fn the_engine_agrees_with_the_reading_by_hand() {
    let (site, table) = demo();
    let network = Network::asking(&site, TODAY, &table.all_services(&site));
    let found = found(&network);
    assert_eq!(
        found.len(),
        2 * 10 * 10,
        "each of ten segments to the nine others and the gateway"
    );
    let differences: Vec<String> = found
        .iter()
        .flat_map(|pair| differences(&network, pair, entries_of(&site, &table, pair)))
        .collect();
    assert!(differences.is_empty(), "\n{}", differences.join("\n"));
    let pairs = found
        .iter()
        .map(|pair| entries_of(&site, &table, pair).map_or(0, |cell| cell.entries.len()));
    let entries: usize = table.cells.iter().map(|cell| cell.entries.len()).sum();
    assert_eq!(pairs.sum::<usize>(), entries, "every entry was compared");
}

#[test]
fn every_rule_named_in_the_reading_is_in_the_site_and_used() {
    let (site, table) = demo();
    let filter = site.routers[0].filter().expect("a gateway filters");
    let known: BTreeSet<&str> = filter
        .rules
        .iter()
        .map(|rule| rule.name.value.as_str())
        .collect();
    let used: BTreeSet<&str> = table
        .cells
        .iter()
        .flat_map(|cell| &cell.entries)
        .map(|entry| entry.rule.as_str())
        .collect();
    let short: BTreeSet<&str> = table.rules.values().map(String::as_str).collect();
    assert_eq!(used, short);
    assert!(used.is_subset(&known), "{used:?}");
}

/// Takes each entry out in turn: the comparison must object every time.
#[test]
fn an_entry_too_few_would_be_noticed() {
    let (site, table) = demo();
    let network = Network::asking(&site, TODAY, &table.all_services(&site));
    let mut tried = 0;
    for pair in &found(&network) {
        let Some(written) = entries_of(&site, &table, pair) else {
            continue;
        };
        for missing in 0..written.entries.len() {
            let mut fewer = written.clone();
            fewer.entries.remove(missing);
            let objections = differences(&network, pair, Some(&fewer));
            assert!(!objections.is_empty(), "{:?}", written.entries[missing]);
            tried += 1;
        }
    }
    assert!(tried > 100, "{tried}");
}

/// Adds an entry to each pair in turn: the comparison must object every time.
#[test]
fn an_entry_too_many_would_be_noticed() {
    let (site, table) = demo();
    let network = Network::asking(&site, TODAY, &table.all_services(&site));
    let entries = || table.cells.iter().flat_map(|cell| &cell.entries);
    let print = entries().find(|entry| entry.rule == "brewhouse prints");
    let wider = hand_table::Entry {
        sender: None,
        receiver: None,
        ..print.expect("the screen prints").clone()
    };
    let pairs = found(&network);
    let real = |pair: &&Found| pair.cell.reading == Reading::Pair;
    for pair in pairs.iter().filter(real) {
        let nothing = Written {
            from: String::new(),
            to: String::new(),
            family: pair.family,
            entries: Vec::new(),
            line: 0,
        };
        let mut more = entries_of(&site, &table, pair).unwrap_or(&nothing).clone();
        more.entries.push(wider.clone());
        let objections = differences(&network, pair, Some(&more));
        let not_found = |text: &String| text.contains("not found");
        assert!(objections.iter().any(not_found), "{more:?}: {objections:?}");
    }
}

fn demo() -> (Site, HandTable) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane");
    let loaded = load_path(&folder);
    let site = loaded.site.expect("the demo site loads");
    let text = std::fs::read_to_string(folder.join("expected-reach.md")).expect("the reading");
    (site, HandTable::parse(&text))
}

fn entries_of<'t>(site: &Site, table: &'t HandTable, pair: &Found) -> Option<&'t Written> {
    let (from, to) = (party_name(site, pair.from), column_name(site, pair.to));
    let mut cells = table
        .cells
        .iter()
        .filter(|cell| cell.from == from && cell.to == to && cell.family == pair.family);
    let cell = cells.next();
    assert!(cells.next().is_none(), "{from} to {to} stands there twice");
    cell
}

fn column_name(site: &Site, party: Endpoint) -> Cow<'_, str> {
    match party {
        Endpoint::Device(_) => Cow::Borrowed("gateway"),
        other => party_name(site, other),
    }
}

/// Every ordered pair of segments, and of a segment and the gateway, in both families.
fn found(network: &Network<'_>) -> Vec<Found> {
    let mut all = Vec::new();
    for family in Family::ALL {
        let question = Question::all(By::Segment, family, false);
        let matrix = Matrix::new(network, &question, &mut |_, _| {});
        for (&from, line) in matrix.rows.iter().zip(&matrix.cells) {
            for (&to, cell) in matrix
                .columns
                .iter()
                .zip(line)
                .filter(|(to, _)| **to != from)
            {
                let (list, complete) = flows(network, family, from, to, None);
                assert!(
                    complete.is_complete() && cell.complete(),
                    "no limit is met on the demo site"
                );
                let passing = grouped(list.iter().map(passing));
                all.push(Found {
                    from,
                    to,
                    family,
                    cell: Cell::clone(cell),
                    passing,
                });
            }
        }
    }
    all
}

fn passing(flow: &PermittedFlow) -> Passing {
    let [crossed] = flow.crossed.as_slice() else {
        panic!("one gateway between any two: {flow:?}");
    };
    let rule = crossed
        .decided
        .flatten()
        .expect("a rule decides, not the default");
    let (sent, arrives) = (&flow.sent, &flow.arrives);
    let changed = sent.destination != arrives.destination || sent.services != arrives.services;
    Passing {
        rule,
        arrives: changed.then(|| (arrives.destination.clone(), arrives.services.clone())),
        parts: vec![flow.sent.clone()],
    }
}

/// Joins what passes for the same reason.
fn grouped(all: impl Iterator<Item = Passing>) -> Vec<Passing> {
    let mut groups: Vec<Passing> = Vec::new();
    for one in all {
        match groups
            .iter_mut()
            .find(|group| group.rule == one.rule && group.arrives == one.arrives)
        {
            Some(group) => group.parts.extend(one.parts),
            None => groups.push(one),
        }
    }
    groups
}

/// Where the engine and the reading of one pair differ, in words.
fn differences(network: &Network<'_>, pair: &Found, written: Option<&Written>) -> Vec<String> {
    let reader = Reader::new(network, pair.family);
    let expected =
        written.map_or_else(Vec::new, |written| reader.read(pair.from, pair.to, written));
    let expected = grouped(expected.into_iter());
    let mut out = Vec::new();
    for (left, right, word) in [
        (&expected, &pair.passing, "not found"),
        (&pair.passing, &expected, "not in the reading"),
    ] {
        for group in left {
            let same =
                |other: &&Passing| other.rule == group.rule && other.arrives == group.arrives;
            let known = right
                .iter()
                .find(same)
                .map_or(&[][..], |other| &other.parts);
            let left_over = group.parts.iter().flat_map(|part| without(part, known));
            out.extend(left_over.map(|part| format!("{word}: {}", reader.show(group, &part))));
        }
    }
    out.extend(cell_differences(&reader, pair, &expected));
    let title = format!(
        "{} -> {}, {} (line {}): ",
        party_name(network.site, pair.from),
        column_name(network.site, pair.to),
        pair.family.word(),
        written.map_or(0, |written| written.line),
    );
    out.iter().map(|text| format!("{title}{text}")).collect()
}

/// The matrix cell sums the flows up: services of some and of every packet, and the rules.
fn cell_differences(reader: &Reader<'_>, pair: &Found, expected: &[Passing]) -> Vec<String> {
    let cell = &pair.cell;
    let classes = &reader.network.classes;
    let parts: Vec<Region> = expected
        .iter()
        .flat_map(|group| group.parts.clone())
        .collect();
    let services = parts.iter().map(|part| &part.services);
    let some = services.fold(classes.none(), |all, part| all.union(part));
    let (reading, every) = every(reader, pair, &parts);
    let rules: BTreeSet<usize> = expected.iter().map(|group| group.rule).collect();
    let found: Vec<usize> = cell.rules.iter().filter_map(|(_, rule)| *rule).collect();
    let same_rules = found.len() == cell.rules.len() && rules.iter().eq(&found);
    let comparisons = [
        ("kind of pair", reading == cell.reading),
        ("services", some == *cell.some),
        ("services from every address", every == *cell.every),
        ("rules", same_rules),
    ];
    comparisons
        .iter()
        .filter(|(_, same)| !same)
        .map(|(what, _)| format!("the cell differs: {what}"))
        .collect()
}

/// The kind of a pair, and the services that pass from each address to each.
fn every(reader: &Reader<'_>, pair: &Found, parts: &[Region]) -> (Reading, ClassSet) {
    let classes = &reader.network.classes;
    let whole = Region {
        source: reader.own(pair.from),
        destination: reader.own(pair.to),
        services: classes.all(),
    };
    if whole.is_empty() {
        return (Reading::NoAddresses, classes.none());
    }
    let missed = without(&whole, parts);
    let every = missed
        .iter()
        .map(|part| &part.services)
        .fold(classes.all(), |every, part| every.difference(part));
    (Reading::Pair, every)
}
