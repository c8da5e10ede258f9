//! The tokens and lines of a text.

use std::ops::Range;

use toml_parser::Source;
use toml_parser::lexer::{Token, TokenKind};

/// What a line holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Holds {
    /// White space at most.
    Nothing,
    /// A comment and nothing else.
    Comment,
    /// Anything else, such as a piece of a string of several lines.
    Content,
}

/// A line with its line break.
#[derive(Clone, Debug)]
pub(super) struct TextLine {
    /// Its bytes.
    pub range: Range<usize>,
    /// What it holds.
    pub holds: Holds,
}

/// A text that is known to be TOML, cut into tokens and lines.
pub(super) struct Text<'t> {
    /// The whole text.
    pub text: &'t str,
    tokens: Vec<Token>,
    /// Its lines in order. A byte order mark belongs to none of them.
    pub lines: Vec<TextLine>,
}

impl<'t> Text<'t> {
    /// Cuts a text. O(length).
    pub fn new(text: &'t str) -> Self {
        let tokens = Source::new(text).lex().into_vec();
        let lines = lines_of(text, &tokens);
        Self {
            text,
            tokens,
            lines,
        }
    }

    /// The number of the line that a byte stands on. O(log lines).
    pub fn line_at(&self, offset: usize) -> usize {
        let after = self
            .lines
            .partition_point(|line| line.range.start <= offset);
        after.saturating_sub(1)
    }

    /// The first byte of the line that a byte stands on.
    pub fn line_start(&self, offset: usize) -> usize {
        self.lines
            .get(self.line_at(offset))
            .map_or(0, |line| line.range.start)
    }

    /// The white space that the line of a byte begins with.
    pub fn indent(&self, offset: usize) -> &'t str {
        let line = &self.text[self.line_start(offset)..];
        &line[..line.len() - line.trim_start_matches([' ', '\t']).len()]
    }

    /// The tokens that begin at a byte or after it.
    pub fn tokens_from(&self, offset: usize) -> impl Iterator<Item = Piece> + '_ {
        let first = self
            .tokens
            .partition_point(|token| token.span().start() < offset);
        self.tokens[first..].iter().map(piece)
    }

    /// Whether tokens of one kind stand in a range.
    pub fn has(&self, range: &Range<usize>, kind: TokenKind) -> bool {
        let tokens = self.tokens_from(range.start);
        let mut within = tokens.take_while(|token| token.range.end <= range.end);
        within.any(|token| token.kind == kind)
    }

    /// How the line of a byte ends; where it does not, how the first line does.
    pub fn line_break(&self, offset: usize) -> &'static str {
        let own = self.lines.get(self.line_at(offset));
        let mut known = own
            .into_iter()
            .chain(self.lines.first())
            .filter_map(|line| {
                let text = &self.text[line.range.clone()];
                if text.ends_with("\r\n") {
                    Some("\r\n")
                } else {
                    text.ends_with('\n').then_some("\n")
                }
            });
        known.next().unwrap_or("\n")
    }
}

/// A token and its bytes.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    /// What it is.
    pub kind: TokenKind,
    /// Its bytes.
    pub range: Range<usize>,
}

fn piece(token: &Token) -> Piece {
    Piece {
        kind: token.kind(),
        range: token.span().start()..token.span().end(),
    }
}

fn lines_of(text: &str, tokens: &[Token]) -> Vec<TextLine> {
    let mut lines = Vec::new();
    let mut start = tokens.first().map_or(0, |token| token.span().start());
    let mut holds = Holds::Nothing;
    for token in tokens.iter().map(piece) {
        match token.kind {
            TokenKind::Whitespace | TokenKind::Eof => {}
            TokenKind::Newline => {
                let range = start..token.range.end;
                start = token.range.end;
                lines.push(TextLine { range, holds });
                holds = Holds::Nothing;
            }
            TokenKind::Comment if holds == Holds::Nothing => holds = Holds::Comment,
            TokenKind::Comment => {}
            _ => {
                holds = Holds::Content;
                // A string of several lines.
                for (at, _) in text[token.range.clone()].match_indices('\n') {
                    let range = start..token.range.start + at + 1;
                    start = range.end;
                    lines.push(TextLine { range, holds });
                }
            }
        }
    }
    if start < text.len() {
        let range = start..text.len();
        lines.push(TextLine { range, holds });
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_know_what_they_hold() {
        let text = "\u{feff}# a\r\n \t\r\nb = \"\"\"\n# no comment\n\n# none\"\"\" # one\nc = 1";
        let cut = Text::new(text);
        let holds: Vec<Holds> = cut.lines.iter().map(|line| line.holds).collect();
        use Holds::{Comment, Content, Nothing};
        assert_eq!(
            holds,
            [
                Comment, Nothing, Content, Content, Content, Content, Content
            ]
        );
        let joined: String = cut
            .lines
            .iter()
            .map(|line| &text[line.range.clone()])
            .collect();
        assert_eq!(format!("\u{feff}{joined}"), text, "no byte is lost");
        let mut ended = cut.lines[..cut.lines.len() - 1].iter();
        assert!(
            ended.all(|line| text[line.range.clone()].find('\n') == Some(line.range.len() - 1))
        );
        assert_eq!(cut.line_break(3), "\r\n");
        assert_eq!(cut.line_break(text.len()), "\r\n", "as the first line does");
    }
}
