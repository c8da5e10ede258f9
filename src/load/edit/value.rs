//! Lists of strings as the file writes them: changed with their layout, or written anew.

use std::ops::Range;

use toml::de::DeValue;
use toml_parser::lexer::TokenKind;

use super::cuts::Cuts;
use super::list::List;
use super::text::Text;

/// A list of one line may reach as far as this, in characters; a longer one gets a line for each item.
const LONGEST_LINE: usize = 110;
/// What an item on a line of its own is moved in by.
const STEP: &str = "    ";

/// How strings are put in quotes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Quotes {
    /// `"…"`.
    Double,
    /// `'…'`.
    Single,
}

impl Quotes {
    /// As a string of the text, which begins at a byte, has them.
    pub fn at(text: &Text<'_>, start: usize) -> Self {
        if text.text[start..].starts_with('\'') {
            Self::Single
        } else {
            Self::Double
        }
    }

    /// A string in quotes; in double ones where single ones can't hold it.
    fn put(self, item: &str) -> String {
        let unfit = |character: char| character == '\'' || character.is_control();
        if self == Self::Single && !item.contains(unfit) {
            return format!("'{item}'");
        }
        let mut out = String::from("\"");
        for character in item.chars() {
            match character {
                '"' | '\\' => out.extend(['\\', character]),
                control if control.is_control() => {
                    out.push_str(&format!("\\u{:04X}", u32::from(control)));
                }
                other => out.push(other),
            }
        }
        out.push('"');
        out
    }
}

/// Where a new list is written.
#[derive(Clone, Copy)]
pub(super) struct ValuePlace<'t> {
    /// White space that its line begins with.
    pub indent: &'t str,
    /// Characters in front of it on its line.
    pub column: usize,
    /// How lines end.
    pub line_break: &'t str,
    /// Whether it may take several lines.
    pub may_break: bool,
}

impl ValuePlace<'_> {
    /// A new list.
    pub fn list(self, items: &[String], quotes: Quotes) -> String {
        let quoted: Vec<String> = items.iter().map(|item| quotes.put(item)).collect();
        self.lay_out(&quoted, "")
    }

    /// Items on one line if they fit, else on a line each.
    fn lay_out(self, quoted: &[String], padding: &str) -> String {
        let line = format!("[{padding}{}{padding}]", quoted.join(", "));
        if self.may_break && self.column + line.chars().count() > LONGEST_LINE {
            self.spread(quoted)
        } else {
            line
        }
    }

    fn spread(self, quoted: &[String]) -> String {
        let Self {
            indent, line_break, ..
        } = self;
        let lines = quoted
            .iter()
            .map(|item| format!("{indent}{STEP}{item},{line_break}"));
        format!("[{line_break}{}{indent}]", lines.collect::<String>())
    }
}

/// A list that stands in the text, or a single string in the place of one.
pub(super) struct Written {
    range: Range<usize>,
    /// The strings with their places.
    items: Vec<(String, Range<usize>)>,
    /// Whether it stands in brackets.
    brackets: bool,
}

impl Written {
    /// A value; `None` where it is neither a string nor a list of strings.
    pub fn read(value: &toml::Spanned<DeValue<'_>>) -> Option<Self> {
        let string = |value: &toml::Spanned<DeValue<'_>>| match value.get_ref() {
            DeValue::String(text) => Some((text.to_string(), value.span())),
            _ => None,
        };
        let (items, brackets) = match value.get_ref() {
            DeValue::Array(array) => (array.iter().map(string).collect::<Option<_>>()?, true),
            _ => (vec![string(value)?], false),
        };
        Some(Self {
            range: value.span(),
            items,
            brackets,
        })
    }

    /// Its first byte.
    pub fn start(&self) -> usize {
        self.range.start
    }

    /// The strings.
    pub fn strings(&self) -> impl Iterator<Item = &str> {
        self.items.iter().map(|(text, _)| text.as_str())
    }

    /// The quotes of its first string.
    pub fn quotes(&self, text: &Text<'_>) -> Option<Quotes> {
        let (_, first) = self.items.first()?;
        Some(Quotes::at(text, first.start))
    }

    /// Gives it other items. `quotes` are for a list that has none yet.
    pub fn set(
        &self,
        text: &Text<'_>,
        items: &[String],
        (place, quotes): (ValuePlace<'_>, Quotes),
        cuts: &mut Cuts,
    ) {
        if self.strings().eq(items.iter().map(String::as_str)) {
            return;
        }
        let quotes = self.quotes(text).unwrap_or(quotes);
        let quoted: Vec<String> = items
            .iter()
            .map(|item| self.quoted(text, item, quotes))
            .collect();
        let several_lines = self.brackets && text.has(&self.range, TokenKind::Newline);
        let new = match (quoted.as_slice(), several_lines) {
            ([one], _) if !self.brackets => one.clone(),
            (_, false) => place.lay_out(&quoted, self.padding(text)),
            (_, true) if self.change_lines(text, items, &quoted, cuts) => return,
            (_, true) => place.spread(&quoted),
        };
        cuts.replace(self.range.clone(), new);
    }

    /// An item as it stands there already, or in quotes.
    fn quoted(&self, text: &Text<'_>, item: &str, quotes: Quotes) -> String {
        let same = self.items.iter().find(|(known, _)| known == item);
        match same {
            Some((_, range)) => text.text[range.clone()].to_owned(),
            None => quotes.put(item),
        }
    }

    /// The space behind the opening bracket.
    fn padding<'t>(&self, text: &Text<'t>) -> &'t str {
        match self.items.first() {
            Some((_, first)) if self.brackets => &text.text[self.range.start + 1..first.start],
            _ => "",
        }
    }

    /// Takes items out of a list of several lines and puts others behind, so that the comments in it stay.
    /// False, and nothing done, where the items that stay would change their order or none stays.
    fn change_lines(
        &self,
        text: &Text<'_>,
        items: &[String],
        quoted: &[String],
        cuts: &mut Cuts,
    ) -> bool {
        let mut kept = 0;
        let mut gone = vec![true; self.items.len()];
        for (number, (old, _)) in self.items.iter().enumerate() {
            if items.get(kept) == Some(old) {
                gone[number] = false;
                kept += 1;
            }
        }
        let Some(last) = gone.iter().rposition(|&gone| !gone) else {
            return false;
        };
        if items[kept..]
            .iter()
            .any(|item| self.strings().any(|old| old == item))
        {
            return false;
        }
        let list = List {
            range: self.range.clone(),
            items: self.items.iter().map(|(_, range)| range.clone()).collect(),
            open_end: true,
        };
        list.take_out(text, &gone, cuts);
        if kept < quoted.len() {
            append(text, &list, last, &quoted[kept..], cuts);
        }
        true
    }
}

/// Puts items behind one that stays: on lines of their own if that one has its lines for itself.
fn append(text: &Text<'_>, list: &List, last: usize, quoted: &[String], cuts: &mut Cuts) {
    let end = list.items[last].end;
    let Some(lines) = list.own_lines(text, last) else {
        cuts.add(end, format!(", {}", quoted.join(", ")));
        return;
    };
    if list.comma(text, last).is_none() {
        cuts.add(end, ",".to_owned());
    }
    let indent = text.indent(list.items[last].start);
    let line_break = text.line_break(end);
    let closed = list.comma(text, list.items.len() - 1).is_some();
    for (number, item) in quoted.iter().enumerate() {
        let comma = if closed || number + 1 < quoted.len() {
            ","
        } else {
            ""
        };
        let line = format!("{indent}{item}{comma}{line_break}");
        cuts.add(text.lines[lines.end - 1].range.end, line);
    }
}
