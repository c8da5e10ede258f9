//! Is the rule review right at small gateways, by brute force over single packets?

#[path = "support/random.rs"]
mod random;
#[path = "support/rule_draft.rs"]
mod rule_draft;
#[path = "support/rule_draft_text.rs"]
mod rule_draft_text;
#[path = "oracles/rule_universe.rs"]
mod rule_universe;
#[path = "support/seeds.rs"]
mod seeds;

use std::net::{IpAddr, Ipv4Addr};

use boundwalk::analysis::rules::{
    Dead, Effort, Judge, RulePacket, RuleReview, RuleSpace, RuleStatus, Without,
};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, RouterId, Site};

use random::Random;
use rule_draft::Draft;
use rule_universe::{Packet, Universe, first, is_on};
use seeds::seeds;

/// The day on which rules of [`rule_draft::PAST`] are over and those of [`rule_draft::AHEAD`] have their last.
const TODAY: Date = Date::constant(2026, 4, 1);

/// How often each answer came up.
#[derive(Default, Debug)]
struct Count {
    packets: usize,
    off: usize,
    irrelevant: usize,
    repeated: usize,
    against: usize,
    by_several: usize,
    redundant: usize,
    needed: usize,
    together: usize,
    largest: usize,
}

/// A draft whose site loads; the next one where it does not (a rule that matches nothing at all is an error).
fn drawn(seed: u64) -> Draft {
    let mut random = Random::new(seed ^ 0xd1ce);
    loop {
        let draft = Draft::new(&mut random, 3 + seed as usize % 8);
        if load_text("drawn.toml", &draft.text()).site.is_some() {
            return draft;
        }
    }
}

/// Random gateways; a longer run: `BOUNDWALK_SITES=5000`. What fails is made small before it is shown.
#[test]
fn the_review_of_small_gateways_is_right() {
    let mut count = Count::default();
    for seed in seeds(400) {
        let draft = drawn(seed);
        if let Err(wrong) = check(&draft, &mut count) {
            let (small, last) = smaller(draft, wrong);
            panic!("seed {seed}: {last}\n{}", small.text());
        }
    }
    let kinds = [
        count.off,
        count.irrelevant,
        count.repeated,
        count.against,
        count.by_several,
        count.redundant,
        count.needed,
        count.together,
        count.largest,
    ];
    let enough = kinds.iter().all(|&seen| 20 <= seen);
    assert!(
        enough && 1_000_000 < count.packets,
        "too few of a kind were seen: {count:?}"
    );
}

/// Takes parts away as long as something is wrong with what is left.
fn smaller(mut draft: Draft, mut wrong: String) -> (Draft, String) {
    loop {
        let fails = |small: &Draft| check(small, &mut Count::default()).err();
        let found = parts(&draft)
            .into_iter()
            .find_map(|small| Some((fails(&small)?, small)));
        let Some((still, small)) = found else {
            return (draft, wrong);
        };
        (draft, wrong) = (small, still);
    }
}

/// A draft without one of its parts, for each part.
fn parts(draft: &Draft) -> Vec<Draft> {
    let mut all = Vec::new();
    let mut without = |take: &dyn Fn(&mut Draft)| {
        let mut small = draft.clone();
        take(&mut small);
        all.push(small);
    };
    (0..draft.rules.len()).for_each(|at| without(&|small| drop(small.rules.remove(at))));
    (0..draft.lines.len()).for_each(|at| without(&|small| drop(small.lines.remove(at))));
    (0..draft.routes.len()).for_each(|at| without(&|small| drop(small.routes.remove(at))));
    for (at, rule) in draft.rules.iter().enumerate() {
        for number in 0..rule.services.len().max(1) - 1 {
            without(&|small| {
                small.rules[at].services.remove(number);
            });
        }
    }
    all
}

/// One site both ways. A draft that does not load (any more) has nothing wrong.
fn check(draft: &Draft, count: &mut Count) -> Result<(), String> {
    let Some(site) = load_text("drawn.toml", &draft.text()).site else {
        return Ok(());
    };
    let universe = Universe::new(draft);
    count.packets += universe.count;
    let case = Case {
        draft,
        universe: &universe,
    };
    case.site(&site, count)
}

struct Case<'d> {
    draft: &'d Draft,
    universe: &'d Universe<'d>,
}

fn claim(holds: bool, what: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(what()) }
}

impl Case<'_> {
    fn site(&self, site: &Site, count: &mut Count) -> Result<(), String> {
        let network = Network::new(site, TODAY);
        let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
        let judge = Judge::new(&space, Effort::default());
        let review = RuleReview::new(&judge);
        claim(space.holes_exact, || {
            "what translations take is known".to_owned()
        })?;
        claim(review.rules.len() == self.draft.rules.len(), || {
            "one for each rule".to_owned()
        })?;
        for (rule, status) in review.rules.iter().enumerate() {
            let what = |wrong: String| format!("rule {rule} is {status:?}: {wrong}");
            self.status(rule, status, count).map_err(what)?;
        }
        self.together(&review, count)
    }

    /// All sets of rules that name a packet of a rule.
    fn of_rule(&self, rule: usize) -> Vec<u64> {
        self.universe
            .seen
            .keys()
            .copied()
            .filter(|holders| holders >> rule & 1 == 1)
            .collect()
    }

    fn status(&self, rule: usize, status: &RuleStatus, count: &mut Count) -> Result<(), String> {
        let own = self.of_rule(rule);
        let decides = own.iter().any(|&holders| first(holders) == Some(rule));
        let expected = match (is_on(&self.draft.rules[rule]), own.is_empty(), decides) {
            (false, _, _) => "off",
            (true, true, _) => "irrelevant",
            (true, false, false) => "dead",
            (true, false, true) => "decides",
        };
        let said = match status {
            RuleStatus::Off => "off",
            RuleStatus::Irrelevant => "irrelevant",
            RuleStatus::Dead(_) => "dead",
            RuleStatus::Decides { .. } => "decides",
            RuleStatus::Unknown => "unknown",
        };
        claim(said == expected, || format!("it should be {expected}"))?;
        match status {
            RuleStatus::Off => count.off += 1,
            RuleStatus::Irrelevant => count.irrelevant += 1,
            RuleStatus::Dead(dead) => self.dead(rule, dead, &own, count)?,
            RuleStatus::Decides { witness, without } => {
                let holders = self.look(witness)?;
                claim(first(holders) == Some(rule), || {
                    "the witness is another's".to_owned()
                })?;
                self.without(rule, without, count)?;
            }
            RuleStatus::Unknown => {}
        }
        Ok(())
    }

    fn look(&self, shown: &RulePacket) -> Result<u64, String> {
        let value = |address: IpAddr| match address {
            IpAddr::V4(four) => u128::from(u32::from(four)),
            IpAddr::V6(six) => u128::from(six),
        };
        let packet = shown.packet;
        let said = Packet {
            ingress: shown.ingress,
            six: packet.source.is_ipv6(),
            source: value(packet.source),
            destination: value(packet.destination),
            protocol: packet.protocol.0,
            source_port: packet.source_port,
            port: packet.destination_port,
        };
        claim(
            packet.source.is_ipv6() == packet.destination.is_ipv6(),
            || "two families".to_owned(),
        )?;
        self.universe.look(&said, shown.egress)
    }

    fn action(&self, rule: usize) -> &'static str {
        self.draft.rules[rule].action
    }

    fn dead(&self, rule: usize, dead: &Dead, own: &[u64], count: &mut Count) -> Result<(), String> {
        let earlier: Vec<usize> = (0..rule).collect();
        let alike: Vec<usize> = earlier
            .iter()
            .copied()
            .filter(|&one| self.action(one) == self.action(rule))
            .collect();
        let covers = |set: u64| own.iter().all(|holders| holders & set != 0);
        let other = own.iter().any(|&holders| {
            first(holders).is_some_and(|one| self.action(one) != self.action(rule))
                && holders & bits(&alike) == 0
        });
        claim(dead.judged && dead.smallest, || {
            "so small a list is judged".to_owned()
        })?;
        claim(dead.against.is_some() == other, || {
            format!("decided otherwise: {other}")
        })?;
        claim(covers(bits(&dead.by)), || {
            "these do not cover it".to_owned()
        })?;
        let pool = if dead.against.is_none() {
            alike.clone()
        } else {
            earlier
        };
        claim(dead.by.iter().all(|one| pool.contains(one)), || {
            "such may not cover it".to_owned()
        })?;
        let less = subsets(&pool, dead.by.len() - 1);
        let less = less.into_iter().find(|&set| covers(set));
        claim(less.is_none(), || {
            format!("{less:?} (bits) covers it and is smaller")
        })?;
        count.by_several += usize::from(1 < dead.by.len());
        let Some(against) = dead.against else {
            count.repeated += 1;
            return Ok(());
        };
        count.against += 1;
        let holders = self.look(&against.packet)?;
        let right = holders >> rule & 1 == 1
            && first(holders) == Some(against.rule)
            && self.action(against.rule) != self.action(rule)
            && holders & bits(&alike) == 0;
        claim(right, || "its packet shows nothing".to_owned())
    }

    fn without(&self, rule: usize, without: &Without, count: &mut Count) -> Result<(), String> {
        let gone = 1 << rule;
        let same = self.universe.same_without(gone);
        match without {
            Without::Changed(packet) => {
                count.needed += 1;
                let holders = self.look(packet)?;
                let verdict = |gone| self.universe.verdict(holders, gone);
                claim(verdict(gone) != verdict(0), || {
                    "nothing changes for its packet".to_owned()
                })
            }
            Without::Same { by } => {
                count.redundant += 1;
                claim(same, || "something changes without it".to_owned())?;
                claim(!by.contains(&rule), || "it rests on itself".to_owned())?;
                self.rests(rule, by)
            }
            Without::Unknown => Err("so small a list is judged".to_owned()),
        }
    }

    /// As long as the rules that it rests on are there, a rule can go whatever else goes with it.
    fn rests(&self, rule: usize, by: &[usize]) -> Result<(), String> {
        let all = (1 << self.draft.rules.len()) - 1;
        let others = all & !bits(by) & !(1 << rule);
        let alone = (0..self.draft.rules.len()).map(|other| others & 1 << other);
        for gone in alone.chain([others]) {
            let verdict = |holders: u64, more: u64| self.universe.verdict(holders, gone | more);
            let mut seen = self.universe.seen.keys();
            let same = seen.all(|&holders| verdict(holders, 1 << rule) == verdict(holders, 0));
            claim(same, || {
                format!("without {gone:#b} (bits) what it rests on is not enough")
            })?;
        }
        Ok(())
    }

    fn together(&self, review: &RuleReview, count: &mut Count) -> Result<(), String> {
        let (universe, gone) = (self.universe, &review.together);
        let what = |wrong: &str| format!("{gone:?} go together: {wrong}");
        claim(universe.same_without(bits(gone)), || {
            what("something changes")
        })?;
        let rules = self.draft.rules.len();
        let mut stay = (0..rules).filter(|rule| !gone.contains(rule));
        let more = stay.find(|rule| universe.same_without(bits(gone) | 1 << rule));
        claim(more.is_none(), || what(&format!("{more:?} can go too")))?;
        // By every set of rules that is as large or larger.
        let mut sets = 0..1u64 << rules;
        let other = sets.find(|&set| {
            let size = set.count_ones() as usize;
            gone.len() <= size && set != bits(gone) && universe.same_without(set)
        });
        claim(!(review.largest && other.is_some()), || {
            what(&format!("{other:#?} (bits) can go as well"))
        })?;
        count.together += usize::from(1 < gone.len());
        count.largest += usize::from(review.largest);
        Ok(())
    }
}

fn bits(rules: &[usize]) -> u64 {
    rules.iter().fold(0, |bits, rule| bits | 1 << rule)
}

/// All subsets of at most so many rules, as bits.
fn subsets(pool: &[usize], most: usize) -> Vec<u64> {
    let mut all = vec![(0u64, 0usize)];
    for rule in pool {
        let larger: Vec<(u64, usize)> = all
            .iter()
            .filter(|(_, size)| *size < most)
            .map(|(set, size)| (set | 1 << rule, size + 1))
            .collect();
        all.extend(larger);
    }
    all.into_iter().map(|(set, _)| set).collect()
}

/// The oracle itself: a table that is right by hand.
#[test]
fn the_oracle_reads_prefixes_ranges_and_addresses() {
    let four = |text: &str| u128::from(u32::from(text.parse::<Ipv4Addr>().expect("an address")));
    let read = |text: &str| {
        let item = rule_draft::item(text);
        (item.six, item.low, item.high)
    };
    assert_eq!(
        read("10.0.0.4/30"),
        (false, four("10.0.0.4"), four("10.0.0.7"))
    );
    assert_eq!(
        read("10.0.0.4-10.0.1.3"),
        (false, four("10.0.0.4"), four("10.0.1.3"))
    );
    assert_eq!(read("0.0.0.0/0"), (false, 0, u128::from(u32::MAX)));
    assert_eq!(
        read("fd00::2"),
        (true, (0xfd00 << 112) + 2, (0xfd00 << 112) + 2)
    );
}
