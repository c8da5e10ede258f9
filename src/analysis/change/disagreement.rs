//! The packets that two versions of one rule list decide differently. All others pass, or stop, in both.

use std::sync::OnceLock;

use rustc_hash::FxHashSet;

use boundwalk_forwarding::{Device, DeviceId, DeviceIndex, FilterPlan};
use boundwalk_model::{Action, Filter, Rule};
use boundwalk_packet::{ClassSet, Interval, IntervalSet, Line, Mask, Region};

use super::super::intent::Ground;
use super::super::party::Endpoint;
use super::seen::{Narrow, Seen};

/// Parts of packets that the comparison of one pair may come to before it is given up.
const MOST_PARTS: usize = 20_000;

/// The rules of the only device that forwards, in both versions.
pub(super) struct Disagreement<'n> {
    versions: [Version<'n>; 2],
    device: DeviceIndex,
    /// For each column how packets leave for it; `None`: not known.
    leaving: Vec<OnceLock<Option<Leaving>>>,
}

/// One version of the rules.
struct Version<'n> {
    lines: Lines<'n>,
    /// For each line the first line of the other version that may match what this line decides, those that differ apart:
    /// the common lines before it stand before this line in both versions.
    resume: Vec<usize>,
}

/// For each version the lines that may match.
type Candidates = [Mask; 2];

/// The lines that may match what a sender sends, for each interface by which it arrives.
pub(super) struct Arriving(Vec<Candidates>);

/// What leaves for a column.
struct Leaving {
    destination: IntervalSet,
    /// The lines that may match it, for each interface by which it leaves.
    lines: Vec<Candidates>,
}

/// What is decided differently, so far.
struct Found {
    destinations: Vec<Interval>,
    services: ClassSet,
    parts: usize,
}

impl<'n> Disagreement<'n> {
    /// `None` where packets do not simply pass one list of rules as they were sent, or more than rules differs.
    pub(super) fn new(universe: &[Ground<'n>; 2], rules: &[&Rule]) -> Option<Self> {
        let [old, new] = [only_filter(&universe[0])?, only_filter(&universe[1])?];
        if old.index != new.index || old.plan.default != new.plan.default {
            return None;
        }
        let rules: FxHashSet<*const Rule> =
            rules.iter().map(|rule| std::ptr::from_ref(*rule)).collect();
        let device = old.index;
        let [old, new] = [old, new].map(|one| Lines::new(one, &rules));
        old.same_common(&new).then_some(())?;
        let (old_resume, new_resume) = (old.resume(&new), new.resume(&old));
        let version = |lines, resume| Version { lines, resume };
        Some(Self {
            versions: [version(old, old_resume), version(new, new_resume)],
            device,
            leaving: universe[1]
                .columns
                .iter()
                .map(|_| OnceLock::new())
                .collect(),
        })
    }

    /// What arrives of a sender.
    pub(super) fn arriving(&self, ground: &Ground<'_>, seen: &Seen) -> Arriving {
        let sources = self.candidates(|filter| filter.lines.from_source(&seen.sources));
        let interfaces = ground.plan.device(self.device).interfaces.iter();
        let arriving = interfaces
            .enumerate()
            .filter(|(_, interface)| seen.ingress.contains(&interface.segment.0))
            .map(|(at, _)| self.candidates(|filter| filter.lines.from_ingress(at as u32)))
            .map(|lines| both(&lines, &sources));
        Arriving(arriving.collect())
    }

    /// A box around all that is decided differently between a pair; `None`: a limit was met, or nobody knows how packets
    /// leave for the column.
    pub(super) fn between(
        &self,
        ground: &Ground<'_>,
        (seen, arriving): (&Seen, &Arriving),
        to: usize,
    ) -> Option<Narrow> {
        let leaving = self.leaving[to].get_or_init(|| self.leaving(ground, to));
        let leaving = leaving.as_ref()?;
        let mut found = Found {
            destinations: Vec::new(),
            services: ground.network.classes.none(),
            parts: 0,
        };
        let start = Region {
            source: seen.sources.clone(),
            destination: leaving.destination.clone(),
            services: ground.network.classes.all(),
        };
        for ingress in &arriving.0 {
            for egress in &leaving.lines {
                let candidates = both(ingress, egress);
                for version in [0, 1] {
                    self.of_version(version, &candidates, &start, &mut found)?;
                }
            }
        }
        Some(Narrow {
            destinations: Some(found.destinations.into_iter().collect()),
            services: Some(found.services),
        })
    }

    /// Packets that lines of one version decide which the other lacks, and that the other decides differently.
    fn of_version(
        &self,
        version: usize,
        candidates: &Candidates,
        start: &Region,
        found: &mut Found,
    ) -> Option<()> {
        let resume = &self.versions[version].resume;
        let [mine, other] = [version, 1 - version].map(|at| &self.versions[at].lines);
        let (own, theirs) = (&candidates[version], &candidates[1 - version]);
        for line in own.and(&mine.differing).iter() {
            let Some(part) = mine.filter.lines.lines()[line].part_of(start) else {
                continue;
            };
            let mut decided = Vec::new();
            let earlier = own.below(line);
            let walked = mine
                .filter
                .lines
                .walk(&earlier, part, MOST_PARTS, &mut |by, piece| {
                    decided.extend(by.is_none().then_some(piece));
                });
            walked.ok()?;
            let permits = mine.filter.actions[line] == Action::Permit;
            let mut asked = theirs.and(&other.differing);
            asked.or_assign(&theirs.from(resume[line]));
            for piece in decided {
                let mut note = |by, piece: Region| {
                    found.parts += 1;
                    if (other.filter.action(by) == Action::Permit) != permits {
                        found
                            .destinations
                            .extend_from_slice(piece.destination.intervals());
                        found.services.union_with(&piece.services);
                    }
                };
                let walked = other
                    .filter
                    .lines
                    .walk(&asked, piece, MOST_PARTS, &mut note);
                walked.ok()?;
                (found.parts <= MOST_PARTS).then_some(())?;
            }
        }
        Some(())
    }

    fn leaving(&self, ground: &Ground<'_>, to: usize) -> Option<Leaving> {
        let column = &ground.columns[to];
        let interfaces = ground
            .plan
            .device(self.device)
            .interfaces
            .iter()
            .enumerate();
        let egresses: Vec<usize> = match column.party {
            Endpoint::Segment(segment) => interfaces
                .filter(|(_, interface)| interface.segment == segment)
                .map(|(at, _)| at)
                .collect(),
            Endpoint::Device(router) if ground.plan.router_index(router) == self.device => {
                vec![self.versions[0].lines.filter.itself]
            }
            _ => return None,
        };
        let destination = column.addresses.union(ground.extra(to));
        let named = self.candidates(|filter| filter.lines.to_destination(&destination));
        let lines = egresses
            .into_iter()
            .map(|at| self.candidates(|filter| filter.lines.to_egress(at as u32)))
            .map(|lines| both(&lines, &named))
            .collect();
        Some(Leaving { destination, lines })
    }

    fn candidates(&self, of: impl Fn(&FilterPlan) -> Mask) -> Candidates {
        [0, 1].map(|version| of(self.versions[version].lines.filter))
    }
}

/// The lines that are in both, for each version.
fn both(one: &Candidates, other: &Candidates) -> Candidates {
    [0, 1].map(|version| one[version].and(&other[version]))
}

/// The only device that forwards, where it has the only rules and rewrites no destination.
#[derive(Clone, Copy)]
struct OnlyFilter<'n> {
    index: DeviceIndex,
    plan: &'n FilterPlan,
    rules: &'n Filter,
}

fn only_filter<'n>(ground: &Ground<'n>) -> Option<OnlyFilter<'n>> {
    let devices = ground.plan.devices.iter();
    let matters = |device: &&Device| device.forwards || device.filter.is_some();
    let mut devices = devices.enumerate().filter(|(_, device)| matters(device));
    let (index, device) = devices.next().filter(|(_, device)| device.forwards)?;
    let plan = device.filter.as_ref()?;
    let simple = devices.next().is_none() && plan.arrivals.is_empty() && !ground.rewrites_ports;
    simple.then_some(())?;
    let DeviceId::Router(router) = device.id else {
        return None;
    };
    Some(OnlyFilter {
        index: DeviceIndex(index),
        plan,
        rules: ground.network.site.router(router).filter()?,
    })
}

/// The lines of one version, and which of them differ.
struct Lines<'n> {
    filter: &'n FilterPlan,
    /// Lines that the other version lacks or has elsewhere.
    differing: Mask,
    /// The others, in order.
    common: Vec<usize>,
}

impl<'n> Lines<'n> {
    fn new(only: OnlyFilter<'n>, rules: &FxHashSet<*const Rule>) -> Self {
        let mut differing = Mask::none(only.plan.lines.len());
        let mut common = Vec::new();
        for (line, &rule) in only.plan.rules.iter().enumerate() {
            if rules.contains(&std::ptr::from_ref(&only.rules.rules[rule])) {
                differing.insert(line);
            } else {
                common.push(line);
            }
        }
        Self {
            filter: only.plan,
            differing,
            common,
        }
    }

    fn common_lines(&self) -> impl Iterator<Item = (&Line, Action)> {
        let filter = self.filter;
        let line = |&at: &usize| (&filter.lines.lines()[at], filter.actions[at]);
        self.common.iter().map(line)
    }

    /// Whether the lines that do not differ are the same, in the same order.
    fn same_common(&self, other: &Self) -> bool {
        self.common_lines().eq(other.common_lines())
    }

    /// See [`Version::resume`].
    fn resume(&self, other: &Self) -> Vec<usize> {
        let mut common = 0;
        (0..self.filter.lines.len())
            .map(|line| {
                let before = common;
                common += usize::from(!self.differing.contains(line));
                before
                    .checked_sub(1)
                    .map_or(0, |last| other.common[last] + 1)
            })
            .collect()
    }
}
