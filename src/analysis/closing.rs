//! What closes the ways round the gateway: the smallest sets of settings.

use rustc_hash::FxHashMap;

use boundwalk_forwarding::{Network, Origin};
use boundwalk_model::{Date, Role, Site};

use super::bypass::{Bypass, bypasses, pairs_asked, ways};
use super::cut::{Cut, cut};
use super::needed::Needed;
use super::setting::Setting;
use super::way_settings::settings_of;

/// Most alternatives of a cut that are listed.
pub const MOST_ALTERNATIVES: usize = 8;

/// How many smaller sets may be tried for each round of the search.
const LESS: usize = 10;

/// All ways round, and how to close them.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Bypasses {
    /// Pairs with a way round, by segment of the sender.
    pub pairs: Vec<Bypass>,
    /// How many ordered pairs of segments of different zones were looked at.
    pub asked: usize,
    /// What to change, unless there is nothing to close.
    pub closing: Option<Closing>,
}

impl Bypasses {
    /// Looks at the ordered pairs that are asked for; costs what [`bypasses`] and [`closing`] do.
    pub fn new(network: &Network<'_>, asked: &dyn Fn(Origin, Origin) -> bool) -> Self {
        let pairs = bypasses(network, asked);
        Self {
            closing: closing(network, &pairs, asked),
            asked: pairs_asked(network, asked),
            pairs,
        }
    }
}

/// The smallest sets of settings whose change closes every way.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Closing {
    /// The sets, each verified by undoing it in the model; several where equally small.
    pub sets: Vec<Vec<Setting>>,
    /// Those of the settings that traffic inside some segment needs as well.
    pub needed: Vec<Setting>,
    /// Whether no smaller set does it.
    pub smallest: bool,
    /// Pairs that no setting can close.
    pub stay: Vec<(Origin, Origin)>,
}

/// The smallest sets of settings that close all ways given.
///
/// Undoes each set in a copy of the site and looks again. Exponential in the worst case, bounded.
pub fn closing(
    network: &Network<'_>,
    pairs: &[Bypass],
    asked: &dyn Fn(Origin, Origin) -> bool,
) -> Option<Closing> {
    if pairs.is_empty() {
        return None;
    }
    let size = network.fabric.ports.len() + network.fabric.interfaces.len();
    let attempt = Attempt {
        today: network.today,
        open_pieces: network.open_pieces(),
        rounds: (1_000_000 / size.max(1)).clamp(20, 300),
        bare: stripped(network.site),
        needed: Needed::new(network),
        asked,
    };
    let mut stay: Vec<(Origin, Origin)> = pairs
        .iter()
        .filter(|pair| pair.settings.is_empty())
        .map(|pair| (pair.from, pair.to))
        .collect();
    // A pair may turn out to stay open only once its shorter ways are closed: then all begins again without it.
    let mut found = loop {
        let before = stay.len();
        let found = attempt.cut(pairs, &mut stay)?;
        if stay.len() == before {
            break found;
        }
    };
    attempt.look_for_less(pairs, &stay, &mut found);
    let mut used: Vec<Setting> = found.sets.iter().flatten().copied().collect();
    used.sort_unstable();
    used.dedup();
    used.retain(|setting| attempt.needed.has(*setting));
    stay.sort_unstable();
    Some(Closing {
        sets: found.sets,
        needed: used,
        smallest: found.smallest,
        stay,
    })
}

/// What one search for a cut works with.
struct Attempt<'a> {
    today: Date,
    open_pieces: usize,
    /// How many sets may be tried that leave something open.
    rounds: usize,
    bare: Site,
    needed: Needed,
    asked: &'a dyn Fn(Origin, Origin) -> bool,
}

impl Attempt<'_> {
    /// The smallest sets for all pairs but those that stay open, to which pairs are added that no setting
    /// closes.
    fn cut(&self, pairs: &[Bypass], stay: &mut Vec<(Origin, Origin)>) -> Option<Cut<Setting>> {
        let weight = |setting: Setting| if self.needed.has(setting) { 1_000 } else { 1 };
        let first: Vec<Vec<Setting>> = pairs
            .iter()
            .filter(|pair| !stay.contains(&(pair.from, pair.to)))
            .map(|pair| pair.settings.clone())
            .collect();
        let mut known: FxHashMap<Vec<Setting>, Vec<Vec<Setting>>> = FxHashMap::default();
        known.insert(Vec::new(), first);
        let mut doubt = false;
        let mut open = |set: &[Setting]| {
            if let Some(paths) = known.get(set) {
                return paths.clone();
            }
            let left = self.left_open(set, stay);
            // Carrying a VLAN tagged instead may open a way that was not there before: what is left is then no
            // proof that every set must meet it.
            let retagged = set
                .iter()
                .any(|setting| matches!(setting, Setting::Untagged(..)));
            doubt |= retagged && !left.is_empty();
            known.insert(set.to_vec(), left.clone());
            left
        };
        let mut found = cut(&weight, &mut open, MOST_ALTERNATIVES, self.rounds)?;
        found.smallest &= !doubt;
        Some(found)
    }

    /// Tries every set with one setting less. A way's settings name all that it needs as it is; a set may also close it
    /// by leaving nobody to reach, and then no search among the ways finds it. Where that is too much to try, nothing is
    /// said of the smallest.
    fn look_for_less(&self, pairs: &[Bypass], stay: &[(Origin, Origin)], found: &mut Cut<Setting>) {
        let size = found.sets.first().map_or(0, Vec::len);
        if size < 2 || !found.smallest {
            return;
        }
        let mut all: Vec<Setting> = pairs
            .iter()
            .flat_map(|pair| pair.settings.clone())
            .collect();
        all.extend(found.sets.iter().flatten().copied());
        all.sort_unstable();
        all.dedup();
        let Some(less) = choices(&all, size - 1, self.rounds * LESS) else {
            found.smallest = false;
            return;
        };
        let closes = |set: &Vec<Setting>| self.left_open(set, &mut stay.to_vec()).is_empty();
        if let Some(set) = less.into_iter().find(closes) {
            found.sets = vec![set];
            self.look_for_less(pairs, stay, found);
        }
    }

    /// Ways that stay open once a set of settings is undone, each by its settings.
    fn left_open(&self, set: &[Setting], stay: &mut Vec<(Origin, Origin)>) -> Vec<Vec<Setting>> {
        let mut changed = self.bare.clone();
        set.iter().for_each(|setting| setting.undo(&mut changed));
        let network = Network::new(&changed, self.today).limited_to(self.open_pieces);
        let known = stay.clone();
        let asked = |from, to| (self.asked)(from, to) && !known.contains(&(from, to));
        let mut paths = Vec::new();
        for (from, to, way) in ways(&network, &asked) {
            let mut path = settings_of(&network, (from, to), &way);
            path.retain(|setting| !set.contains(setting));
            if path.is_empty() {
                stay.push((from, to));
            } else {
                paths.push(path);
            }
        }
        paths
    }
}

/// All sets of some size; `None` where there are more than `most`.
fn choices(all: &[Setting], size: usize, most: usize) -> Option<Vec<Vec<Setting>>> {
    let mut sets: Vec<Vec<Setting>> = vec![Vec::new()];
    for _ in 0..size {
        let mut longer = Vec::new();
        for set in &sets {
            let after = set
                .last()
                .map_or(0, |last| all.partition_point(|one| one <= last));
            longer.extend(
                all[after..]
                    .iter()
                    .map(|&one| [set.as_slice(), &[one]].concat()),
            );
        }
        sets = longer;
        if most < sets.len() {
            return None;
        }
    }
    Some(sets)
}

/// The site without what plays no part where no rule decides.
pub(super) fn stripped(site: &Site) -> Site {
    let mut bare = site.clone();
    bare.needs.clear();
    bare.expectations.clear();
    bare.services.clear();
    bare.service_names.clear();
    bare.addresses.clear();
    for router in &mut bare.routers {
        if let Role::Gateway(filter) = &mut router.role {
            filter.rules.clear();
            filter.destination_translations.clear();
            filter.source_translations.clear();
        }
    }
    bare
}
