//! Filtering gateways in a row: what one permits and another on the way denies.
//!
//! A packet that crosses several gateways arrives only where all of them permit it. What one permits and a gateway
//! further on denies is permitted for nothing; what one permits and a gateway before it denies never comes to it
//! (*Discovery of Policy Anomalies in Distributed Firewalls*, INFOCOM 2004, asks for anomalies between firewalls too).
//! Both sets are computed, not sampled: all packets that devices of a segment send by the routes as they are, with the
//! rule of each gateway that decides each part.

use std::ops::Range;

use num_bigint::BigUint;
use rustc_hash::{FxHashMap, FxHashSet};
use smallvec::SmallVec;

use boundwalk_forwarding::{Network, Packet};
use boundwalk_model::{Action, Family, Protocol, RouterId, SegmentId};
use boundwalk_packet::{ClassSet, Region};

use super::party::Endpoint;
use super::passages::{Gate, Passage, opened, passages};
use super::witness::witness;

/// Pieces that the walk through one rule list may hold open.
const MOST_PIECES: usize = 50_000;

/// Pieces that may be looked at in all: some seconds.
const MOST_LOOKS: usize = 5_000_000;

/// A rule of a gateway, or its default.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Decider {
    /// The gateway.
    pub router: RouterId,
    /// The rule by number; `None`: the default.
    pub rule: Option<usize>,
}

/// Where the gateway is that denies what another permits, seen along the way of a packet.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Denial {
    /// Between the one that permits and the target: permitted for nothing.
    Downstream,
    /// Between the sender and the one that permits: it never comes so far.
    Upstream,
}

/// Who sends, and who it is for: a segment, or a gateway or router itself.
pub type Pair = (SegmentId, Endpoint);

/// What a rule of one gateway permits and a rule of another denies, from one segment to one place.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BlockedPermit {
    /// Between whom.
    pub pair: Pair,
    /// Where the one that denies stands.
    pub denial: Denial,
    /// What permits.
    pub permits: Decider,
    /// What denies: of several gateways the nearest further on, or the first before.
    pub denies: Decider,
    /// The packets as all gateways on the way see them. Pieces of one way are disjoint; where packets may take
    /// several ways some may be held twice.
    pub packets: Vec<(Family, Region)>,
}

impl BlockedPermit {
    /// How many packets the pieces hold, told apart by addresses, protocol and ports or message.
    #[must_use]
    pub fn size(&self, network: &Network<'_>) -> BigUint {
        let (ports, messages) = (Protocol::with_ports(), Protocol::with_messages());
        let sizes = self.packets.iter().map(|(_, region)| {
            let services = network.classes.size(&region.services, &ports, &messages);
            region.source.size() * region.destination.size() * services
        });
        sizes.sum()
    }

    /// One of the packets, with one of some services.
    #[must_use]
    pub fn example(&self, network: &Network<'_>, services: &ClassSet) -> Option<Packet> {
        self.packets.iter().find_map(|(family, region)| {
            let part = Region {
                services: region.services.intersection(services),
                ..region.clone()
            };
            witness(network, network.plan(*family), &part)
        })
    }

    /// The services of the packets.
    #[must_use]
    pub fn services(&self, network: &Network<'_>) -> ClassSet {
        let mut all = network.classes.none();
        for (_, region) in &self.packets {
            all.union_with(&region.services);
        }
        all
    }
}

/// What becomes of what a rule permits between two parties.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Passed {
    /// Services of which it permits some packet.
    pub permitted: ClassSet,
    /// Those of which some packet is not denied further on.
    pub downstream: ClassSet,
    /// Those of which some packet is not denied before.
    pub upstream: ClassSet,
}

impl Passed {
    /// Services of which some packet gets past the other gateways on that side.
    pub fn through(&self, denial: Denial) -> &ClassSet {
        match denial {
            Denial::Downstream => &self.downstream,
            Denial::Upstream => &self.upstream,
        }
    }
}

/// What gateways in a row say to each other's packets.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Cascade {
    /// What one permits and another denies, by pair, then by rule.
    pub blocked: Vec<BlockedPermit>,
    /// What each rule permits between which parties, and what of it gets past the others; of all gateways, where
    /// any stand in a row.
    pub passed: FxHashMap<(RouterId, usize), FxHashMap<Pair, Passed>>,
    /// Pairs of which some packets change addresses between the gateways, or of which a rule list falls into too
    /// many pieces: nothing is said of them.
    pub unjudged: Vec<Pair>,
    /// Gateways on the ways of such pairs.
    pub doubtful: Vec<RouterId>,
    /// Whether all was looked at. If not, what is listed as barred is so, but `passed` says nothing.
    pub complete: bool,
}

impl Cascade {
    /// Looks at all gateways of a site. Devices send as configured.
    ///
    /// Nothing to do where fewer than two gateways filter; else for each segment one walk by the routes, and for
    /// each pair one through the rules of each gateway on the way. Gives up after five million pieces.
    #[must_use]
    pub fn new(network: &Network<'_>) -> Self {
        let filtering = network
            .site
            .routers
            .iter()
            .filter(|router| router.filter().is_some());
        if filtering.count() < 2 {
            return Self {
                complete: true,
                ..Self::default()
            };
        }
        let open = opened(network.site);
        let open = network.alike(&open);
        let Some(ways) = ways(&open) else {
            return Self {
                complete: true,
                ..Self::default()
            };
        };
        let mut judge = Judge {
            network,
            ways,
            looks: MOST_LOOKS,
            blocked: FxHashMap::default(),
            passed: FxHashMap::default(),
            unjudged: FxHashSet::default(),
            doubtful: FxHashSet::default(),
        };
        let coverage = passages(&open, &mut |passage| judge.judge(&passage));
        if !coverage.is_complete() {
            judge.looks = 0;
        }
        judge.finish()
    }
}

type Routers = SmallVec<[RouterId; 2]>;

/// The gateways in a row on each way of each pair; `None` where nothing crosses two of them.
fn ways(open: &Network<'_>) -> Option<FxHashMap<Pair, Vec<Routers>>> {
    let mut ways: FxHashMap<Pair, Vec<Routers>> = FxHashMap::default();
    let mut several = false;
    let coverage = passages(open, &mut |passage| {
        several |= passage.gates.len() > 1;
        let routers: Routers = passage.gates.iter().map(|gate| gate.router).collect();
        let known = ways.entry((passage.from, passage.to)).or_default();
        if !known.contains(&routers) {
            known.push(routers);
        }
    });
    // Where a limit was met, some gateways in a row may not have been seen.
    (several || !coverage.is_complete()).then_some(ways)
}

/// What a gateway does with a part of the packets on a way.
struct Said {
    rule: Option<usize>,
    permits: bool,
    packets: Region,
}

type Key = (Pair, Denial, Decider, Decider);

struct Judge<'n> {
    network: &'n Network<'n>,
    ways: FxHashMap<Pair, Vec<Routers>>,
    /// Pieces that may still be looked at.
    looks: usize,
    blocked: FxHashMap<Key, Vec<(Family, Region)>>,
    passed: FxHashMap<(RouterId, usize), FxHashMap<Pair, Passed>>,
    unjudged: FxHashSet<Pair>,
    doubtful: FxHashSet<RouterId>,
}

impl Judge<'_> {
    fn judge(&mut self, passage: &Passage) {
        if self.looks == 0 {
            return;
        }
        let judged = passage
            .seen
            .as_ref()
            .and_then(|seen| self.sides(passage, seen));
        let Some(judged) = judged else {
            self.unjudged.insert((passage.from, passage.to));
            let routers = passage.gates.iter().map(|gate| gate.router);
            self.doubtful.extend(routers);
            return;
        };
        for (at, piece, through) in judged {
            self.note(passage, at, &piece, &through);
        }
    }

    /// What each gateway permits of the packets, piece by piece, with the services that get past the gateways
    /// further on and before; `None` where some list falls into too many pieces.
    fn sides(
        &mut self,
        passage: &Passage,
        seen: &Region,
    ) -> Option<Vec<(usize, Said, [ClassSet; 2])>> {
        let mut judged = Vec::new();
        for (at, gate) in passage.gates.iter().enumerate() {
            let said = self.said(passage, gate, seen)?;
            for piece in said.into_iter().filter(|piece| piece.permits) {
                let downstream = at + 1..passage.gates.len();
                let after = self.follow(passage, (at, &piece), Denial::Downstream, downstream)?;
                let ahead = self.follow(passage, (at, &piece), Denial::Upstream, 0..at)?;
                judged.push((at, piece, [after, ahead]));
            }
        }
        Some(judged)
    }

    /// What a gateway says to packets; `None` where its list falls into too many pieces.
    fn said(&mut self, passage: &Passage, gate: &Gate, packets: &Region) -> Option<Vec<Said>> {
        let plan = self.network.plan(passage.family);
        let filter = plan
            .device(plan.router_index(gate.router))
            .filter
            .as_ref()?;
        let mut candidates = filter.between(gate.ingress, gate.egress.unwrap_or(filter.itself));
        candidates.and_assign(&filter.lines.from_source(&packets.source));
        candidates.and_assign(&filter.lines.to_destination(&packets.destination));
        let mut said = Vec::new();
        let mut tell = |line: Option<usize>, packets| {
            said.push(Said {
                rule: line.map(|line| filter.rules[line]),
                permits: filter.action(line) == Action::Permit,
                packets,
            });
        };
        let walk = filter
            .lines
            .walk(&candidates, packets.clone(), MOST_PIECES, &mut tell);
        self.looks = self.looks.saturating_sub(1 + said.len());
        walk.is_ok().then_some(said)
    }

    /// Takes from a permitted piece what each of the other gateways denies, and tells the services of what is left;
    /// `None` where some list falls into too many pieces.
    fn follow(
        &mut self,
        passage: &Passage,
        (at, piece): (usize, &Said),
        denial: Denial,
        others: Range<usize>,
    ) -> Option<ClassSet> {
        let pair = (passage.from, passage.to);
        let own = decider(&passage.gates[at], piece);
        let mut left = vec![piece.packets.clone()];
        for gate in &passage.gates[others] {
            if !self.bars(passage, own.router, gate.router) {
                continue;
            }
            let mut next = Vec::new();
            for part in left {
                for verdict in self.said(passage, gate, &part)? {
                    if verdict.permits {
                        next.push(verdict.packets);
                        continue;
                    }
                    let key = (pair, denial, own, decider(gate, &verdict));
                    let known = self.blocked.entry(key).or_default();
                    known.push((passage.family, verdict.packets));
                }
            }
            left = next;
        }
        let mut services = self.network.classes.none();
        left.iter()
            .for_each(|part| services.union_with(&part.services));
        Some(services)
    }

    /// Whether a packet that a rule of `own` permits is lost where the rules of `other` deny it. Not if it may be a
    /// reply that `other` lets pass because it saw the question and `own` asks its rules because it did not.
    fn bars(&self, passage: &Passage, own: RouterId, other: RouterId) -> bool {
        let stateful = |router| {
            let filter = self.network.site.router(router).filter();
            filter.is_some_and(|filter| filter.stateful)
        };
        if !stateful(other) {
            return true;
        }
        if !stateful(own) {
            return false;
        }
        let Endpoint::Segment(to) = passage.to else {
            return true;
        };
        let questions = self.ways.get(&(to, Endpoint::Segment(passage.from)));
        let mut questions = questions.into_iter().flatten();
        questions.all(|way| way.contains(&own) || !way.contains(&other))
    }

    fn note(&mut self, passage: &Passage, at: usize, piece: &Said, [after, ahead]: &[ClassSet; 2]) {
        let Some(rule) = piece.rule else {
            return;
        };
        let of_rule = self
            .passed
            .entry((passage.gates[at].router, rule))
            .or_default();
        let none = || self.network.classes.none();
        let passed = of_rule
            .entry((passage.from, passage.to))
            .or_insert_with(|| Passed {
                permitted: none(),
                downstream: none(),
                upstream: none(),
            });
        passed.permitted.union_with(&piece.packets.services);
        passed.downstream.union_with(after);
        passed.upstream.union_with(ahead);
    }

    fn finish(self) -> Cascade {
        let blocked = self
            .blocked
            .into_iter()
            .map(|((pair, denial, permits, denies), packets)| BlockedPermit {
                pair,
                denial,
                permits,
                denies,
                packets,
            });
        let mut blocked: Vec<BlockedPermit> = blocked.collect();
        blocked.sort_by_key(|one| (one.pair, one.denial, one.permits, one.denies));
        let mut unjudged: Vec<Pair> = self.unjudged.into_iter().collect();
        unjudged.sort_unstable();
        let mut doubtful: Vec<RouterId> = self.doubtful.into_iter().collect();
        doubtful.sort_unstable();
        Cascade {
            blocked,
            passed: self.passed,
            unjudged,
            doubtful,
            complete: self.looks > 0,
        }
    }
}

fn decider(gate: &Gate, said: &Said) -> Decider {
    Decider {
        router: gate.router,
        rule: said.rule,
    }
}
