//! Long rule lists against decision diagrams: is what `flows` lists of a pair what the list permits there,
//! each part by the rule that matches it first? And do the cells count it right?

#[path = "oracles/diagrams.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod diagrams;
#[path = "oracles/pair_diagrams.rs"]
mod pair_diagrams;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_lists.rs"]
mod random_lists;

use std::collections::BTreeSet;

use boundwalk::analysis::{By, Cell, Endpoint, Extent, Matrix, PermittedFlow, Question, flows};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, RouterId, Site};
use boundwalk::packet::{IntervalSet, Region};
use diagrams::{and, not, or};
use oxidd::BooleanFunction;
use oxidd::bdd::BDDFunction;
use pair_diagrams::{PairDiagrams, Permitted};

const TODAY: Date = Date::constant(2026, 4, 1);
struct Case<'s> {
    network: &'s Network<'s>,
    oracle: PairDiagrams<'s>,
    deciding: BTreeSet<Option<usize>>,
    pieces: usize,
    partly: usize,
}

impl<'s> Case<'s> {
    fn new(site: &'s Site, network: &'s Network<'s>) -> Self {
        Self {
            network,
            oracle: PairDiagrams::new(site, network),
            deciding: BTreeSet::new(),
            pieces: 0,
            partly: 0,
        }
    }

    fn check(&mut self) {
        let question = Question::all(By::Segment, Family::V4, false);
        let matrix = Matrix::new(self.network, &question, &mut |_, _| {});
        for (row, &from) in matrix.rows.iter().enumerate() {
            for (column, &to) in matrix.columns.iter().enumerate() {
                if from != to {
                    self.check_pair(from, to, &matrix.cells[row][column]);
                }
            }
        }
    }

    fn check_pair(&mut self, from: Endpoint, to: Endpoint, cell: &Cell) {
        let all = self.oracle.between(from, to);
        let permitted = self.oracle.permitted(from, to, &all);
        let (listed, complete) = flows(self.network, Family::V4, from, to, None);
        assert!(complete.is_complete());
        let mut found = Permitted::new();
        for flow in &listed {
            let region = self.oracle.of_region(&flow.sent);
            let known = found.entry(decided(flow));
            let known = known.or_insert_with(|| self.oracle.diagrams.constant(false));
            *known = or(known, &region);
        }
        assert!(
            found == permitted,
            "{from:?} > {to:?}: by {:?}, should be {:?}",
            found.keys(),
            permitted.keys()
        );
        self.pieces += listed.len();
        self.deciding.extend(found.keys());
        let rules: Vec<_> = found.keys().map(|&rule| (RouterId(0), rule)).collect();
        let mut sorted = cell.rules.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, rules);
        self.check_classes(cell, &all, &permitted);
    }

    /// Some packet of a class arrives, or every one.
    fn check_classes(&mut self, cell: &Cell, all: &BDDFunction, permitted: &Permitted) {
        let arrives = permitted
            .values()
            .fold(self.oracle.diagrams.constant(false), |sum, part| {
                or(&sum, part)
            });
        for class in 0..self.network.classes.len() {
            let mut services = self.network.classes.none();
            services.insert(class);
            let everywhere = IntervalSet::range(0, u128::from(u32::MAX));
            let region = Region {
                source: everywhere.clone(),
                destination: everywhere,
                services,
            };
            let sent = and(all, &self.oracle.of_region(&region));
            let (some, every) = (
                and(&sent, &arrives).satisfiable(),
                !and(&sent, &not(&arrives)).satisfiable(),
            );
            assert_eq!(cell.some.contains(class), some, "some of class {class}");
            assert_eq!(cell.every.contains(class), every, "class {class} wholly");
            self.partly += usize::from(some && !every);
        }
    }
}

/// The rule that decided at the only device there is.
fn decided(flow: &PermittedFlow) -> Option<usize> {
    let [gateway] = flow.crossed.as_slice() else {
        panic!("one gateway is crossed: {flow:?}");
    };
    assert_eq!(gateway.router, Some(RouterId(0)));
    assert_eq!(flow.sent, flow.arrives);
    assert_eq!(flow.two_way, Extent::All, "state lets every reply pass");
    gateway.decided.expect("a gateway decides")
}

/// Deciding rules, pieces listed, and classes of which only a part passes.
fn check_list(seed: u64, rules: usize, default: &str) -> [usize; 3] {
    let text = random_lists::random_list(seed, rules, default);
    let loaded = load_text("drawn", &text);
    let site = loaded
        .site
        .unwrap_or_else(|| panic!("seed {seed}: {:#?}", loaded.problems));
    let network = Network::new(&site, TODAY);
    let mut case = Case::new(&site, &network);
    case.check();
    [case.deciding.len(), case.pieces, case.partly]
}

#[test]
fn short_lists_are_listed_exactly() {
    let mut seen = [0; 3];
    for seed in 0..20 {
        let default = if seed % 2 == 0 { "deny" } else { "permit" };
        let more = check_list(seed, 30, default);
        seen = [0, 1, 2].map(|at| seen[at] + more[at]);
    }
    let [deciding, pieces, partly] = seen;
    assert!(
        200 < deciding && 400 < pieces && 400 < partly,
        "{deciding} rules decide, {pieces} pieces, {partly} classes pass in part"
    );
}

#[test]
fn long_lists_are_listed_exactly() {
    for (seed, default) in [(100, "deny"), (101, "permit"), (102, "deny")] {
        let [deciding, pieces, partly] = check_list(seed, 1_000, default);
        assert!(
            200 < deciding && 700 < pieces && 200 < partly,
            "{deciding} rules decide, {pieces} pieces, {partly} classes pass in part"
        );
    }
}
