//! Where two versions of one rule list decide differently: what they decide alike need not be looked at.

use std::cell::OnceCell;

use rustc_hash::FxHashSet;

use boundwalk_forwarding::{Device, DeviceId, DeviceIndex, FilterPlan};
use boundwalk_model::{Action, Filter, Rule};
use boundwalk_packet::{ClassSet, Interval, Mask, Region};

use super::super::intent::Ground;
use super::super::party::Endpoint;
use super::seen::{Narrow, Seen};

/// Parts of packets that the comparison of one pair may come to before it is given up.
const MOST_PARTS: usize = 20_000;

/// The rules of the only device that forwards, in both versions.
pub(super) struct Disagreement<'n> {
    versions: [Version<'n>; 2],
    device: DeviceIndex,
    /// For each column the interfaces by which packets leave for it, each with the lines of either version that may match
    /// there; `None`: not known.
    leaving: Vec<OnceCell<Option<Vec<[Mask; 2]>>>>,
}

/// One version of the rules.
struct Version<'n> {
    filter: &'n FilterPlan,
    /// Lines that the other version lacks or has elsewhere.
    differing: Mask,
    /// For each line that differs: up to which line of the other version those that both have come before it in both. They
    /// hold nothing that this line decides.
    passed: Vec<usize>,
}

/// What a sender sends, as it arrives: for each interface the lines of either version that may match it.
pub(super) struct Arriving(Vec<[Mask; 2]>);

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
        let lines = [old, new].map(|one| Lines::new(one, &rules));
        lines[0].same_common(&lines[1]).then_some(())?;
        let passed = [lines[0].passed(&lines[1]), lines[1].passed(&lines[0])];
        let versions = lines
            .into_iter()
            .zip(passed)
            .map(|(lines, passed)| Version {
                filter: lines.filter,
                differing: lines.differing,
                passed,
            });
        let [old_version, new_version] = versions.collect::<Vec<_>>().try_into().ok()?;
        Some(Self {
            versions: [old_version, new_version],
            device: old.index,
            leaving: universe[1]
                .columns
                .iter()
                .map(|_| OnceCell::new())
                .collect(),
        })
    }

    /// What arrives of a sender.
    pub(super) fn arriving(&self, ground: &Ground<'_>, seen: &Seen) -> Arriving {
        let sources = self.masks(|filter| filter.lines.from_source(&seen.sources));
        let interfaces = ground.plan.device(self.device).interfaces.iter();
        let arriving = interfaces
            .enumerate()
            .filter(|(_, interface)| seen.ingress.contains(&interface.segment.0))
            .map(|(at, _)| {
                let mut masks = self.masks(|filter| filter.lines.from_ingress(at as u32));
                masks
                    .iter_mut()
                    .zip(&sources)
                    .for_each(|(mask, sources)| mask.and_assign(sources));
                masks
            });
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
        let mut found = Found {
            destinations: Vec::new(),
            services: ground.network.classes.none(),
            parts: 0,
        };
        let start = Region {
            source: seen.sources.clone(),
            destination: ground.columns[to].addresses.union(ground.extra(to)),
            services: ground.network.classes.all(),
        };
        for ingress in &arriving.0 {
            for egress in leaving.as_ref()? {
                let candidates = [0, 1].map(|version| ingress[version].and(&egress[version]));
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
        candidates: &[Mask; 2],
        start: &Region,
        found: &mut Found,
    ) -> Option<()> {
        let (mine, other) = (&self.versions[version], &self.versions[1 - version]);
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
            asked.or_assign(&theirs.from(mine.passed[line]));
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

    fn leaving(&self, ground: &Ground<'_>, to: usize) -> Option<Vec<[Mask; 2]>> {
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
                vec![self.versions[0].filter.itself]
            }
            _ => return None,
        };
        let destinations = column.addresses.union(ground.extra(to));
        let destinations = self.masks(|filter| filter.lines.to_destination(&destinations));
        let with = |egress: usize| {
            let mut masks = self.masks(|filter| filter.lines.to_egress(egress as u32));
            masks
                .iter_mut()
                .zip(&destinations)
                .for_each(|(mask, own)| mask.and_assign(own));
            masks
        };
        Some(egresses.into_iter().map(with).collect())
    }

    fn masks(&self, of: impl Fn(&FilterPlan) -> Mask) -> [Mask; 2] {
        [0, 1].map(|version| of(self.versions[version].filter))
    }
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
    differing: Mask,
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

    /// Whether the lines that do not differ are the same, in the same order.
    fn same_common(&self, other: &Self) -> bool {
        let line = |lines: &Self, at: usize| {
            let filter = lines.filter;
            (filter.lines.lines()[at].clone(), filter.actions[at])
        };
        self.common.len() == other.common.len()
            && self
                .common
                .iter()
                .zip(&other.common)
                .all(|(&one, &two)| line(self, one) == line(other, two))
    }

    /// See [`Version::passed`].
    fn passed(&self, other: &Self) -> Vec<usize> {
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
