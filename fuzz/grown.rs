//! Changes of a site by its own grammar: parts of other sites, references to other names, values at the edge.

use std::collections::BTreeMap;

use toml::{Table, Value};

use crate::random::Random;

/// Values that fit somewhere and are at an edge, or harm.
const EDGES: [&str; 22] = [
    "",
    "any",
    "gateway",
    "internet",
    "tcp/0-65535",
    "tcp/1",
    "icmp",
    "icmp/3/4",
    "icmpv6",
    "ip/0-255",
    "0.0.0.0/0",
    "::/0",
    "10.44.10.1/31",
    "10.44.10.0/24",
    "255.255.255.255",
    "::ffff:0:0/96",
    "fe80::1",
    "1-4094",
    "2026-02-29",
    "e\u{301}",
    "\u{1f37a}",
    "x",
];

/// Parts of sites, by what they stand for.
pub struct Parts {
    parts: BTreeMap<String, Vec<Value>>,
    whole: Vec<Table>,
}

/// A way to a part: keys, and numbers of items.
type Way = Vec<Step>;

#[derive(Clone, PartialEq)]
enum Step {
    Key(String),
    Item(usize),
}

impl Parts {
    /// Of texts; those that are no TOML have none.
    pub fn new<'a>(texts: impl IntoIterator<Item = &'a str>) -> Self {
        let whole: Vec<Table> = texts
            .into_iter()
            .filter_map(|text| text.parse().ok())
            .collect();
        let mut parts: BTreeMap<String, Vec<Value>> = BTreeMap::new();
        for table in &whole {
            let root = Value::Table(table.clone());
            for way in ways(&root) {
                let part = at(&root, &way).expect("a way of this tree");
                parts
                    .entry(kind(&root, &way))
                    .or_default()
                    .push(part.clone());
            }
        }
        Self { parts, whole }
    }

    /// A site with a few changes, or two in one; as text.
    pub fn grown(&self, random: &mut Random, text: &str) -> Option<String> {
        let mut root = Value::Table(text.parse().ok()?);
        if random.percent(15) {
            let other = random.pick(&self.whole).clone();
            join(&mut root, Value::Table(other));
        }
        for _ in 0..random.between(1, 4) {
            self.change(random, &mut root);
        }
        toml::to_string(&root).ok()
    }

    fn change(&self, random: &mut Random, root: &mut Value) {
        let ways = ways(root);
        if ways.is_empty() {
            return;
        }
        let way = random.pick(&ways).clone();
        let kind = kind(root, &way);
        let same = self.parts.get(&kind).map_or(&[][..], Vec::as_slice);
        match random.below(7) {
            0 => take(root, &way),
            1 if !same.is_empty() => put(root, &way, random.pick(same).clone()),
            2 if !same.is_empty() => beside(root, &way, random.pick(same).clone()),
            3 => {
                let own = at(root, &way).cloned();
                own.into_iter().for_each(|own| beside(root, &way, own));
            }
            4 => edge(random, root, &way),
            5 => self.member(random, root, &way),
            _ => refer(random, root, &ways),
        }
    }

    /// A key that tables of this kind have elsewhere, with its value.
    fn member(&self, random: &mut Random, root: &mut Value, way: &[Step]) {
        let kind = kind(root, way);
        let Some(others) = self.parts.get(&kind) else {
            return;
        };
        let (Some(Value::Table(own)), Value::Table(other)) =
            (at_mut(root, way), random.pick(others))
        else {
            return;
        };
        let members: Vec<(&String, &Value)> = other.iter().collect();
        if !members.is_empty() {
            let (key, value) = *random.pick(&members);
            own.insert(key.clone(), value.clone());
        }
    }
}

/// The ways to all parts below the whole.
fn ways(root: &Value) -> Vec<Way> {
    let mut all: Vec<Way> = vec![Vec::new()];
    let mut next = 0;
    while let Some(way) = all.get(next).cloned() {
        let steps: Vec<Step> = match at(root, &way) {
            Some(Value::Table(table)) => table.keys().cloned().map(Step::Key).collect(),
            Some(Value::Array(items)) => (0..items.len()).map(Step::Item).collect(),
            _ => Vec::new(),
        };
        all.extend(steps.into_iter().map(|step| [&way[..], &[step]].concat()));
        next += 1;
    }
    all.split_off(1)
}

/// What a part stands for: `rules[]`, `segments.*`, `trust`.
fn kind(root: &Value, way: &[Step]) -> String {
    let Some((last, above)) = way.split_last() else {
        return String::new();
    };
    let named =
        matches!(at(root, above), Some(Value::Table(table)) if table.values().all(Value::is_table));
    match last {
        Step::Item(_) => format!("{}[]", kind(root, above)),
        Step::Key(_) if named && !above.is_empty() => format!("{}.*", kind(root, above)),
        Step::Key(key) => key.clone(),
    }
}

fn at<'a>(root: &'a Value, way: &[Step]) -> Option<&'a Value> {
    way.iter().try_fold(root, |value, step| match step {
        Step::Key(key) => value.get(key),
        Step::Item(number) => value.get(*number),
    })
}

fn at_mut<'a>(root: &'a mut Value, way: &[Step]) -> Option<&'a mut Value> {
    way.iter().try_fold(root, |value, step| match step {
        Step::Key(key) => value.get_mut(key),
        Step::Item(number) => value.get_mut(*number),
    })
}

fn put(root: &mut Value, way: &[Step], part: Value) {
    if let Some(place) = at_mut(root, way) {
        *place = part;
    }
}

fn take(root: &mut Value, way: &[Step]) {
    let Some((last, above)) = way.split_last() else {
        return;
    };
    match (at_mut(root, above), last) {
        (Some(Value::Table(table)), Step::Key(key)) => drop(table.remove(key)),
        (Some(Value::Array(items)), Step::Item(number)) => drop(items.remove(*number)),
        _ => {}
    }
}

/// Puts a part behind another one: as an item, or under a name of its own.
fn beside(root: &mut Value, way: &[Step], part: Value) {
    let Some((last, above)) = way.split_last() else {
        return;
    };
    match (at_mut(root, above), last) {
        (Some(Value::Table(table)), Step::Key(key)) => drop(table.insert(format!("{key}-2"), part)),
        (Some(Value::Array(items)), Step::Item(number)) => items.insert(*number, part),
        _ => {}
    }
}

/// Both sites in one; where both say something, the second does.
fn join(one: &mut Value, other: Value) {
    match (one, other) {
        (Value::Table(one), Value::Table(other)) => {
            for (key, value) in other {
                match one.get_mut(&key) {
                    Some(own) => join(own, value),
                    None => drop(one.insert(key, value)),
                }
            }
        }
        (Value::Array(one), Value::Array(other)) => one.extend(other),
        (one, other) => *one = other,
    }
}

/// A value at the edge of its type.
fn edge(random: &mut Random, root: &mut Value, way: &[Step]) {
    let Some(place) = at_mut(root, way) else {
        return;
    };
    match place {
        Value::Integer(number) => {
            *number = *random.pick(&[-1, 0, 1, 100, 4094, 4095, 65536, *number + 1, i64::MAX]);
        }
        Value::Boolean(yes) => *yes = !*yes,
        Value::Array(items) => items.reverse(),
        Value::String(text) => *text = (*random.pick(&EDGES)).to_owned(),
        _ => {}
    }
}

/// A reference to another thing of the same sort: a text that is a name becomes another name beside it.
fn refer(random: &mut Random, root: &mut Value, ways: &[Way]) {
    let texts = ways
        .iter()
        .filter(|way| at(root, way).is_some_and(Value::is_str));
    let texts: Vec<&Way> = texts.collect();
    if texts.is_empty() {
        return;
    }
    let way = *random.pick(&texts);
    let name = at(root, way).and_then(Value::as_str).unwrap_or_default();
    let beside = ways
        .iter()
        .find(|other| other.last() == Some(&Step::Key(name.to_owned())));
    let Some((_, above)) = beside.and_then(|other| other.split_last()) else {
        return;
    };
    if let Some(Value::Table(names)) = at(root, above) {
        let names: Vec<String> = names.keys().cloned().collect();
        put(root, way, Value::String(random.pick(&names).clone()));
    }
}
