//! What drawings on a terminal are made of: lines, boxes, and names made fit for both.

use super::text::{escape_control, fit, width, wrapped};
use super::text_style::TextStyle;

/// Characters of lines and corners.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lines {
    pub(super) across: char,
    pub(super) down: char,
    /// Corners of a box: top left, top right, bottom left, bottom right.
    pub(super) corners: [char; 4],
    /// Where lines meet: to the right, to the left, downwards, upwards, all ways.
    pub(super) tees: [char; 5],
    /// Last branch of a tree.
    pub(super) last: char,
}

const DRAWN: Lines = Lines {
    across: '─',
    down: '│',
    corners: ['┌', '┐', '└', '┘'],
    tees: ['├', '┤', '┬', '┴', '┼'],
    last: '└',
};

const PLAIN: Lines = Lines {
    across: '-',
    down: '|',
    corners: ['+', '+', '+', '+'],
    tees: ['+', '+', '+', '+', '+'],
    last: '`',
};

/// How to draw: with line characters or in plain ASCII, how wide, in what colours.
#[derive(Clone, Copy, Debug)]
pub struct Pen {
    /// Whether only ASCII may be used; other letters stand as `\u{..}` then.
    pub ascii: bool,
    /// Colour and width.
    pub text_style: TextStyle,
}

impl Pen {
    pub(super) fn lines(self) -> &'static Lines {
        if self.ascii { &PLAIN } else { &DRAWN }
    }

    /// A text from a site, made safe, and plain where that is asked for.
    pub(super) fn text(self, text: &str) -> String {
        let text = escape_control(text);
        if self.ascii {
            text.chars()
                .flat_map(|c| -> Box<dyn Iterator<Item = char>> {
                    if c.is_ascii() {
                        Box::new(std::iter::once(c))
                    } else {
                        Box::new(c.escape_unicode())
                    }
                })
                .collect()
        } else {
            text
        }
    }

    /// A text made by [`Pen::text`] in exactly so many columns, the mark of a cut in plain ASCII where asked for.
    pub(super) fn fit(self, text: &str, columns: usize) -> String {
        let fitted = fit(text, columns);
        if self.ascii {
            fitted.replace('…', "~")
        } else {
            fitted
        }
    }

    /// Lines of a text in so many columns, as [`broken`] has them.
    pub(super) fn wrap(self, text: &str, room: usize) -> Vec<String> {
        broken(text, room)
    }

    /// A first column and a text beside it, wrapped; further lines are indented below the text.
    pub(super) fn beside(self, first: &str, text: &str, room: usize) -> Vec<String> {
        let indent = width(first);
        let lines = self.wrap(text, room.saturating_sub(indent));
        let mut out = Vec::with_capacity(lines.len());
        for (number, line) in lines.iter().enumerate() {
            match number {
                0 => out.push(format!("{first}{line}").trim_end().to_owned()),
                _ => out.push(format!("{}{line}", " ".repeat(indent))),
            }
        }
        out
    }

    /// A box round some lines, no wider than they need. `above`, `below`: whether a line meets it there. The
    /// first `strong` lines stand out.
    pub(super) fn boxed(
        self,
        lines: &[String],
        strong: usize,
        above: bool,
        below: bool,
    ) -> Vec<String> {
        let glyphs = self.lines();
        let inner = lines.iter().map(|line| width(line)).max().unwrap_or(0) + 2;
        let edge = |[left, right]: [char; 2], tee: Option<char>| {
            let mut bar: Vec<char> = vec![glyphs.across; inner];
            if let (Some(tee), true) = (tee, inner > 1) {
                bar[1] = tee;
            }
            let bar: String = bar.into_iter().collect();
            format!("{left}{bar}{right}")
        };
        let [one, two, three, four] = glyphs.corners;
        let [_, _, down, up, _] = glyphs.tees;
        let mut out = vec![edge([one, two], above.then_some(up))];
        for (number, line) in lines.iter().enumerate() {
            let filled = self.fit(line, inner - 2);
            let shown = if number < strong {
                self.text_style.strong(&filled)
            } else {
                filled
            };
            out.push(format!("{} {shown} {}", glyphs.down, glyphs.down));
        }
        out.push(edge([three, four], below.then_some(down)));
        out
    }
}

/// Stands for a space at which no line is broken.
const GLUE: char = '\u{a0}';

/// A list with commas, no item of which is broken at its spaces by [`broken`].
pub(super) fn glued(items: &[String]) -> String {
    let glued = |item: &String| item.replace(' ', GLUE.encode_utf8(&mut [0; 4]));
    items.iter().map(glued).collect::<Vec<_>>().join(", ")
}

/// Lines of a text in so many columns: broken at spaces, words that are longer cut anywhere.
pub(super) fn broken(text: &str, room: usize) -> Vec<String> {
    let room = room.max(1);
    let mut lines = Vec::new();
    for line in wrapped(text, room) {
        if width(&line) > room {
            lines.extend(chopped(&line, room));
        } else {
            lines.push(line);
        }
    }
    for line in &mut lines {
        *line = line.replace(GLUE, " ");
    }
    lines
}

/// A text in pieces of at most so many columns.
fn chopped(text: &str, room: usize) -> Vec<String> {
    let mut pieces = vec![String::new()];
    for character in text.chars() {
        let last = pieces.len() - 1;
        let piece = &mut pieces[last];
        let mut longer = piece.clone();
        longer.push(character);
        if width(&longer) > room && !piece.is_empty() {
            pieces.push(character.to_string());
        } else {
            *piece = longer;
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNICODE: Pen = Pen {
        ascii: false,
        text_style: TextStyle {
            colour: false,
            columns: 80,
        },
    };
    const ASCII: Pen = Pen {
        ascii: true,
        ..UNICODE
    };

    #[test]
    fn a_box_is_as_wide_as_its_widest_line() {
        let lines = ["北京".to_owned(), "abc".to_owned()];
        let drawn = UNICODE.boxed(&lines, 0, true, false);
        let expected = ["┌─┴────┐", "│ 北京 │", "│ abc  │", "└──────┘"];
        assert_eq!(drawn, expected);
        let widths = drawn.iter().map(|line| width(line));
        assert!(widths.into_iter().all(|wide| wide == 8));
    }

    #[test]
    fn plain_is_plain() {
        assert_eq!(ASCII.text("Müller"), "M\\u{fc}ller");
        assert_eq!(ASCII.fit("abcdef", 4), "abc~");
        let drawn = ASCII.boxed(&["x".to_owned()], 0, false, true);
        assert_eq!(drawn, ["+---+", "| x |", "+-+-+"]);
    }

    #[test]
    fn long_words_are_cut_where_the_line_ends() {
        assert_eq!(UNICODE.wrap("abcdefgh x", 3), ["abc", "def", "gh", "x"]);
        assert_eq!(UNICODE.wrap("北京北京", 3), ["北", "京", "北", "京"]);
        assert_eq!(UNICODE.beside("a: ", "one two", 6), ["a: one", "   two"]);
    }
}
