//! How hard a rule set is to keep in one's head.

use rustc_hash::FxHashSet;

use boundwalk_model::{Router, Rule};

/// Rules, plus objects that they name, plus pairs of interfaces.
///
/// *A Quantitative Study of Firewall Configuration Errors* (Computer 37, 2004) counts rules, objects and interfaces; the
/// number of mistakes grew with it, and did so again in *Firewall Configuration Errors Revisited* (2009). That interfaces
/// count by pairs was not read there.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Complexity {
    /// Rules, whatever their state.
    pub rules: usize,
    /// Distinct items that the rules name as source, destination or service.
    pub objects: usize,
    /// Interfaces.
    pub interfaces: usize,
}

impl Complexity {
    /// Counts for a gateway; all 0 for a router without rules but its interfaces.
    pub fn new(router: &Router) -> Self {
        let rules = router.filter().map_or(&[][..], |filter| &filter.rules);
        let named = rules.iter().flat_map(items);
        Self {
            rules: rules.len(),
            objects: named.collect::<FxHashSet<_>>().len(),
            interfaces: router.interfaces.len(),
        }
    }

    /// `rules + objects + interfaces * (interfaces - 1) / 2`.
    pub fn total(&self) -> usize {
        let pairs = self.interfaces * self.interfaces.saturating_sub(1) / 2;
        self.rules + self.objects + pairs
    }
}

/// What a rule names, and whether it is a service.
fn items(rule: &Rule) -> impl Iterator<Item = (bool, &str)> {
    let addresses = [&rule.source, &rule.destination]
        .into_iter()
        .flatten()
        .flat_map(|field| &field.written);
    let services = rule.services.iter().flat_map(|field| &field.written);
    addresses
        .map(|item| (false, item.value.as_str()))
        .chain(services.map(|item| (true, item.value.as_str())))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 50 rules, 200 objects, and 6 pairs of 4 interfaces.
    #[test]
    fn rules_objects_and_pairs_of_interfaces() {
        let complexity = Complexity {
            rules: 50,
            objects: 200,
            interfaces: 4,
        };
        assert_eq!(complexity.total(), 256);
    }
}
