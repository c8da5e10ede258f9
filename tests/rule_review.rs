//! Does the rule review say what a packet by packet look at small gateways says?

#[path = "support/random.rs"]
mod random;
#[path = "support/random_rule_list.rs"]
mod random_rule_list;
#[path = "oracles/rule_list.rs"]
mod rule_list;
#[path = "support/seeds.rs"]
mod seeds;

use std::collections::BTreeSet;
use std::net::IpAddr;

use boundwalk::analysis::rules::{
    After, BetweenSegments, Cleaned, Comparison, Dead, Effort, Judge, Rank, Relation, RulePairs,
    RuleReview, RuleSpace, RuleStatus, Without,
};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, RouterId, SegmentId, Site};

use random::Random;
use random_rule_list::random_gateway;
use rule_list::{RuleList, Seen, in_part};
use seeds::seeds;

/// Random sites that a usual run looks at.
const SITES: u64 = 300;

const TODAY: Date = Date::constant(2026, 4, 1);

/// A site that loads: a rule that no packet at all can match is an error there, then the next one is drawn.
fn drawn(seed: u64) -> (String, Site, Random) {
    let mut random = Random::new(seed);
    loop {
        let text = random_gateway(&mut random);
        if let Some(site) = load_text("random.toml", &text).site {
            return (text, site, random);
        }
    }
}

/// How often each answer came up, so that a test that sees none of a kind fails.
#[derive(Default, Debug)]
struct Count {
    off: usize,
    irrelevant: usize,
    dead: usize,
    repeated: usize,
    by_several: usize,
    redundant: usize,
    needed: usize,
    together: usize,
    pairs: usize,
    generalises: usize,
    cleaned: usize,
    between: usize,
    not_between: usize,
}

#[test]
fn every_answer_agrees_with_single_packets() {
    let mut count = Count::default();
    for seed in seeds(SITES) {
        let (text, site, _) = drawn(seed);
        let network = Network::new(&site, TODAY);
        let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
        let judge = Judge::new(&space, Effort::default());
        let review = RuleReview::new(&judge);
        let list = RuleList::new(&site, TODAY);
        let case = Case {
            seed,
            text: &text,
            list: &list,
        };
        for (rule, status) in review.rules.iter().enumerate() {
            case.status(rule, status, &mut count);
        }
        case.together(&review, &mut count);
        case.pairs(&RulePairs::new(&judge), &mut count);
        case.cleaned(&Cleaned::new(&judge, &review), &mut count);
        case.shares(&judge, &network);
        case.between(&space, &network, &mut count);
    }
    assert!(
        [
            count.off,
            count.irrelevant,
            count.dead,
            count.repeated,
            count.by_several,
            count.redundant,
            count.needed,
            count.together,
            count.pairs,
            count.generalises,
            count.cleaned,
            count.between,
            count.not_between
        ]
        .into_iter()
        .all(|one| one > 5),
        "too few of a kind were seen: {count:?}"
    );
}

struct Case<'c> {
    seed: u64,
    text: &'c str,
    list: &'c RuleList<'c>,
}

impl Case<'_> {
    /// What each rule decides from one segment to another.
    fn between(&self, space: &RuleSpace<'_>, network: &Network<'_>, count: &mut Count) {
        let between = BetweenSegments::new(space);
        let within = |segment: SegmentId, address: IpAddr| {
            let plan = network.plan(Family::of(address));
            let own = &plan.segment(segment).addresses;
            own.contains(Family::value(address))
        };
        let interfaces = &network.site.routers[0].interfaces;
        for (ingress, from) in interfaces.iter().enumerate() {
            for (egress, to) in interfaces.iter().enumerate() {
                let sources = between.sources([(ingress, from.segment)]);
                let destinations = between.destinations([to.segment]);
                let mut decided: BTreeSet<usize> = BTreeSet::new();
                for packet in &self.list.packets {
                    let there = (packet.ingress, packet.egress) == (ingress, Some(egress));
                    let own = within(from.segment, packet.source);
                    if there && own && within(to.segment, packet.destination) {
                        decided.extend(packet.first_but(&[]));
                    }
                }
                for rule in 0..self.list.filter.rules.len() {
                    let found = between.decides(rule, &sources, &destinations);
                    let expected = decided.contains(&rule);
                    let what = format!("rule {rule} between {ingress} and {egress}: {found:?}");
                    self.check(found == Some(expected), &what);
                    *if expected {
                        &mut count.between
                    } else {
                        &mut count.not_between
                    } += 1;
                }
            }
        }
    }

    #[track_caller]
    fn check(&self, right: bool, what: &str) {
        assert!(right, "seed {}: {what}\n{}", self.seed, self.text);
    }

    fn status(&self, rule: usize, status: &RuleStatus, count: &mut Count) {
        let list = self.list;
        let own = list.of_rule(rule);
        let decides = own
            .iter()
            .filter(|packet| packet.first_but(&[]) == Some(rule))
            .count()
            > 0;
        let active = list.filter.rules[rule].active(TODAY);
        let name = format!("rule {rule} is {status:?}");
        match status {
            RuleStatus::Off => {
                count.off += 1;
                self.check(!active, &name);
            }
            RuleStatus::Irrelevant => {
                count.irrelevant += 1;
                self.check(active && own.is_empty(), &name);
            }
            RuleStatus::Dead(dead) => {
                self.check(active && !own.is_empty() && !decides, &name);
                self.dead(rule, dead, &own, count);
            }
            RuleStatus::Decides { witness, without } => {
                self.check(decides, &name);
                let packet = list.shown(witness);
                self.check(packet.first_but(&[]) == Some(rule), &name);
                self.without(rule, without, count);
            }
            RuleStatus::Unknown => self.check(false, &name),
        }
    }

    fn dead(&self, rule: usize, dead: &Dead, own: &[Seen], count: &mut Count) {
        let list = self.list;
        let rules = &list.filter.rules;
        let name = format!("rule {rule} is {dead:?}");
        let alike = |earlier: &usize| rules[*earlier].action.value == rules[rule].action.value;
        let names = |set: &[usize], packet: &Seen| set.iter().any(|&one| packet.named_by(one));
        let covers = |set: &[usize]| own.iter().all(|packet| names(set, packet));
        let earlier: Vec<usize> = (0..rule).collect();
        let same: Vec<usize> = earlier.iter().copied().filter(alike).collect();
        self.check(dead.judged, &name);
        self.check(dead.against.is_none() == covers(&same), &name);
        self.check(
            dead.by.iter().all(|one| *one < rule) && covers(&dead.by),
            &name,
        );
        match &dead.against {
            None => {
                count.repeated += 1;
                self.check(dead.by.iter().all(alike), &name);
            }
            Some(against) => {
                count.dead += 1;
                let packet = list.shown(&against.packet);
                self.check(packet.named_by(rule), &name);
                self.check(packet.first_but(&[]) == Some(against.rule), &name);
                self.check(!alike(&against.rule) && !names(&same, &packet), &name);
            }
        }
        count.by_several += usize::from(dead.by.len() > 1);
        let pool = if dead.against.is_none() {
            same
        } else {
            earlier
        };
        let smaller = subsets(&pool, dead.by.len() - 1);
        self.check(dead.smallest, &name);
        self.check(!smaller.iter().any(|set| covers(set)), &name);
    }

    fn without(&self, rule: usize, without: &Without, count: &mut Count) {
        let list = self.list;
        let changed = |packet: &Seen| list.verdict(&[rule], packet) != list.verdict(&[], packet);
        let name = format!("without rule {rule}: {without:?}");
        match without {
            Without::Changed(packet) => {
                count.needed += 1;
                self.check(changed(&list.shown(packet)), &name);
            }
            Without::Same { by } => {
                count.redundant += 1;
                self.check(!by.contains(&rule), &name);
                self.check(!list.packets.iter().any(changed), &name);
            }
            Without::Unknown => self.check(false, &name),
        }
    }

    fn together(&self, review: &RuleReview, count: &mut Count) {
        let gone = &review.together;
        let same = |gone: &[usize]| {
            let mut packets = self.list.packets.iter();
            packets.all(|packet| self.list.verdict(gone, packet) == self.list.verdict(&[], packet))
        };
        count.together += usize::from(gone.len() > 1);
        self.check(same(gone), &format!("{gone:?} go together"));
        for rule in (0..review.rules.len()).filter(|rule| !gone.contains(rule)) {
            let more: Vec<usize> = gone.iter().copied().chain([rule]).collect();
            self.check(!same(&more), &format!("{gone:?} with {rule} go too"));
            // A rule that can go alone is a part of the largest set, if that is the only one.
            let alone = review.largest && same(&[rule]);
            self.check(!alone, &format!("{gone:?} are the largest, without {rule}"));
        }
    }

    /// Pairs are listed exactly where the order matters.
    fn pairs(&self, pairs: &RulePairs, count: &mut Count) {
        let list = self.list;
        let rules = &list.filter.rules;
        let mut expected = BTreeSet::new();
        for packet in &list.packets {
            let mut holders = (0..rules.len()).filter(|&rule| packet.named_by(rule));
            if let (Some(first), Some(second)) = (holders.next(), holders.next())
                && rules[first].action.value != rules[second].action.value
            {
                expected.insert((first, second));
            }
        }
        let found: BTreeSet<(usize, usize)> = pairs
            .pairs
            .iter()
            .filter(|pair| pair.rank != Rank::Idle)
            .map(|pair| (pair.first, pair.second))
            .collect();
        // Where the first rule names all of the second, the second is dead and said to be so.
        let whole = |&(first, second): &(usize, usize)| {
            let mut own = list.of_rule(second).into_iter();
            own.all(|packet| packet.named_by(first))
        };
        let missing = expected.difference(&found).find(|pair| !whole(pair));
        self.check(
            missing.is_none() && pairs.complete,
            &format!("{missing:?} is missing"),
        );
        let mattering = pairs.pairs.iter().filter(|pair| pair.rank != Rank::Idle);
        for pair in mattering {
            count.pairs += 1;
            let name = format!("{pair:?}");
            let packet = list.shown(&pair.packet);
            let holders = [pair.first, pair.second].map(|rule| packet.named_by(rule));
            self.check(
                holders == [true, true] && packet.first_but(&[]) == Some(pair.first),
                &name,
            );
            self.check(packet.first_but(&[pair.first]) == Some(pair.second), &name);
            let mut own = list.of_rule(pair.first).into_iter();
            let inside = own.all(|packet| packet.named_by(pair.second));
            if pair.relation == Relation::Generalises {
                count.generalises += 1;
                self.check(inside, &name);
            }
            self.check(pair.rank != Rank::Exception || inside, &name);
        }
    }

    /// The shorter list does the same with every packet.
    fn cleaned(&self, cleaned: &Cleaned, count: &mut Count) {
        let list = self.list;
        let name = format!("{cleaned:?}");
        self.check(cleaned.comparison == Comparison::Same, &name);
        let mut gone = cleaned.removed.clone();
        let after = |packet: &Seen| list.verdict(&gone, packet);
        if cleaned.merges.is_empty() {
            let mut packets = list.packets.iter();
            self.check(
                packets.all(|packet| after(packet) == list.verdict(&[], packet)),
                &name,
            );
        }
        count.cleaned += usize::from(!cleaned.is_same());
        // A rule that goes is named once, and not kept besides.
        gone.extend(cleaned.merges.iter().flat_map(|merge| merge.from.clone()));
        let kept = cleaned.kept.iter().map(|(rule, _)| *rule);
        let all: BTreeSet<usize> = gone.iter().copied().chain(kept).collect();
        self.check(all.len() == gone.len() + cleaned.kept.len(), &name);
    }

    /// What a rule is said to decide is what it decides.
    fn shares(&self, judge: &Judge<'_, '_>, network: &Network<'_>) {
        let list = self.list;
        let itself = network.site.routers[0].interfaces.len();
        for rule in 0..list.filter.rules.len() {
            let shares = judge.shares(rule);
            for packet in &list.packets {
                let class = network.classes.class_of(
                    packet.protocol,
                    packet.source_port,
                    packet.destination_port,
                );
                let held = shares
                    .parts
                    .iter()
                    .filter(|part| in_part(part, packet, class, itself))
                    .count();
                let decides = usize::from(packet.first_but(&[]) == Some(rule));
                self.check(
                    held == decides,
                    &format!("rule {rule} decides {packet:?}: {held}"),
                );
            }
            for share in &shares.families {
                let taken: num_bigint::BigUint = share.taken.iter().map(|(_, size)| size).sum();
                self.check(
                    taken + &share.decided == share.all,
                    &format!("rule {rule}: {share:?}"),
                );
            }
        }
    }
}

/// All subsets of at most so many elements.
fn subsets(pool: &[usize], most: usize) -> Vec<Vec<usize>> {
    let mut all = vec![Vec::new()];
    let mut last = all.clone();
    for _ in 0..most {
        let mut next = Vec::new();
        for set in &last {
            let above = set.last().map_or(0, |last| last + 1);
            for &one in pool.iter().filter(|&&one| one >= above) {
                let mut larger: Vec<usize> = set.clone();
                larger.push(one);
                next.push(larger);
            }
        }
        all.extend(next.iter().cloned());
        last = next;
    }
    all
}

/// Two lists for a gateway are told apart exactly where some packet tells them apart.
#[test]
fn lists_compare_as_their_packets_do() {
    let (mut same, mut different) = (0, 0);
    for seed in seeds(SITES) {
        let (text, site, mut random) = drawn(seed ^ 0x5eed);
        let network = Network::new(&site, TODAY);
        let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
        let list = RuleList::new(&site, TODAY);
        let count = list.filter.rules.len();
        for _ in 0..6 {
            let gone: Vec<usize> = (0..count).filter(|_| random.percent(25)).collect();
            let after: Vec<After> = (0..count)
                .filter(|rule| !gone.contains(rule))
                .map(After::Kept)
                .collect();
            let differs = |packet: &&Seen| list.verdict(&gone, packet) != list.verdict(&[], packet);
            let expected = list.packets.iter().find(differs);
            match space.compare(&after, &Effort::default()) {
                Comparison::Same => {
                    same += 1;
                    assert_eq!(expected, None, "seed {seed} without {gone:?}\n{text}");
                }
                Comparison::Differs(packet) => {
                    different += 1;
                    let packet = list.shown(&packet);
                    assert!(differs(&&packet), "seed {seed} without {gone:?}\n{text}");
                }
                Comparison::Unknown => panic!("seed {seed}: so small a list is settled"),
            }
        }
    }
    assert!(
        same > 20 && different > 20,
        "{same} the same, {different} not"
    );
}

/// Where a bound is met the answer is unknown, and what is said all the same is what is said without a bound.
#[test]
fn what_a_bound_leaves_open_is_said_to_be_open() {
    let kind = |status: &RuleStatus| match status {
        RuleStatus::Off => "off",
        RuleStatus::Irrelevant => "irrelevant",
        RuleStatus::Dead(_) => "dead",
        RuleStatus::Decides { without, .. } => match without {
            Without::Changed(_) => "needed",
            Without::Same { .. } => "redundant",
            Without::Unknown => "decides, unknown",
        },
        RuleStatus::Unknown => "unknown",
    };
    let (mut open, mut settled) = (0, 0);
    for seed in seeds(SITES).take(100) {
        let (text, site, _) = drawn(seed);
        let network = Network::new(&site, TODAY);
        let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
        let full = RuleReview::new(&Judge::new(&space, Effort::default()));
        for effort in [
            Effort::new(0, 1_000_000),
            Effort::new(1, 1_000_000),
            Effort::new(9, 25),
        ] {
            let bounded = RuleReview::new(&Judge::new(&space, effort));
            for (bounded, full) in bounded.rules.iter().zip(&full.rules) {
                let (bounded, full) = (kind(bounded), kind(full));
                let decides = ["needed", "redundant"].contains(&full);
                let agrees = bounded == full
                    || bounded == "unknown"
                    || bounded == "decides, unknown" && decides;
                assert!(agrees, "seed {seed}: {bounded}, not {full}\n{text}");
                if bounded.contains("unknown") {
                    open += 1;
                } else {
                    settled += 1;
                }
            }
        }
    }
    assert!(
        open > 100 && settled > 100,
        "{open} open, {settled} settled"
    );
}
