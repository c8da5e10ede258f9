//! The smallest set of things that meets every path: a minimum cut over named edges.
//!
//! An edge may carry many paths and one thing may stand for many edges, so the usual flow duality does not
//! hold. Instead paths are met one after another: the smallest set for the paths known so far is tried; what it
//! leaves open is one more path. When nothing is left, the set is a smallest one.

use rustc_hash::{FxHashMap, FxHashSet};

/// Most sets looked at in one search before the best so far is taken.
const MOST_TRIES: usize = 200_000;

/// Most rounds of trying a set and finding what it leaves open.
const MOST_ROUNDS: usize = 500;

/// A cut.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Cut<T> {
    /// What to remove, ascending; several sets where they weigh the same.
    pub sets: Vec<Vec<T>>,
    /// Weight of each set.
    pub weight: u64,
    /// Whether no set of less weight does it; false where a limit was met.
    pub smallest: bool,
}

/// Finds the lightest sets that leave nothing open, at most `most` of them.
///
/// `open` gives paths that a set leaves open, each by the things on it, none where it leaves none. A path with
/// nothing on it can't be met and must not be given. `weight` is at least 1.
///
/// Exponential in the worst case, bounded: past the bound [`Cut::smallest`] is false. `None` where even the
/// bound on rounds did not suffice.
pub fn cut<T: Copy + Ord + std::hash::Hash>(
    weight: &dyn Fn(T) -> u64,
    open: &mut dyn FnMut(&[T]) -> Vec<Vec<T>>,
    most: usize,
) -> Option<Cut<T>> {
    let mut paths: Vec<Vec<T>> = Vec::new();
    for _ in 0..MOST_ROUNDS {
        let mut search = Search::new(weight, &paths, most);
        search.run();
        let (sets, smallest) = (search.found, search.tries < MOST_TRIES);
        let mut good = Vec::new();
        let before = paths.len();
        for set in &sets {
            let left = open(set);
            if left.is_empty() {
                good.push(set.clone());
                continue;
            }
            add(&mut paths, left);
        }
        if paths.len() == before {
            good.sort();
            let weight = good.first().map_or(0, |set| total(weight, set));
            return Some(Cut {
                sets: good,
                weight,
                smallest,
            });
        }
    }
    None
}

fn add<T: Copy + Ord>(paths: &mut Vec<Vec<T>>, new: Vec<Vec<T>>) {
    for mut path in new {
        path.sort_unstable();
        path.dedup();
        if !path.is_empty() && !paths.contains(&path) {
            paths.push(path);
        }
    }
}

fn total<T: Copy>(weight: &dyn Fn(T) -> u64, set: &[T]) -> u64 {
    set.iter().map(|&item| weight(item)).sum()
}

/// Branch and bound over the paths known.
struct Search<'a, T> {
    weight: &'a dyn Fn(T) -> u64,
    paths: &'a [Vec<T>],
    most: usize,
    best: u64,
    found: Vec<Vec<T>>,
    tries: usize,
}

impl<'a, T: Copy + Ord + std::hash::Hash> Search<'a, T> {
    fn new(weight: &'a dyn Fn(T) -> u64, paths: &'a [Vec<T>], most: usize) -> Self {
        let mut search = Self {
            weight,
            paths,
            most,
            best: u64::MAX,
            found: Vec::new(),
            tries: 0,
        };
        let greedy = search.greedy();
        search.best = total(weight, &greedy);
        search.found = vec![greedy];
        search
    }

    fn run(&mut self) {
        self.branch(&mut Vec::new(), &mut FxHashSet::default(), 0);
        if self.found.len() > 1 {
            self.found.sort();
            self.found.dedup();
        }
    }

    /// Takes the thing on most open paths for its weight, until none is open.
    fn greedy(&self) -> Vec<T> {
        let mut open: Vec<&Vec<T>> = self.paths.iter().collect();
        let mut taken = Vec::new();
        while !open.is_empty() {
            let mut count: FxHashMap<T, u64> = FxHashMap::default();
            for &item in open.iter().flat_map(|path| path.iter()) {
                *count.entry(item).or_default() += 1;
            }
            let best = count.iter().max_by(|(one, ones), (other, others)| {
                let (one_weight, other_weight) = ((self.weight)(**one), (self.weight)(**other));
                let worth = (**ones * other_weight).cmp(&(**others * one_weight));
                worth.then(other.cmp(one))
            });
            let Some((&best, _)) = best else { break };
            taken.push(best);
            open.retain(|path| !path.contains(&best));
        }
        taken.sort_unstable();
        taken
    }

    fn branch(&mut self, taken: &mut Vec<T>, banned: &mut FxHashSet<T>, weight: u64) {
        self.tries += 1;
        if self.tries > MOST_TRIES {
            return;
        }
        let open: Vec<&Vec<T>> = self
            .paths
            .iter()
            .filter(|path| !path.iter().any(|item| taken.contains(item)))
            .collect();
        let Some(next) = self.narrowest(&open, banned) else {
            self.keep(taken, weight);
            return;
        };
        let room = self.best.saturating_sub(weight);
        if self.least(&open, banned) > room {
            return;
        }
        let items: Vec<T> = next
            .iter()
            .copied()
            .filter(|item| !banned.contains(item))
            .collect();
        let mut own = Vec::new();
        for item in items {
            let heavier = weight.saturating_add((self.weight)(item));
            if heavier <= self.best {
                taken.push(item);
                self.branch(taken, banned, heavier);
                taken.pop();
            }
            // Sets with this item have been looked at: the next branches do without it.
            if banned.insert(item) {
                own.push(item);
            }
        }
        for item in own {
            banned.remove(&item);
        }
    }

    fn keep(&mut self, taken: &[T], weight: u64) {
        let mut set = taken.to_vec();
        set.sort_unstable();
        if weight < self.best {
            self.best = weight;
            self.found.clear();
        }
        if self.found.len() < self.most && !self.found.contains(&set) {
            self.found.push(set);
        }
    }

    /// The open path with the fewest things left to choose from.
    fn narrowest<'p>(&self, open: &[&'p Vec<T>], banned: &FxHashSet<T>) -> Option<&'p Vec<T>> {
        let choices = |path: &&&Vec<T>| path.iter().filter(|item| !banned.contains(item)).count();
        open.iter().min_by_key(choices).copied()
    }

    /// What paths without anything in common need at the least.
    fn least(&self, open: &[&Vec<T>], banned: &FxHashSet<T>) -> u64 {
        let mut used: FxHashSet<T> = FxHashSet::default();
        let mut sum = 0u64;
        for path in open {
            let items = path.iter().copied().filter(|item| !banned.contains(item));
            let items: Vec<T> = items.collect();
            let Some(cheapest) = items.iter().map(|&item| (self.weight)(item)).min() else {
                return u64::MAX;
            };
            if items.iter().all(|item| !used.contains(item)) {
                used.extend(items);
                sum = sum.saturating_add(cheapest);
            }
        }
        sum
    }
}
