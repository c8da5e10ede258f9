//! The smallest set of things that meets every path: a minimum cut over named edges.
//!
//! An edge may carry many paths and one thing may stand for many edges, so the usual flow duality does not
//! hold. Instead paths are met one after another: the smallest set for the paths known so far is tried; what it
//! leaves open is one more path. When nothing is left, the set is a smallest one.

use rustc_hash::{FxHashMap, FxHashSet};

/// Comparisons of a path with a set before the search for a smaller one is given up: about a second.
const MOST_LOOKS: usize = 30_000_000;

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
/// Exponential in the worst case, bounded: past the bound [`Cut::smallest`] is false. `None` where `rounds`, how
/// often a set may leave something open, did not suffice.
pub fn cut<T: Copy + Ord + std::hash::Hash>(
    weight: &dyn Fn(T) -> u64,
    open: &mut dyn FnMut(&[T]) -> Vec<Vec<T>>,
    most: usize,
    rounds: usize,
) -> Option<Cut<T>> {
    let mut paths: Vec<Vec<T>> = Vec::new();
    let mut looks = 0;
    for _ in 0..rounds {
        let mut search = Search::new(weight, &paths, most, looks);
        search.run();
        looks = search.looks;
        let sets = search.found;
        let (first, others) = sets.split_first()?;
        let left = open(first);
        if left.is_empty() {
            let mut sets: Vec<Vec<T>> = others
                .iter()
                .filter(|set| open(set).is_empty())
                .cloned()
                .collect();
            sets.push(first.clone());
            sets.sort();
            return Some(Cut {
                weight: total(weight, first),
                sets,
                smallest: looks < MOST_LOOKS,
            });
        }
        let before = paths.len();
        add(&mut paths, left);
        if paths.len() == before {
            return None;
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
    looks: usize,
}

impl<'a, T: Copy + Ord + std::hash::Hash> Search<'a, T> {
    fn new(weight: &'a dyn Fn(T) -> u64, paths: &'a [Vec<T>], most: usize, looks: usize) -> Self {
        let mut search = Self {
            weight,
            paths,
            most,
            best: u64::MAX,
            found: Vec::new(),
            looks,
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
        self.looks += (1 + self.paths.len()) * (1 + taken.len());
        if self.looks > MOST_LOOKS {
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
            let items: Vec<T> = path
                .iter()
                .copied()
                .filter(|item| !banned.contains(item))
                .collect();
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
