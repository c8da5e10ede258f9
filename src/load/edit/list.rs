//! Items between brackets or braces, parted by commas: taking some out.

use std::ops::Range;

use toml_parser::lexer::TokenKind;

use super::cuts::Cuts;
use super::text::{Holds, Piece, Text};

/// A list of items in a text: an array, or the keys with their values of a table in braces.
pub(super) struct List {
    /// From the opening bracket to the closing one.
    pub range: Range<usize>,
    /// The items in order, without commas.
    pub items: Vec<Range<usize>>,
    /// Whether a comma may stay behind the last item. In braces older readers take none (TOML 1.0.0, inline table).
    pub open_end: bool,
}

impl List {
    /// Takes items out: whole lines with the comments directly above where an item has its lines for itself,
    /// else the item and its comma.
    pub fn take_out(&self, text: &Text<'_>, gone: &[bool], cuts: &mut Cuts) {
        let inner = self.range.start + 1..self.range.end - 1;
        if gone.iter().all(|&gone| gone) && !text.has(&inner, TokenKind::Comment) {
            cuts.bytes(inner);
            return;
        }
        for number in (0..self.items.len()).filter(|&number| gone[number]) {
            if let Some(lines) = self.own_lines(text, number) {
                cuts.lines(lines);
                if !self.open_end && self.comma(text, number).is_none() {
                    self.cut_comma_before(text, gone, number, cuts);
                }
            } else if let Some(comma) = self.comma(text, number) {
                cuts.bytes(self.with_space(text, number, comma.range.end));
            } else {
                self.cut_comma_before(text, gone, number, cuts);
                cuts.bytes(self.items[number].clone());
            }
        }
    }

    /// The comma behind an item.
    pub fn comma(&self, text: &Text<'_>, number: usize) -> Option<Piece> {
        let next = text
            .tokens_from(self.items[number].end)
            .find(|token| !is_space(token));
        next.filter(|token| token.kind == TokenKind::Comma)
    }

    /// The lines of an item, and of the comments directly above it, if nothing else stands on them.
    pub fn own_lines(&self, text: &Text<'_>, number: usize) -> Option<Range<usize>> {
        let item = &self.items[number];
        let mut first = text.line_at(item.start);
        let last = text.line_at(item.end - 1);
        let start = text.lines[first].range.start;
        let before = text.text[start..item.start].trim_matches([' ', '\t']);
        let end = text.lines[last].range.end;
        let mut behind = text.tokens_from(item.end);
        let mut next = behind.find(|token| token.kind != TokenKind::Whitespace);
        if next
            .as_ref()
            .is_some_and(|token| token.kind == TokenKind::Comma)
        {
            next = behind.find(|token| token.kind != TokenKind::Whitespace);
        } else if self.comma(text, number).is_some() {
            // The comma stands on a line below.
            return None;
        }
        let alone = next.is_none_or(|token| {
            token.range.start >= end
                || matches!(token.kind, TokenKind::Comment | TokenKind::Newline)
        });
        if !before.is_empty() || !alone || start <= self.range.start {
            return None;
        }
        let opening = text.line_at(self.range.start);
        while first > opening + 1 && text.lines[first - 1].holds == Holds::Comment {
            first -= 1;
        }
        Some(first..last + 1)
    }

    /// An item with its comma, which ends at `end`, and the space behind; at the end of a line rather the space
    /// in front.
    fn with_space(&self, text: &Text<'_>, number: usize, end: usize) -> Range<usize> {
        let start = self.items[number].start;
        let space = spaces_at(text, end);
        if text.text[end + space..].starts_with(['\r', '\n']) {
            start - spaces_before(text, start)..end
        } else {
            start..end + space
        }
    }

    /// Takes out the comma behind the last item that stays, and the space behind that.
    fn cut_comma_before(&self, text: &Text<'_>, gone: &[bool], number: usize, cuts: &mut Cuts) {
        let Some(kept) = (0..number).rfind(|&before| !gone[before]) else {
            return;
        };
        if let Some(comma) = self.comma(text, kept) {
            let end = comma.range.end;
            cuts.bytes(comma.range.start..end + spaces_at(text, end));
        }
    }
}

fn is_space(token: &Piece) -> bool {
    matches!(
        token.kind,
        TokenKind::Whitespace | TokenKind::Newline | TokenKind::Comment
    )
}

/// How many spaces and tabs stand at a byte.
fn spaces_at(text: &Text<'_>, at: usize) -> usize {
    let rest = &text.text[at..];
    rest.len() - rest.trim_start_matches([' ', '\t']).len()
}

/// How many spaces and tabs stand in front of a byte.
fn spaces_before(text: &Text<'_>, at: usize) -> usize {
    let rest = &text.text[..at];
    rest.len() - rest.trim_end_matches([' ', '\t']).len()
}
