//! A reading by hand of who can reach what, as Markdown tables: how they are written, and nothing what
//! they mean.

use std::collections::BTreeMap;

use boundwalk::load::services;
use boundwalk::model::{Family, Service, Site};

/// What one cell of a table says, or one line of a list.
#[derive(Clone, Debug)]
pub struct Written {
    pub from: String,
    pub to: String,
    pub family: Family,
    pub entries: Vec<Entry>,
    /// Line of the file, from 1.
    pub line: usize,
}

/// `sender > receiver services, but not address services, arrives at address services [rule]`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    pub sender: Option<String>,
    pub receiver: Option<String>,
    pub services: Services,
    pub except: Option<(String, Services)>,
    pub arrives: Option<(String, Option<Services>)>,
    /// Name of the rule, not its short form.
    pub rule: String,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Services {
    All,
    /// As in a site file: `tcp/80`.
    These(Vec<String>),
}

impl Services {
    pub fn of(&self, site: &Site) -> Vec<Service> {
        match self {
            Self::All => vec![Service::Any],
            Self::These(items) => {
                let read = |item: &String| services(site, item).expect("a service of the reading");
                items.iter().flat_map(read).collect()
            }
        }
    }
}

/// A file read.
#[derive(Debug)]
pub struct HandTable {
    /// Short forms of rule names, and the names.
    pub rules: BTreeMap<String, String>,
    pub cells: Vec<Written>,
}

impl HandTable {
    /// Every service named, so that a network can be asked to tell them apart.
    pub fn all_services(&self, site: &Site) -> Vec<Service> {
        let named = self
            .cells
            .iter()
            .flat_map(|cell| &cell.entries)
            .flat_map(|entry| {
                let except = entry.except.iter().map(|(_, services)| services);
                let arrives = entry
                    .arrives
                    .iter()
                    .filter_map(|(_, services)| services.as_ref());
                except.chain(arrives).chain([&entry.services])
            });
        named.flat_map(|services| services.of(site)).collect()
    }

    pub fn parse(text: &str) -> Self {
        let mut reader = Reader {
            line: 0,
            family: Family::V4,
            header: Vec::new(),
            rules: BTreeMap::new(),
            letters: BTreeMap::new(),
            cells: Vec::new(),
        };
        for (number, line) in text.lines().enumerate() {
            reader.line = number + 1;
            reader.line(line);
        }
        Self {
            rules: reader.rules,
            cells: reader.cells,
        }
    }
}

struct Reader {
    line: usize,
    family: Family,
    /// Cells of the header of the table being read.
    header: Vec<String>,
    rules: BTreeMap<String, String>,
    /// Entries that a letter stands for.
    letters: BTreeMap<String, String>,
    cells: Vec<Written>,
}

impl Reader {
    fn line(&mut self, line: &str) {
        if let Some(heading) = line.strip_prefix("## ") {
            self.family = if heading.starts_with("IPv6") {
                Family::V6
            } else {
                Family::V4
            };
        } else if let Some((letter, rest)) = line.split_once("` stands for `") {
            let letter = letter.trim_start_matches("- `").to_owned();
            let entry = rest.split('`').next().unwrap_or_default();
            self.letters.insert(letter, entry.to_owned());
        } else if line.starts_with('|') {
            let inner = line.trim().trim_start_matches('|').trim_end_matches('|');
            let cells: Vec<String> = inner
                .split('|')
                .map(|cell| cell.trim().to_owned())
                .collect();
            self.row(cells);
        } else {
            self.header.clear();
        }
    }

    fn row(&mut self, cells: Vec<String>) {
        if self.header.is_empty() {
            self.header = cells;
        } else if cells.iter().all(|cell| cell.starts_with("---")) {
        } else if self.header[0] == "short" {
            for pair in cells.chunks(2) {
                self.rules.insert(pair[0].clone(), pair[1].clone());
            }
        } else if self.header[0] == "from" {
            self.cell(&cells[0], &cells[1], &cells[2]);
        } else {
            let (from, header) = (cells[0].trim_matches('*').to_owned(), self.header.clone());
            assert_eq!(cells.len(), header.len(), "line {}", self.line);
            for (to, text) in header.iter().zip(&cells).skip(1) {
                self.cell(&from, to, text);
            }
        }
    }

    fn cell(&mut self, from: &str, to: &str, text: &str) {
        let parts = text
            .split("; ")
            .filter(|part| !part.is_empty() && *part != "–");
        let entries = parts.map(|part| self.entry(part)).collect();
        self.cells.push(Written {
            from: from.to_owned(),
            to: to.to_owned(),
            family: self.family,
            entries,
            line: self.line,
        });
    }

    fn entry(&self, text: &str) -> Entry {
        let (sender, rest) = match text.split_once("> ") {
            Some((sender, rest)) => (Some(sender.trim()), rest),
            None => (None, text),
        };
        let sender = sender.filter(|sender| !sender.is_empty() && *sender != "all others");
        // After `>` comes a receiver, unless a service or a letter follows at once.
        let (first, after) = rest.split_once(' ').unwrap_or((rest, ""));
        let named =
            rest.len() != text.len() && !self.letters.contains_key(first) && !is_service(first);
        let (receiver, rest) = if named {
            (Some(first), after)
        } else {
            (None, rest)
        };
        let rest = self.letters.get(rest).map_or(rest, String::as_str);
        let (rest, short) = rest
            .strip_suffix(']')
            .and_then(|rest| rest.split_once(" ["))
            .unwrap_or_else(|| panic!("line {}: no rule in `{text}`", self.line));
        let rule = self.rules.get(short);
        let rule = rule.unwrap_or_else(|| panic!("line {}: which rule is [{short}]?", self.line));
        let (rest, arrives) = split(rest, ", arrives at ");
        let (services, except) = split(rest, ", but not ");
        let owned = |text: &str| text.to_owned();
        Entry {
            sender: sender.map(owned),
            receiver: receiver.map(owned),
            services: self.services(services),
            except: except.map(|(address, services)| (owned(address), self.services(services))),
            arrives: arrives.map(|(address, services)| {
                let services = (!services.is_empty()).then(|| self.services(services));
                (owned(address), services)
            }),
            rule: rule.clone(),
        }
    }

    /// `tcp 80, 443, udp 443`: a protocol holds until the next.
    fn services(&self, text: &str) -> Services {
        if text == "all" || text == "all the rest" {
            return Services::All;
        }
        let mut protocol = "";
        let items = text.split(", ").map(|item| {
            let (word, number) = item.split_once(' ').unwrap_or((protocol, item));
            protocol = word;
            assert!(
                is_service(word) && number.starts_with(|first: char| first.is_ascii_digit()),
                "line {}: no service: `{text}`",
                self.line
            );
            format!("{word}/{number}")
        });
        Services::These(items.collect())
    }
}

fn is_service(word: &str) -> bool {
    ["all", "tcp", "udp", "icmp", "icmpv6"].contains(&word)
}

/// What stands before a mark, and the word and the rest behind it.
fn split<'t>(text: &'t str, mark: &str) -> (&'t str, Option<(&'t str, &'t str)>) {
    match text.split_once(mark) {
        Some((before, after)) => (before, Some(after.split_once(' ').unwrap_or((after, "")))),
        None => (text, None),
    }
}
