//! Laws of a change on random sites of all layers, in both stances: the way back is the mirror image; names and order
//! decide nothing; what is left out because only rules or only cables differ would not have shown a difference.

#[path = "agreement/blocks.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod blocks;
#[path = "agreement/drawn.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod drawn;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/random_fabric.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random_fabric;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/seeds.rs"]
mod seeds;

use std::collections::BTreeSet;

use boundwalk::analysis::change::{
    Changed, Matched, PairChange, ReachChange, Spot, Trend, isolation_changes, reach_change,
    way_changes,
};
use boundwalk::forwarding::Network;
use boundwalk::model::{Action, Filter, Forwards, Role, Site, SourceCheck};
use boundwalk::packet::Region;

use blocks::{Block, blocks, joined};
use drawn::{TODAY, bare, site};
use random::Random;
use seeds::seeds;

/// Random sites that a usual run looks at.
const SITES: u64 = 120;

/// Edited versions of each site.
const VERSIONS: u64 = 8;

/// One edit that may change something; false where there is nothing of that kind.
fn edit(site: &mut Site, random: &mut Random) -> bool {
    match random.below(8) {
        0..=3 => edit_wiring(site, random),
        4 | 5 => edit_rules(site, random),
        6 => edit_router(site, random),
        _ => edit_host(site, random),
    }
}

fn edit_wiring(site: &mut Site, random: &mut Random) -> bool {
    let vlans: Vec<_> = site.segments.iter().filter_map(|one| one.vlan).collect();
    if site.links.len() > 1 && random.percent(20) {
        let at = random.below(site.links.len());
        site.links.remove(at);
        return true;
    }
    let mut ports: Vec<_> = site
        .switches
        .iter_mut()
        .flat_map(|one| &mut one.ports)
        .collect();
    if ports.is_empty() {
        return false;
    }
    let at = random.below(ports.len());
    let port = &mut ports[at];
    match (random.below(5), &mut port.vlans) {
        (0, _) => port.enabled = !port.enabled,
        (1, _) => port.isolated = !port.isolated,
        (2, Some(own)) => own.ingress_filter = !own.ingress_filter,
        (3, Some(own)) => own.pvid = None,
        (4, Some(own)) if !vlans.is_empty() => {
            let vlan = random.pick(&vlans).value;
            if !own.tagged.remove(vlan) {
                own.tagged.insert(vlan);
                own.untagged.remove(vlan);
            }
        }
        _ => return false,
    }
    true
}

fn filters(site: &mut Site) -> Vec<&mut Filter> {
    let filters = site
        .routers
        .iter_mut()
        .filter_map(|router| match &mut router.role {
            Role::Gateway(filter) if !filter.rules.is_empty() => Some(filter.as_mut()),
            Role::Gateway(_) | Role::Router => None,
        });
    filters.collect()
}

fn edit_rules(site: &mut Site, random: &mut Random) -> bool {
    let mut filters = filters(site);
    if filters.is_empty() {
        return false;
    }
    let at = random.below(filters.len());
    let rules = &mut filters[at].rules;
    let at = random.below(rules.len());
    match random.below(3) {
        0 => {
            let action = &mut rules[at].action.value;
            *action = match action {
                Action::Permit => Action::Deny,
                Action::Deny | Action::Reject => Action::Permit,
            };
        }
        1 => _ = rules.remove(at),
        _ => rules.swap(0, at),
    }
    true
}

fn edit_router(site: &mut Site, random: &mut Random) -> bool {
    let mut interfaces: Vec<_> = site
        .routers
        .iter_mut()
        .flat_map(|router| &mut router.interfaces)
        .collect();
    if interfaces.is_empty() {
        return false;
    }
    let at = random.below(interfaces.len());
    let check = &mut interfaces[at].source_check;
    *check = match check {
        SourceCheck::Off => SourceCheck::Strict,
        SourceCheck::Strict | SourceCheck::Loose => SourceCheck::Off,
    };
    true
}

fn edit_host(site: &mut Site, random: &mut Random) -> bool {
    if site.hosts.is_empty() {
        return false;
    }
    let at = random.below(site.hosts.len());
    let forwards = &mut site.hosts[at].forwards.value;
    *forwards = match forwards {
        Forwards::No => Forwards::Routes,
        Forwards::Routes | Forwards::Bridges => Forwards::No,
    };
    true
}

/// All that depends on the stance, as sets that can be compared.
struct Found {
    reach: ReachChange,
    /// From, to, whether it opens.
    ways: BTreeSet<(String, String, bool)>,
    /// Segment of the new version, by number, and whether it is worse now.
    isolation: BTreeSet<(usize, bool)>,
}

impl Found {
    fn new(old: &Site, new: &Site) -> Self {
        let [before, after] = Network::versions(old, new, TODAY);
        let reach = reach_change(&before, &after, &mut |_, _| {});
        let ways = way_changes(&before, &after, &reach);
        let isolation = isolation_changes(&before, &after, &reach);
        let both = [(&ways.opened, true), (&ways.closed, false)];
        let ways = both.into_iter().flat_map(|(list, opens)| {
            list.iter()
                .map(move |way| (format!("{:?}", way.from), format!("{:?}", way.to), opens))
        });
        let moved = isolation.iter().filter(|one| one.trend() != Trend::Same);
        Self {
            ways: ways.collect(),
            isolation: moved
                .map(|one| (one.segment.0, one.trend() == Trend::Worse))
                .collect(),
            reach,
        }
    }

    fn is_empty(&self) -> bool {
        self.reach.is_empty() && self.ways.is_empty() && self.isolation.is_empty()
    }

    /// Where two answers about the same sites differ.
    fn differs(&self, other: &Self) -> Option<String> {
        let lists = [
            (&self.reach.pairs, &other.reach.pairs),
            (&self.reach.hostile, &other.reach.hostile),
        ];
        for (one, other) in lists {
            if let Some(pair) = beyond(one, other).or_else(|| beyond(other, one)) {
                return Some(format!("{pair:#?}"));
            }
        }
        (self.ways != other.ways || self.isolation != other.isolation).then(|| {
            format!(
                "{:?} {:?}\n{:?} {:?}",
                self.ways, other.ways, self.isolation, other.isolation
            )
        })
    }
}

/// A pair of one list that the other has not, or with other packets.
fn beyond<'p>(these: &'p [PairChange], those: &[PairChange]) -> Option<&'p PairChange> {
    these.iter().find(|one| {
        let known = those
            .iter()
            .find(|other| (other.from, other.to, other.family) == (one.from, one.to, one.family));
        known.is_none_or(|known| {
            !same(&one.opened, &known.opened) || !same(&one.closed, &known.closed)
        })
    })
}

/// Whether two lists hold the same packets.
fn same(one: &[Changed], other: &[Changed]) -> bool {
    let beyond = |these: &[Changed], those: &[Changed]| {
        these.iter().any(|one| {
            let mut left: Vec<Region> = vec![one.packets.clone()];
            for other in those {
                let parts = left.iter().flat_map(|part| part.difference(&other.packets));
                left = parts.collect();
            }
            !left.is_empty()
        })
    };
    !beyond(one, other) && !beyond(other, one)
}

/// The answer of the way back, read the other way round.
fn turned(back: Found) -> Found {
    fn matched<T: Copy>(matched: Matched<T>) -> Matched<T> {
        Matched {
            old: matched.new,
            new: matched.old,
        }
    }
    let spot = |spot: Spot| match spot {
        Spot::Segment(at) => Spot::Segment(matched(at)),
        Spot::Router(at) => Spot::Router(matched(at)),
        Spot::Unclaimed(at) => Spot::Unclaimed(matched(at)),
    };
    let pairs = |pairs: Vec<PairChange>| -> Vec<PairChange> {
        let turned = pairs.into_iter().map(|pair| PairChange {
            from: spot(pair.from),
            to: spot(pair.to),
            opened: pair.closed,
            closed: pair.opened,
            ..pair
        });
        turned.collect()
    };
    let ways = back.ways.into_iter().map(|(from, to, opens)| {
        // Only segments and ports that both versions have are edited here: twins read alike both ways.
        (from, to, !opens)
    });
    Found {
        ways: ways.collect(),
        isolation: back
            .isolation
            .into_iter()
            .map(|(segment, worse)| (segment, !worse))
            .collect(),
        reach: ReachChange {
            pairs: pairs(back.reach.pairs),
            hostile: pairs(back.reach.hostile),
            ..back.reach
        },
    }
}

/// What was met in all sites.
#[derive(Default, Debug)]
struct Seen {
    plain: usize,
    hostile: usize,
    ways: usize,
    isolation: usize,
    nothing: usize,
    only_rules: usize,
    in_full: usize,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn the_way_back_is_the_mirror_and_nothing_is_left_out_in_vain() {
    let mut seen = Seen::default();
    for number in seeds(SITES).flat_map(|seed| (0..VERSIONS).map(move |version| (seed, version))) {
        let (seed, version) = number;
        let mut random = Random::new(seed ^ 0x1a35 ^ version << 32);
        let old = site(&bare(seed));
        let mut new = old.clone();
        let edits = random.between(1, 3);
        for _ in 0..edits {
            edit(&mut new, &mut random);
        }
        let found = Found::new(&old, &new);
        let context = || format!("seed {seed}, version {version}\n{}", bare(seed));
        // Groups of ports come and go with the ports in them: their twins do not read alike both ways.
        let same_ports = found
            .reach
            .counterparts
            .unclaimed
            .iter()
            .all(|matched| matched.old == matched.new);
        if same_ports {
            let back = turned(Found::new(&new, &old));
            if let Some(what) = found.differs(&back) {
                panic!("not the mirror image: {what}\n{}", context());
            }
        }
        // A name alone makes every pair be looked at.
        let mut renamed = old.clone();
        let host = renamed.hosts.first_mut();
        if let Some(host) = host {
            host.name.value.push_str("-once");
            let full = Found::new(&renamed, &new);
            assert!(!full.reach.only_rules);
            if let Some(what) = found.differs(&full) {
                panic!("left out: {what}\n{}", context());
            }
            seen.in_full += 1;
        }
        seen.plain += usize::from(!found.reach.pairs.is_empty());
        seen.hostile += usize::from(!found.reach.hostile.is_empty());
        seen.ways += usize::from(!found.ways.is_empty());
        seen.isolation += usize::from(!found.isolation.is_empty());
        seen.nothing += usize::from(found.is_empty());
        seen.only_rules += usize::from(found.reach.only_rules);
    }
    eprintln!("{seen:?}");
    let counts = [
        seen.plain,
        seen.hostile,
        seen.ways,
        seen.isolation,
        seen.nothing,
        seen.only_rules,
        seen.in_full,
    ];
    assert!(counts.iter().all(|&count| 10 < count), "{seen:?}");
}

/// The same text with its things in another order; lines of ordered lists stay in theirs.
fn reordered(text: &str, random: &mut Random) -> String {
    let mut things: Vec<Vec<Block>> = Vec::new();
    for block in blocks(text) {
        let own = (!block.header.is_empty()).then(|| block.thing());
        let known = things
            .iter_mut()
            .find(|thing| Some(thing[0].thing()) == own);
        match known {
            Some(thing) => thing.push(block),
            None => things.push(vec![block]),
        }
    }
    let first = usize::from(
        things
            .first()
            .is_some_and(|thing| thing[0].header.is_empty()),
    );
    for at in (first + 1..things.len()).rev() {
        let other = random.between(first, at);
        things.swap(at, other);
    }
    joined(&things.concat())
}

#[test]
fn names_and_order_change_nothing_for_anybody() {
    let mut moved = 0;
    for seed in seeds(SITES) {
        let text = bare(seed);
        let old = site(&text);
        let other = reordered(&text, &mut Random::new(seed ^ 0x0bde));
        moved += usize::from(other != text);
        let mut new = site(&other);
        for (at, host) in new.hosts.iter_mut().enumerate() {
            host.name.value = format!("called {at}");
        }
        for (at, switch) in new.switches.iter_mut().enumerate() {
            switch.name.value = format!("rack {at}");
        }
        for zone in &mut new.zones {
            zone.name.value.push_str(" once");
        }
        let found = Found::new(&old, &new);
        assert!(
            found.is_empty() && found.reach.complete(),
            "seed {seed}: {:#?} {:#?} {:?} {:?}\n{text}\n--- {other}",
            found.reach.pairs,
            found.reach.hostile,
            found.ways,
            found.isolation
        );
    }
    assert!(20 < moved, "{moved}");
}
