//! Packet sets as binary decision diagrams: another way to the same answers,
//! which shares nothing with the algebra under test but the bounds of intervals.

use std::collections::HashMap;

use boundwalk::packet::{Field, IntervalSet, PacketBox, Point, Space};
use num_bigint::BigUint;
use oxidd::bdd::{BDDFunction, BDDManagerRef};
use oxidd::util::{OptBool, SatCountCache, num::Natural};
use oxidd::{BooleanFunction, Manager, ManagerRef, VarNo};

/// A variable per bit, fields in their order, the highest bit of each first: so
/// the order of variables is the order of points.
pub struct Diagrams {
    manager: BDDManagerRef,
    /// First variable and number of variables of each field.
    fields: [(VarNo, u32); Field::COUNT],
    variables: VarNo,
    known: HashMap<(Field, IntervalSet), BDDFunction>,
}

impl Diagrams {
    /// For spaces whose tops are one less than a power of two.
    pub fn new(space: &Space) -> Self {
        Self::with_memory(space, 1 << 22, 1 << 20)
    }

    /// The same with room for so many nodes and remembered results.
    pub fn with_memory(space: &Space, nodes: usize, results: usize) -> Self {
        let mut variables = 0;
        let fields = Field::ALL.map(|field| {
            let top = space.top(field);
            assert!(
                top & top.wrapping_add(1) == 0,
                "{field:?} must fill its bits"
            );
            let bits = 128 - top.leading_zeros();
            variables += bits;
            (variables - bits, bits)
        });
        let manager = oxidd::bdd::new_manager(nodes, results, 1);
        manager.with_manager_exclusive(|m| m.add_vars(variables));
        Self {
            manager,
            fields,
            variables,
            known: HashMap::new(),
        }
    }

    pub fn constant(&self, value: bool) -> BDDFunction {
        self.manager.with_manager_shared(|m| {
            if value {
                BDDFunction::t(m)
            } else {
                BDDFunction::f(m)
            }
        })
    }

    pub fn of_set(&mut self, field: Field, set: &IntervalSet) -> BDDFunction {
        if let Some(known) = self.known.get(&(field, set.clone())) {
            return known.clone();
        }
        let mut all = self.constant(false);
        for interval in set.intervals() {
            let from = self.bounded(field, interval.low(), true);
            let to = self.bounded(field, interval.high(), false);
            all = or(&all, &and(&from, &to));
        }
        self.known.insert((field, set.clone()), all.clone());
        all
    }

    pub fn of_box(&mut self, packets: &PacketBox) -> BDDFunction {
        // Later fields first: each conjunction then adds nodes on top only.
        Field::ALL
            .into_iter()
            .rev()
            .fold(self.constant(true), |all, field| {
                and(&self.of_set(field, packets.field(field)), &all)
            })
    }

    pub fn holds(&self, set: &BDDFunction, point: &Point) -> bool {
        let bits = Field::ALL.into_iter().flat_map(|field| {
            let (first, bits) = self.fields[field.index()];
            let value = point.get(field);
            (0..bits).map(move |bit| (first + bit, value >> (bits - 1 - bit) & 1 == 1))
        });
        set.eval(bits)
    }

    /// The lowest point held, found by preferring zeros; `None` when empty.
    pub fn lowest(&self, set: &BDDFunction) -> Option<Point> {
        if !set.satisfiable() {
            return None;
        }
        let cube = set.pick_cube(|_, _, _| false)?;
        let mut lowest = Point::default();
        for field in Field::ALL {
            let (first, bits) = self.fields[field.index()];
            let value = (0..bits)
                .filter(|bit| cube[(first + bit) as usize] == OptBool::True)
                .map(|bit| 1u128 << (bits - 1 - bit))
                .sum();
            lowest = lowest.with(field, value);
        }
        Some(lowest)
    }

    pub fn size(&self, set: &BDDFunction) -> BigUint {
        let mut cache: SatCountCache<Natural, std::hash::RandomState> = SatCountCache::default();
        let count = set.sat_count(self.variables, &mut cache);
        count.to_string().parse().expect("a decimal number")
    }

    /// The values of `field` from `bound` upwards, or up to it.
    fn bounded(&self, field: Field, bound: u128, upwards: bool) -> BDDFunction {
        let (first, bits) = self.fields[field.index()];
        // From the lowest bit up: what is beyond the bound so far, or equal.
        (0..bits).fold(self.constant(true), |rest, bit| {
            let variable = self.variable(first + bits - 1 - bit);
            match (upwards, bound >> bit & 1 == 1) {
                (true, true) => and(&variable, &rest),
                (true, false) => or(&variable, &rest),
                (false, true) => or(&not(&variable), &rest),
                (false, false) => and(&not(&variable), &rest),
            }
        })
    }

    fn variable(&self, number: VarNo) -> BDDFunction {
        self.manager
            .with_manager_shared(|m| BDDFunction::var(m, number))
            .expect(MEMORY)
    }
}

pub fn and(a: &BDDFunction, b: &BDDFunction) -> BDDFunction {
    a.and(b).expect(MEMORY)
}

pub fn or(a: &BDDFunction, b: &BDDFunction) -> BDDFunction {
    a.or(b).expect(MEMORY)
}

pub fn not(a: &BDDFunction) -> BDDFunction {
    a.not().expect(MEMORY)
}

const MEMORY: &str = "the diagrams fit into their memory";
