//! What the test of the matrix looked at.

use std::collections::BTreeMap;

use boundwalk::analysis::{By, Cell, Extent, HostileReach, Reading};

/// What was seen, so that a test that compares nothing with nothing fails.
#[derive(Default, Debug)]
pub struct Seen {
    counts: BTreeMap<&'static str, usize>,
}

impl Seen {
    pub fn add(&mut self, what: &'static str, count: usize) {
        *self.counts.entry(what).or_default() += count;
    }

    pub fn and(mut self, other: Self) -> Self {
        other
            .counts
            .into_iter()
            .for_each(|(what, count)| self.add(what, count));
        self
    }

    pub fn count(&mut self, cell: &Cell, by: By) {
        let open = !cell.some.is_empty();
        let every = !cell.every.is_empty();
        let mut count = |what, holds: bool| self.add(what, usize::from(holds));
        let pair = cell.reading == Reading::Pair;
        let larger = matches!(cell.hostile, HostileReach::Larger(_));
        count("cells", pair);
        count("open", open);
        count("open between hosts", open && by == By::Host);
        count("one-way", cell.two_way == Extent::None);
        count("partly answered", cell.two_way == Extent::Some);
        count("unfiltered", cell.filtered == Extent::None);
        count("partly filtered", cell.filtered == Extent::Some);
        count("every packet of some services", every);
        count(
            "some packets only of others",
            every && cell.every != cell.some,
        );
        count("no service wholly", open && !every);
        count("hostile larger", pair && larger);
        count("hostile without a plain one", !pair && larger);
        count(
            "hostile the same",
            pair && cell.hostile == HostileReach::Same,
        );
        count("several rules", 1 < cell.rules.len());
    }

    /// A half or a third of what is there.
    pub fn assert_varied(&self) {
        let least = [
            ("packets", 1_000_000),
            ("hostile packets", 1_500_000),
            ("cells", 2_000),
            ("open", 800),
            ("open between hosts", 150),
            ("one-way", 4),
            ("partly answered", 80),
            ("unfiltered", 400),
            ("partly filtered", 40),
            ("every packet of some services", 700),
            ("some packets only of others", 10),
            ("no service wholly", 100),
            ("hostile larger", 250),
            ("hostile without a plain one", 300),
            ("hostile the same", 1_500),
            ("several rules", 60),
            ("open zones", 300),
            ("flows", 1_000),
            ("translated flows", 40),
            ("open when narrowed", 200),
        ];
        for (what, least) in least {
            let seen = self.counts.get(what).copied().unwrap_or(0);
            assert!(least <= seen, "too tame: {seen} {what}: {self:#?}");
        }
    }
}
