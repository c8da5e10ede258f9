//! Reads tables and values of a parsed file, each with its place, and says what is wrong with their shape.

use super::quote::{or_list, shown};
use toml::de::{DeTable, DeValue};

use boundwalk_diagnostic::{FileId, Problem, Span, Spanned};
use boundwalk_model::Date;

use super::keys::Keys;
use super::kinds;
use super::report::ProblemReport;

/// A value and the file it stands in.
#[derive(Clone, Copy)]
pub(super) struct Value<'a> {
    pub file: FileId,
    /// Where the key of the value, or the value itself in a list, stands.
    pub inner: &'a DeValue<'a>,
    pub span: Span,
}

/// A table whose keys are known to be accepted ones.
#[derive(Clone, Copy)]
pub(super) struct Table<'a> {
    pub file: FileId,
    /// Its header, brace or key.
    pub span: Span,
    entries: &'a DeTable<'a>,
    keys: &'static Keys,
}

/// A named value of a table of names.
#[derive(Clone, Copy)]
pub(super) struct Entry<'a> {
    pub name: Spanned<&'a str>,
    pub value: Value<'a>,
}

/// The words that a key takes and what each stands for.
pub(super) type Words<T> = [(&'static str, T)];

impl<'a> Table<'a> {
    /// The whole file.
    pub fn root(
        report: &mut ProblemReport,
        file: FileId,
        entries: &'a DeTable<'a>,
        keys: &'static Keys,
    ) -> Self {
        let table = Self {
            file,
            span: Span::new(file, 0, 0),
            entries,
            keys,
        };
        table.check_keys(report);
        table
    }

    /// The value as a table that takes `keys`. Reports keys it does not take and keys that are missing.
    pub fn open(report: &mut ProblemReport, value: Value<'a>, keys: &'static Keys) -> Option<Self> {
        let DeValue::Table(entries) = value.inner else {
            report.push(wrong_type(value, keys.what, "a table"));
            return None;
        };
        let table = Self {
            file: value.file,
            span: value.span,
            entries,
            keys,
        };
        table.check_keys(report);
        Some(table)
    }

    /// A table that was opened before: nothing is reported a second time.
    pub fn reopen(value: Value<'a>, keys: &'static Keys) -> Option<Self> {
        match value.inner {
            DeValue::Table(entries) => Some(Self {
                file: value.file,
                span: value.span,
                entries,
                keys,
            }),
            _ => None,
        }
    }

    /// From its header to the end of its last value.
    pub fn place(&self) -> Span {
        let end = self
            .entries
            .iter()
            .map(|(_, value)| value.span().end as u32)
            .fold(self.span.end, u32::max);
        Span::new(self.file, self.span.start, end)
    }

    /// The value of a key.
    pub fn get(&self, key: &str) -> Option<Value<'a>> {
        debug_assert!(
            self.keys.takes(key),
            "{key} is not listed for {}",
            self.keys.path
        );
        self.entries.get(key).map(|value| at(self.file, value))
    }

    /// Where a key stands, or the table where it is not given.
    pub fn key_span(&self, key: &str) -> Span {
        self.entries
            .get_key_value(key)
            .map_or(self.span, |(key, _)| span(self.file, key.span()))
    }

    /// A string.
    pub fn text(&self, report: &mut ProblemReport, key: &str) -> Option<Spanned<&'a str>> {
        let value = self.get(key)?;
        let text = value.text();
        if text.is_none() {
            report.push(wrong_type(value, key, "a string"));
        }
        text
    }

    /// Text for people; empty where it is not given.
    pub fn prose(&self, report: &mut ProblemReport, key: &str) -> String {
        self.note(report, key).unwrap_or_default()
    }

    /// Text for people, where it is given.
    pub fn note(&self, report: &mut ProblemReport, key: &str) -> Option<String> {
        let text = self.text(report, key)?;
        super::text::check_prose(report, key, text);
        Some(text.value.to_owned())
    }

    /// A boolean.
    pub fn flag(&self, report: &mut ProblemReport, key: &str) -> Option<Spanned<bool>> {
        let value = self.get(key)?;
        match value.inner {
            DeValue::Boolean(flag) => Some(Spanned::new(*flag, value.span)),
            _ => {
                report.push(wrong_type(value, key, "true or false"));
                None
            }
        }
    }

    /// A whole number.
    pub fn integer(&self, report: &mut ProblemReport, key: &str) -> Option<Spanned<i128>> {
        let value = self.get(key)?;
        let number = value.integer();
        if number.is_none() {
            report.push(wrong_type(value, key, "a whole number"));
        }
        number
    }

    /// One of several words.
    pub fn word<T: Copy>(
        &self,
        report: &mut ProblemReport,
        key: &str,
        words: &'static Words<T>,
    ) -> Option<Spanned<T>> {
        let text = self.text(report, key)?;
        let found = words.iter().find(|(word, _)| *word == text.value);
        if found.is_none() {
            let listed: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            let all = or_list(&listed);
            let help = report.did_you_mean(text.value, listed, || format!("write {all}"));
            let message = format!("`{key}` takes {all}, not `{}`", shown(text.value));
            report.push(Problem::at(&kinds::BAD_WORD, text.span, message).help(help));
        }
        found.map(|&(_, meaning)| Spanned::new(meaning, text.span))
    }

    /// A day.
    pub fn date(&self, report: &mut ProblemReport, key: &str) -> Option<Spanned<Date>> {
        let value = self.get(key)?;
        let DeValue::Datetime(datetime) = value.inner else {
            let problem = wrong_type(value, key, "a date");
            report.push(problem.help("write a date without quotes, as in 2026-03-01"));
            return None;
        };
        let day = match (datetime.date, datetime.time) {
            (Some(day), None) => Date::new(day.year as i16, day.month as i8, day.day as i8).ok(),
            _ => None,
        };
        if day.is_none() {
            let message = format!("`{key}` takes a calendar day without a time");
            let problem = Problem::at(&kinds::BAD_DATE, value.span, message);
            report.push(problem.help("write year, month and day, as in 2026-03-01"));
        }
        day.map(|day| Spanned::new(day, value.span))
    }

    /// A string or a list of strings. A list without items is an error: it reads as "all" and would mean
    /// "none".
    pub fn strings(&self, report: &mut ProblemReport, key: &str) -> Option<Vec<Spanned<&'a str>>> {
        let value = self.get(key)?;
        let strings = value.strings(report, key)?;
        if strings.is_empty() {
            let message = format!("`{key}` is an empty list");
            let problem =
                Problem::at(&kinds::EMPTY_LIST, value.span, message).label("holds nothing");
            let meaning = if self.keys.required.contains(&key) {
                "name at least one"
            } else {
                "leave the key out if nothing is to be said about it"
            };
            report.push(problem.help(meaning));
            return None;
        }
        Some(strings)
    }

    /// A string or a list of strings, which may be empty; none where the key is not given.
    pub fn strings_or_none(&self, report: &mut ProblemReport, key: &str) -> Vec<Spanned<&'a str>> {
        let strings = self.get(key).and_then(|value| value.strings(report, key));
        strings.unwrap_or_default()
    }

    /// The entries of a table of names, in the order of the file.
    pub fn entries(&self, report: &mut ProblemReport, key: &str) -> Vec<Entry<'a>> {
        let Some(value) = self.get(key) else {
            return Vec::new();
        };
        let DeValue::Table(table) = value.inner else {
            report.push(wrong_type(value, key, "a table of names"));
            return Vec::new();
        };
        let mut entries: Vec<Entry<'a>> = table
            .iter()
            .map(|(name, value)| Entry {
                name: Spanned::new(name.get_ref().as_ref(), span(self.file, name.span())),
                value: at(self.file, value),
            })
            .collect();
        // The map is sorted by name.
        entries.sort_by_key(|entry| entry.name.span);
        entries
    }

    /// The items of a list of tables.
    pub fn items(&self, report: &mut ProblemReport, key: &str) -> Vec<Value<'a>> {
        let Some(value) = self.get(key) else {
            return Vec::new();
        };
        let DeValue::Array(array) = value.inner else {
            let problem = wrong_type(value, key, "a list of tables");
            report.push(problem.help(format!(
                "begin each with a header in double brackets that ends in `{key}`"
            )));
            return Vec::new();
        };
        array.iter().map(|item| at(self.file, item)).collect()
    }

    fn check_keys(&self, report: &mut ProblemReport) {
        for (key, _) in self.entries.iter() {
            if !self.keys.takes(key.get_ref()) {
                self.report_unknown(report, key.get_ref(), span(self.file, key.span()));
            }
        }
        for key in self.keys.required {
            if !self.entries.contains_key(*key) {
                let message = format!("{} needs `{key}`", self.keys.what);
                let problem = Problem::at(&kinds::MISSING_KEY, self.span, message);
                report.push(problem.help(format!("add `{key} = …`")));
            }
        }
    }

    fn report_unknown(&self, report: &mut ProblemReport, key: &str, span: Span) {
        let all: Vec<&str> = self.keys.all().collect();
        let listed = all.join(", ");
        let help = report.did_you_mean(key, all, || format!("it takes {listed}"));
        let message = format!("{} takes no key `{}`", self.keys.what, shown(key));
        report.push(
            Problem::at(&kinds::UNKNOWN_KEY, span, message)
                .label("unknown key")
                .help(help),
        );
    }
}

impl<'a> Value<'a> {
    /// As a string.
    pub fn text(&self) -> Option<Spanned<&'a str>> {
        match self.inner {
            DeValue::String(text) => Some(Spanned::new(text.as_ref(), self.span)),
            _ => None,
        }
    }

    /// As a whole number.
    pub fn integer(&self) -> Option<Spanned<i128>> {
        let DeValue::Integer(number) = self.inner else {
            return None;
        };
        // A number too long even for this is as far out of every range as the largest.
        let value = i128::from_str_radix(number.as_str(), number.radix()).unwrap_or(i128::MAX);
        Some(Spanned::new(value, self.span))
    }

    /// As a list; `None` for a value of another type.
    pub fn list(&self) -> Option<Vec<Value<'a>>> {
        match self.inner {
            DeValue::Array(array) => Some(array.iter().map(|item| at(self.file, item)).collect()),
            _ => None,
        }
    }

    /// As a string or a list of strings.
    pub fn strings(&self, report: &mut ProblemReport, key: &str) -> Option<Vec<Spanned<&'a str>>> {
        const EXPECTED: &str = "a string or a list of strings";
        if let Some(text) = self.text() {
            return Some(vec![text]);
        }
        let Some(items) = self.list() else {
            report.push(wrong_type(*self, key, EXPECTED));
            return None;
        };
        let mut sound = true;
        let mut strings = Vec::with_capacity(items.len());
        for item in items {
            match item.text() {
                Some(text) => strings.push(text),
                None => {
                    report.push(wrong_type(item, key, EXPECTED));
                    sound = false;
                }
            }
        }
        sound.then_some(strings)
    }
}

/// The problem of a value of the wrong type.
pub(super) fn wrong_type(value: Value<'_>, key: &str, expected: &str) -> Problem {
    let found = match value.inner {
        DeValue::String(_) => "a string",
        DeValue::Integer(_) => "an integer",
        DeValue::Float(_) => "a number with a fraction",
        DeValue::Boolean(_) => "a boolean",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    };
    let message = format!("`{key}`: expected {expected}, found {found}");
    Problem::at(&kinds::WRONG_TYPE, value.span, message).label(format!("expected {expected}"))
}

/// A range of bytes of a file. Files are at most 64 MiB, so offsets fit.
pub(super) fn span(file: FileId, range: std::ops::Range<usize>) -> Span {
    Span::new(file, range.start as u32, range.end as u32)
}

fn at<'a>(file: FileId, value: &'a toml::Spanned<DeValue<'a>>) -> Value<'a> {
    Value {
        file,
        inner: value.get_ref(),
        span: span(file, value.span()),
    }
}
