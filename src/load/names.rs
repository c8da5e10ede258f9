//! Tables of names: what is called how, and where it was named first.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};

use super::kinds;
use super::quote::shown;
use super::report::ProblemReport;

/// Names of one kind of thing, numbered in the order of the input.
pub(super) struct NameTable<'a> {
    /// "zone" and the like.
    pub what: &'static str,
    places: Vec<Spanned<&'a str>>,
    numbers: FxHashMap<&'a str, usize>,
}

impl<'a> NameTable<'a> {
    /// An empty table.
    pub fn new(what: &'static str) -> Self {
        Self {
            what,
            places: Vec::new(),
            numbers: FxHashMap::default(),
        }
    }

    /// Takes a name in; a name that is there already is reported and gets no number.
    pub fn add(&mut self, report: &mut ProblemReport, name: Spanned<&'a str>) -> Option<usize> {
        if let Some(first) = self.find(name.value) {
            report.push(twice(self.what, name, self.places[first].span));
            return None;
        }
        self.numbers.insert(name.value, self.places.len());
        self.places.push(name);
        Some(self.places.len() - 1)
    }

    /// The number of a name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.numbers.get(name).copied()
    }

    /// All names in order.
    pub fn iter(&self) -> impl Iterator<Item = &'a str> + '_ {
        self.places.iter().map(|name| name.value)
    }

    /// The name of a number, with its place.
    pub fn name(&self, number: usize) -> Spanned<&'a str> {
        self.places[number]
    }

    /// How many names there are.
    pub fn len(&self) -> usize {
        self.places.len()
    }

    /// The number of a name; an unknown one is reported with the nearest spelling.
    pub fn require(&self, report: &mut ProblemReport, name: Spanned<&str>) -> Option<usize> {
        let found = self.find(name.value);
        if found.is_none() {
            let help =
                report.did_you_mean(name.value, self.iter(), || some_of(self.what, self.iter()));
            let message = format!("no {} is called `{}`", self.what, shown(name.value));
            let problem = Problem::at(&kinds::UNKNOWN_NAME, name.span, message);
            report.push(problem.label("unknown name").help(help));
        }
        found
    }
}

/// The problem of a name given twice.
pub(super) fn twice(what: &str, name: Spanned<&str>, first: Span) -> Problem {
    let message = format!("two {what}s are called `{}`", shown(name.value));
    let problem = Problem::at(&kinds::DUPLICATE_NAME, name.span, message).label("named again here");
    problem
        .note(first, "first named here")
        .help("rename one, or join the two in one place")
}

/// "known zones: a, b, c, …".
pub(super) fn some_of<'n>(what: &str, names: impl Iterator<Item = &'n str>) -> String {
    const FEW: usize = 8;
    let mut names = names.peekable();
    if names.peek().is_none() {
        return format!("no {what} is described yet");
    }
    let mut few: Vec<String> = names.by_ref().take(FEW).map(shown).collect();
    if names.peek().is_some() {
        few.push("…".to_owned());
    }
    format!("known here: {}", few.join(", "))
}
