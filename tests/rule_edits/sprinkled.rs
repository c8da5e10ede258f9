//! Random sites with comments and layouts of many kinds, of which each line knows whose it is.

use std::collections::BTreeMap;

use crate::random::Random;
use crate::random_site::random_site;

/// A gateway and the number of one of its rules.
pub type Owner = (String, usize);

/// Part that a line has in a rule.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Part {
    /// Its keys, its header or its braces.
    Body,
    /// A comment on its own line that belongs to it.
    Comment,
}

/// A line and whose it is.
#[derive(Clone, Debug)]
pub struct Line {
    pub text: String,
    pub owner: Option<(Owner, Part)>,
}

/// The keys of a rule with their values as text.
pub type Keys = Vec<(String, String)>;

/// A site.
pub struct Sprinkled {
    pub lines: Vec<Line>,
    /// The rules of each gateway.
    pub rules: BTreeMap<String, Vec<Keys>>,
}

impl Sprinkled {
    /// The text, with a line break behind each line but sometimes the last.
    pub fn text(&self, last_break: bool) -> String {
        let lines: Vec<&str> = self.lines.iter().map(|line| line.text.as_str()).collect();
        format!("{}{}", lines.join("\n"), if last_break { "\n" } else { "" })
    }
}

/// How the rules of a gateway are written.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Layout {
    Headers,
    BraceLines,
    OneLine,
}

/// The site of a seed.
pub fn sprinkled(seed: u64) -> Sprinkled {
    let text = random_site(seed);
    let (others, rules) = apart(&text);
    let mut writer = Writer {
        random: Random::new(seed ^ 0x5eed),
        lines: Vec::new(),
        comments: 0,
    };
    let mut late = Vec::new();
    for line in others {
        let gateway = line
            .strip_prefix("[gateways.")
            .and_then(|rest| rest.strip_suffix(']'));
        if line.starts_with('[') && writer.random.percent(10) {
            writer.heading();
        }
        writer.push(&line, None);
        let Some((name, rules)) = gateway.and_then(|name| rules.get_key_value(name)) else {
            continue;
        };
        let layouts = [
            Layout::Headers,
            Layout::Headers,
            Layout::BraceLines,
            Layout::OneLine,
        ];
        match *writer.random.pick(&layouts) {
            Layout::Headers => late.push(name.clone()),
            Layout::BraceLines => writer.brace_lines(name, rules),
            Layout::OneLine => writer.one_line(name, rules),
        }
    }
    for name in late {
        for (number, keys) in rules[&name].iter().enumerate() {
            writer.header_rule(&(name.clone(), number), keys);
        }
    }
    let lines = writer.lines;
    Sprinkled { lines, rules }
}

/// The lines of a site without rules, and the rules.
fn apart(text: &str) -> (Vec<String>, BTreeMap<String, Vec<Keys>>) {
    let mut others = Vec::new();
    let mut rules: BTreeMap<String, Vec<Keys>> = BTreeMap::new();
    let mut open: Option<String> = None;
    for line in text.lines() {
        let gateway = line
            .strip_prefix("[[gateways.")
            .and_then(|rest| rest.strip_suffix(".rules]]"));
        if let Some(gateway) = gateway {
            rules
                .entry(gateway.to_owned())
                .or_default()
                .push(Keys::new());
            open = Some(gateway.to_owned());
        } else if line.starts_with('[') {
            open = None;
            others.push(line.to_owned());
        } else if let Some(gateway) = &open {
            let (key, value) = line.split_once(" = ").expect("a key and a value");
            let list = rules.get_mut(gateway).expect("it was opened");
            let last = list.last_mut().expect("it was opened");
            last.push((key.to_owned(), value.to_owned()));
        } else {
            others.push(line.to_owned());
        }
    }
    (others, rules)
}

struct Writer {
    random: Random,
    lines: Vec<Line>,
    comments: usize,
}

impl Writer {
    fn push(&mut self, text: &str, owner: Option<(&Owner, Part)>) {
        let owner = owner.map(|(owner, part)| (owner.clone(), part));
        let text = text.to_owned();
        self.lines.push(Line { text, owner });
    }

    /// A comment that is there once only.
    fn comment(&mut self) -> String {
        self.comments += 1;
        let traps = [
            "",
            " = [",
            " [[gateways.x.rules]]",
            " '''",
            " \"\"\"",
            " },",
            " # #",
        ];
        format!("# {}{}", self.comments, self.random.pick(&traps))
    }

    fn own_comments(&mut self, indent: &str, owner: &Owner, chance: usize) {
        while self.random.percent(chance) {
            let comment = format!("{indent}{}", self.comment());
            self.push(&comment, Some((owner, Part::Comment)));
        }
    }

    fn blanks(&mut self) {
        for _ in 0..self.random.between(1, 2) {
            let blank = *self.random.pick(&["", "", "  ", "\t"]);
            self.push(blank, None);
        }
    }

    /// A comment with blank lines on both sides: nobody's.
    fn heading(&mut self) {
        self.blanks();
        let comment = self.comment();
        self.push(&comment, None);
        self.blanks();
    }

    fn behind(&mut self) -> String {
        if self.random.percent(20) {
            format!("  {}", self.comment())
        } else {
            String::new()
        }
    }

    fn header_rule(&mut self, owner: &Owner, keys: &Keys) {
        match self.random.below(4) {
            0 => self.heading(),
            1 | 2 => self.blanks(),
            _ => {}
        }
        self.own_comments("", owner, 30);
        let header = format!("[[gateways.{}.rules]]{}", owner.0, self.behind());
        self.push(&header, Some((owner, Part::Body)));
        for (number, (key, value)) in keys.iter().enumerate() {
            self.own_comments(" ", owner, 10);
            if number > 0 && self.random.percent(5) {
                self.push("", Some((owner, Part::Body)));
            }
            let value = self.value(value, true);
            let line = format!("{key} = {value}{}", self.behind());
            for piece in line.split('\n') {
                self.push(piece, Some((owner, Part::Body)));
            }
        }
        if self.random.percent(15) {
            self.own_comments("", owner, 60);
            self.blanks();
        }
    }

    /// A value in one of its spellings; lists also over several lines.
    fn value(&mut self, value: &str, may_break: bool) -> String {
        let mut value = value.to_owned();
        if self.random.percent(25) && value.contains('"') {
            value = value.replace('"', "'");
        }
        let Some(inner) = value
            .strip_prefix('[')
            .and_then(|rest| rest.strip_suffix(']'))
        else {
            return value;
        };
        if may_break && self.random.percent(20) {
            let last = *self.random.pick(&["", ","]);
            return format!("[\n    {}{last}\n]", inner.replace(", ", ",\n    "));
        }
        if !inner.contains(", ") && self.random.percent(30) {
            return inner.to_owned();
        }
        if self.random.percent(20) {
            format!("[ {inner} ]")
        } else {
            value
        }
    }

    fn in_braces(&mut self, keys: &Keys) -> String {
        let mut parts = Vec::new();
        for (key, value) in keys {
            let value = self.value(value, false);
            parts.push(format!("{key} = {value}"));
        }
        if self.random.percent(50) {
            format!("{{ {} }}", parts.join(", "))
        } else {
            format!("{{{}}}", parts.join(","))
        }
    }

    fn brace_lines(&mut self, gateway: &str, rules: &[Keys]) {
        // A list that loses all its rules closes up on one line.
        let all = (gateway.to_owned(), usize::MAX);
        self.push("rules = [", Some((&all, Part::Body)));
        let closed = self.random.percent(50);
        for (number, keys) in rules.iter().enumerate() {
            if number > 0 && self.random.percent(20) {
                self.heading();
            }
            let owner = (gateway.to_owned(), number);
            self.own_comments("  ", &owner, 30);
            let comma = if closed || number + 1 < rules.len() {
                ","
            } else {
                ""
            };
            let line = format!("  {}{comma}{}", self.in_braces(keys), self.behind());
            self.push(&line, Some((&owner, Part::Body)));
        }
        let end = format!("]{}", self.behind());
        self.push(&end, Some((&all, Part::Body)));
    }

    /// All rules on one line, which belongs to all of them: it may change with any.
    fn one_line(&mut self, gateway: &str, rules: &[Keys]) {
        let mut parts = Vec::new();
        for keys in rules {
            parts.push(self.in_braces(keys));
        }
        let last = *self.random.pick(&["", ",", " ", ", "]);
        let line = format!("rules = [{}{last}]", parts.join(", "));
        self.push(&line, Some((&(gateway.to_owned(), usize::MAX), Part::Body)));
    }
}
