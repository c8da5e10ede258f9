//! Long rule lists against decision diagrams: is what `flows` lists of a pair what the list permits there,
//! each part by the rule that matches it first? And do the cells count it right?

#[path = "oracles/diagrams.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod diagrams;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_lists.rs"]
mod random_lists;

use std::collections::{BTreeMap, BTreeSet};

use boundwalk::analysis::{By, Cell, Extent, Matrix, Party, PermittedFlow, Question, flows};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{
    Action, AddressMatch, Date, Family, Filter, Party as Side, RouterId, Rule, SegmentId, Service,
    Site,
};
use boundwalk::packet::{Field, IntervalSet, PacketBox, Region, Space};
use diagrams::{Diagrams, and, not, or};
use oxidd::BooleanFunction;
use oxidd::bdd::BDDFunction;

const TODAY: Date = Date::constant(2026, 4, 1);
const GATEWAY: Party = Party::Device(RouterId(0));

/// What a list permits between two parties, by the rule that decides.
type Permitted = BTreeMap<Option<usize>, BDDFunction>;

struct Case<'s> {
    site: &'s Site,
    network: &'s Network<'s>,
    filter: &'s Filter,
    space: Space,
    diagrams: Diagrams,
    deciding: BTreeSet<Option<usize>>,
    pieces: usize,
    partly: usize,
}

impl<'s> Case<'s> {
    fn new(site: &'s Site, network: &'s Network<'s>) -> Self {
        let space = Space::ipv4(1);
        Self {
            site,
            network,
            filter: site.routers[0].filter().expect("it is a gateway"),
            diagrams: Diagrams::new(&space),
            space,
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

    fn check_pair(&mut self, from: Party, to: Party, cell: &Cell) {
        let all = self.between(from, to);
        let permitted = self.permitted(from, to, &all);
        let (listed, complete) = flows(self.network, Family::V4, from, to, None);
        assert!(complete);
        let mut found = Permitted::new();
        for flow in &listed {
            let region = self.of_region(&flow.sent);
            let known = found.entry(decided(flow));
            let known = known.or_insert_with(|| self.diagrams.constant(false));
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
        let arrives = permitted.values();
        let arrives = arrives.fold(self.diagrams.constant(false), |sum, part| or(&sum, part));
        for class in 0..self.network.classes.len() {
            let mut services = self.network.classes.none();
            services.insert(class);
            let everywhere = IntervalSet::range(0, u128::from(u32::MAX));
            let region = Region {
                source: everywhere.clone(),
                destination: everywhere,
                services,
            };
            let sent = and(all, &self.of_region(&region));
            let (some, every) = (
                and(&sent, &arrives).satisfiable(),
                !and(&sent, &not(&arrives)).satisfiable(),
            );
            assert_eq!(cell.some.contains(class), some, "some of class {class}");
            assert_eq!(cell.every.contains(class), every, "class {class} wholly");
            self.partly += usize::from(some && !every);
        }
    }

    /// Every packet from the addresses of one party to those of another.
    fn between(&mut self, from: Party, to: Party) -> BDDFunction {
        let (from, to) = (self.addresses(from), self.addresses(to));
        let source = self.diagrams.of_set(Field::Source, &from);
        and(&source, &self.diagrams.of_set(Field::Destination, &to))
    }

    fn permitted(&mut self, from: Party, to: Party, all: &BDDFunction) -> Permitted {
        let mut open = all.clone();
        let mut permitted = Permitted::new();
        for (number, rule) in self.filter.rules.iter().enumerate() {
            if !rule.enabled || !self.is_between(rule, from, to) {
                continue;
            }
            let matched = and(&open, &self.of_rule(rule));
            if rule.action.value == Action::Permit && matched.satisfiable() {
                permitted.insert(Some(number), matched.clone());
            }
            open = and(&open, &not(&matched));
        }
        if self.filter.default.value == Action::Permit && open.satisfiable() {
            permitted.insert(None, open);
        }
        permitted
    }

    fn is_between(&self, rule: &Rule, from: Party, to: Party) -> bool {
        let names = |sides: &Option<Vec<Side>>, party: Party| {
            let Some(sides) = sides else { return true };
            sides.iter().any(|side| match (*side, party) {
                (Side::Gateway, party) => party == GATEWAY,
                (Side::Segment(one), Party::Segment(other)) => one == other,
                (Side::Zone(zone), Party::Segment(other)) => self.site.segment(other).zone == zone,
                _ => false,
            })
        };
        names(&rule.from, from) && names(&rule.to, to)
    }

    fn of_rule(&mut self, rule: &Rule) -> BDDFunction {
        let mut matched = self.diagrams.constant(false);
        let listed = rule.services.as_ref().map(|list| &list.services);
        for service in listed.unwrap_or(&vec![Service::Any]) {
            let packets = service_box(&self.space, service);
            matched = or(&matched, &self.diagrams.of_box(&packets));
        }
        let sides = [
            (Field::Source, &rule.source),
            (Field::Destination, &rule.destination),
        ];
        for (field, list) in sides {
            if let Some(AddressMatch { set, .. }) = list {
                matched = and(&matched, &self.diagrams.of_set(field, &set.v4));
            }
        }
        matched
    }

    fn of_region(&mut self, region: &Region) -> BDDFunction {
        let mut packets = self.diagrams.constant(false);
        for services in self.network.classes.boxes(&region.services) {
            let part = PacketBox::full(&self.space)
                .with(Field::Source, region.source.clone())
                .with(Field::Destination, region.destination.clone())
                .with(Field::Protocol, services.protocols)
                .with(Field::SourcePort, services.source_ports)
                .with(Field::DestinationPort, services.destination_ports);
            packets = or(&packets, &self.diagrams.of_box(&part));
        }
        packets
    }

    /// The gateway's own; those of a segment's prefixes without them; beyond, all that is of no segment.
    fn addresses(&self, party: Party) -> IntervalSet {
        let own = self.site.routers[0].own_addresses().v4;
        let prefixes = |segment: SegmentId| self.site.segment(segment).addresses().v4;
        match party {
            Party::Segment(segment) if self.site.segment(segment).external => {
                let segments = self.site.segment_ids();
                let inside = segments.filter(|&other| other != segment).map(prefixes);
                let nobody = [(0, 0x00ff_ffff), (0x7f00_0000, 0x7fff_ffff)];
                let nobody = nobody
                    .into_iter()
                    .chain([(0xa9fe_0000, 0xa9fe_ffff), (0xe000_0000, 0xffff_ffff)]);
                let nobody = nobody.map(|(low, high)| IntervalSet::range(low, high));
                let all = IntervalSet::range(0, u128::from(u32::MAX));
                let left = inside
                    .chain(nobody)
                    .fold(all, |left, set| left.difference(&set));
                left.difference(&own)
            }
            Party::Segment(segment) => prefixes(segment).difference(&own),
            _ => own,
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

fn service_box(space: &Space, service: &Service) -> PacketBox {
    let all = PacketBox::full(space);
    let of = |protocol: u8| {
        let protocol = IntervalSet::point(u128::from(protocol));
        all.clone().with(Field::Protocol, protocol)
    };
    match service {
        Service::Any => all,
        Service::Whole(protocol) => of(protocol.0),
        Service::Ports {
            protocol,
            source,
            destination,
        } => of(protocol.0)
            .with(Field::SourcePort, source.clone())
            .with(Field::DestinationPort, destination.clone()),
        Service::Message {
            protocol,
            kind,
            code,
        } => {
            let first = u128::from(*kind) * 256;
            let codes = code.map_or((0, 255), |code| (code, code));
            let range = (first + u128::from(codes.0), first + u128::from(codes.1));
            of(protocol.0).with(Field::DestinationPort, IntervalSet::range(range.0, range.1))
        }
    }
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
