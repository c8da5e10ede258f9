//! Every pair of segments, compared.

use rayon::prelude::*;

use boundwalk_forwarding::{Limit, Network, Origin, SendPoint, Sender, UnclaimedId, WalkCoverage};
use boundwalk_model::{Family, RouterId, SegmentId};

use super::super::intent::Ground;
use super::counterparts::{Counterparts, Matched};
use super::delta::{Delta, inside_alike};
use super::narrow::{Named, SeenSender};
use super::pair::{Changed, Outcomes, VersionSide};
use super::seen::{Narrow, Seen};

/// A place in both versions.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Spot {
    /// A segment.
    Segment(Matched<SegmentId>),
    /// A gateway or router itself.
    Router(Matched<RouterId>),
    /// Live ports of a switch that belong to no segment: only hostile devices are there.
    Unclaimed(Matched<UnclaimedId>),
}

impl Spot {
    /// Where a hostile device is attached.
    pub fn of(origin: Matched<Origin>) -> Self {
        let unclaimed = |origin: Option<Origin>| match origin {
            Some(Origin::Unclaimed(group)) => Some(group),
            Some(Origin::Segment(_)) | None => None,
        };
        let group = Matched {
            old: unclaimed(origin.old),
            new: unclaimed(origin.new),
        };
        match group.old.or(group.new) {
            Some(_) => Self::Unclaimed(group),
            None => Self::Segment(Matched {
                old: origin.old.and_then(Origin::segment),
                new: origin.new.and_then(Origin::segment),
            }),
        }
    }

    /// The segment, if it is one.
    pub fn segment(self) -> Option<Matched<SegmentId>> {
        match self {
            Self::Segment(matched) => Some(matched),
            Self::Router(_) | Self::Unclaimed(_) => None,
        }
    }

    /// "segment", "gateway" or "ports".
    pub fn kind(self) -> &'static str {
        match self {
            Self::Segment(_) => "segment",
            Self::Router(_) => "gateway",
            Self::Unclaimed(_) => "ports",
        }
    }

    /// Its column in one version; `None`: it is not there.
    pub(crate) fn column(self, ground: &Ground<'_>, new: bool) -> Option<usize> {
        let segments = ground.network.site.segments.len();
        match self {
            Self::Segment(matched) => matched.side(new).map(|segment| segment.0),
            Self::Router(matched) => matched.side(new).map(|router| segments + router.0),
            // Nobody has an address there.
            Self::Unclaimed(_) => None,
        }
    }
}

/// What a change does between one pair in one family.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PairChange {
    /// Who sends: a segment; where hostile devices are compared, unclaimed ports as well.
    pub from: Spot,
    /// Who receives.
    pub to: Spot,
    /// The family.
    pub family: Family,
    /// What passes now and did not before.
    pub opened: Vec<Changed>,
    /// What passed before and does not now.
    pub closed: Vec<Changed>,
    /// Where a limit was met, the lists are uncertain: there may be more, and what is listed may pass in both versions.
    pub coverage: WalkCoverage,
}

impl PairChange {
    /// Whether the lists are exact.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.coverage.is_complete()
    }
}

/// What a change does to who reaches what.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ReachChange {
    /// Pairs with a difference as configured, in the order of the site.
    pub pairs: Vec<PairChange>,
    /// Pairs with a difference for hostile devices, beyond what opens or closes for those that do as configured: addresses
    /// with services that a hostile device reaches in one version only, by whatever source, and that nobody who does as
    /// configured reaches from there in either.
    pub hostile: Vec<PairChange>,
    /// What corresponds to what.
    pub counterparts: Counterparts,
    /// Pairs looked at as configured, each family counted.
    pub looked_at: usize,
    /// Whether only rules differ, so that only what they name was looked at.
    pub only_rules: bool,
}

impl ReachChange {
    /// Whether nothing opens or closes, for certain, in either stance.
    pub fn is_empty(&self) -> bool {
        self.pairs.is_empty() && self.hostile.is_empty()
    }

    /// Whether every list is exact.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.limit().is_none()
    }

    /// A limit that was met.
    #[must_use]
    pub fn limit(&self) -> Option<Limit> {
        let mut pairs = self.pairs.iter().chain(&self.hostile);
        pairs.find_map(|pair| pair.coverage.limit())
    }
}

/// Compares two versions that were prepared together ([`Network::versions`]), in both stances.
///
/// Where only rules differ, only packets that removed, added, changed or moved rules name are looked at; where only
/// switches and cables do, only senders for whom somebody finds something else on the wire; else every pair. Cost: two
/// walks through the rules for each pair looked at and each stance.
pub fn reach_change(
    old: &Network<'_>,
    new: &Network<'_>,
    progress: &mut dyn FnMut(usize, usize),
) -> ReachChange {
    let counterparts = Counterparts::new(old, new);
    let delta = Delta::new(old, new);
    let mut change = ReachChange {
        pairs: Vec::new(),
        hostile: Vec::new(),
        looked_at: 0,
        only_rules: matches!(delta, Delta::Rules(_)),
        counterparts: counterparts.clone(),
    };
    if let Delta::Rules(rules) = &delta
        && rules.is_empty()
    {
        return change;
    }
    let total = Family::ALL.len() * (counterparts.segments.len() + counterparts.unclaimed.len());
    let mut done = 0;
    for family in Family::ALL {
        let universe = [Ground::new(old, family), Ground::new(new, family)];
        let comparison = Comparison {
            named: match &delta {
                Delta::Rules(rules) => Some(Named::new(&universe, rules)),
                Delta::Wiring | Delta::Anything => None,
            },
            inside_alike: matches!(delta, Delta::Wiring)
                && inside_alike(universe[0].plan, universe[1].plan),
            universe: &universe,
            spots: spots(&counterparts),
        };
        // A few senders at a time, on all processors; what they find is kept in their order.
        let origins: Vec<Matched<Origin>> = counterparts.origins().collect();
        for together in origins.chunks(4 * rayon::current_num_threads()) {
            progress(done, total);
            done += together.len();
            let found: Vec<Differences> = together
                .par_iter()
                .map(|&origin| comparison.from(origin))
                .collect();
            for found in found {
                change.pairs.extend(found.pairs);
                change.hostile.extend(found.hostile);
                change.looked_at += found.looked_at;
            }
        }
    }
    change
}

fn spots(counterparts: &Counterparts) -> Vec<Spot> {
    counterparts
        .segments
        .iter()
        .copied()
        .map(Spot::Segment)
        .chain(counterparts.routers.iter().copied().map(Spot::Router))
        .collect()
}

/// What differs for one sender, as in [`ReachChange`].
#[derive(Default)]
struct Differences {
    pairs: Vec<PairChange>,
    hostile: Vec<PairChange>,
    looked_at: usize,
}

/// Two versions in one family.
struct Comparison<'a, 'n> {
    universe: &'a [Ground<'n>; 2],
    /// What rules name, where only rules differ.
    named: Option<Named<'n>>,
    /// Whether only what a sender itself finds on its wire may differ.
    inside_alike: bool,
    spots: Vec<Spot>,
}

impl Comparison<'_, '_> {
    /// Every pair with one sender, in both stances.
    fn from(&self, origin: Matched<Origin>) -> Differences {
        let mut found = Differences::default();
        let from = Spot::of(origin);
        let plain = from.segment().map(|matched| Matched {
            old: matched.old.map(Sender::Segment),
            new: matched.new.map(Sender::Segment),
        });
        let hostile = Matched {
            old: origin.old.map(Sender::Hostile),
            new: origin.new.map(Sender::Hostile),
        };
        let asked = [
            plain.filter(|&sender| self.may_differ(sender)),
            Some(hostile).filter(|&sender| self.may_differ(sender)),
        ];
        if asked.iter().all(Option::is_none) {
            return found;
        }
        let seen = self.seen(origin);
        for &to in self.spots.iter().filter(|&&to| to != from) {
            let narrow = [0, 1]
                .map(|stance| asked[stance].and_then(|_| self.narrow(seen[stance].as_ref(), to)));
            if narrow.iter().all(Option::is_none) {
                continue;
            }
            let pair = Pair {
                comparison: self,
                from,
                to,
                plain,
                hostile,
            };
            pair.compare(&narrow, &mut found);
        }
        found
    }

    /// Whether a sender may reach something else than before: what it finds on its wire is not all the same.
    fn may_differ(&self, sender: Matched<Sender>) -> bool {
        let (true, Some(old), Some(new)) = (self.inside_alike, sender.old, sender.new) else {
            return true;
        };
        let send_point = |sender| match sender {
            Sender::Segment(segment) => Some(SendPoint::Segment(segment)),
            Sender::Hostile(origin) => Some(SendPoint::Hostile(origin)),
            Sender::Host(_) => None,
        };
        let [one, other] = [(0, old), (1, new)].map(|(version, sender)| {
            send_point(sender).map(|send_point| self.universe[version].plan.wire(send_point))
        });
        one != other
    }

    /// The sender as rules see it, in both stances, where only rules differ.
    fn seen(&self, origin: Matched<Origin>) -> [Option<SeenSender>; 2] {
        let ground = &self.universe[1];
        match (&self.named, origin.new) {
            (Some(named), Some(origin)) => {
                let plain = origin
                    .segment()
                    .map(|segment| Seen::configured(ground, segment));
                let both = [plain, Some(Seen::hostile(ground, origin))];
                both.map(|seen| seen.map(|seen| named.sender(ground, seen)))
            }
            _ => [None, None],
        }
    }

    fn narrow(&self, seen: Option<&SeenSender>, to: Spot) -> Option<Narrow> {
        let Some(named) = &self.named else {
            return Some(Narrow::default());
        };
        let to = to.column(&self.universe[1], true)?;
        named.between(&self.universe[1], seen?, to)
    }
}

/// One pair of places.
struct Pair<'a, 'n> {
    comparison: &'a Comparison<'a, 'n>,
    from: Spot,
    to: Spot,
    /// All that is on the sender's segment; `None`: unclaimed ports.
    plain: Option<Matched<Sender>>,
    hostile: Matched<Sender>,
}

impl<'n> Pair<'_, 'n> {
    /// Compares what is asked of each stance, as configured first.
    fn compare(&self, narrow: &[Option<Narrow>; 2], found: &mut Differences) {
        let [asked, hostile] = narrow;
        let mut plain = None;
        if let (Some(sender), Some(narrow)) = (self.plain, asked) {
            found.looked_at += 1;
            if !narrow.is_nothing() {
                let fates = self.fates(sender, narrow);
                found.pairs.extend(self.difference(sender, &fates, &[]));
                plain = Some(fates);
            }
        }
        let Some(narrow) = hostile.as_ref().filter(|narrow| !narrow.is_nothing()) else {
            return;
        };
        let fates = self.fates(self.hostile, narrow);
        if fates[0].surely_alike(&fates[1]) {
            return;
        }
        // What devices that do as configured send is told of them.
        let plain = plain.filter(|_| asked.as_ref() == Some(narrow));
        let plain = plain.or_else(|| Some(self.fates(self.plain?, narrow)));
        let besides: Vec<&Outcomes> = plain.iter().flatten().collect();
        let differences = self.difference(self.hostile, &fates, &besides);
        found.hostile.extend(differences);
    }

    fn place(
        &self,
        sender: Matched<Sender>,
        version: usize,
    ) -> Option<(&Ground<'n>, Sender, usize)> {
        let ground = &self.comparison.universe[version];
        let new = version == 1;
        Some((ground, sender.side(new)?, self.to.column(ground, new)?))
    }

    fn fates(&self, sender: Matched<Sender>, narrow: &Narrow) -> [Outcomes; 2] {
        [0, 1].map(|version| match self.place(sender, version) {
            Some((ground, sender, to)) => Outcomes::new(ground, sender, to, narrow),
            None => Outcomes::default(),
        })
    }

    fn difference(
        &self,
        sender: Matched<Sender>,
        fates: &[Outcomes; 2],
        besides: &[&Outcomes],
    ) -> Option<PairChange> {
        if fates[0].surely_alike(&fates[1]) {
            return None;
        }
        let [(closed, all_closed), (opened, all_opened)] = [0, 1].map(|version| {
            let missing = self.place(sender, 1 - version);
            let side = VersionSide {
                there: &fates[version],
                other: &fates[1 - version],
                besides,
                hostile: matches!(sender.old.or(sender.new), Some(Sender::Hostile(_))),
                shown: &self.comparison.universe[version],
                missing: missing.map(|(ground, sender, _)| (ground, sender)),
            };
            side.difference()
        });
        let coverage = all_opened.and(all_closed);
        let found = !opened.is_empty() || !closed.is_empty() || !coverage.is_complete();
        found.then(|| PairChange {
            from: self.from,
            to: self.to,
            family: self.comparison.universe[0].family(),
            opened,
            closed,
            coverage,
        })
    }
}
