//! Pieces that go and pieces that come, joined into a new text.

use std::ops::Range;

use super::EditError;
use super::text::{Holds, Text};

/// Changes of one text.
#[derive(Default)]
pub(super) struct Cuts {
    /// Numbers of lines that go as a whole.
    lines: Vec<Range<usize>>,
    /// Bytes that go.
    bytes: Vec<Range<usize>>,
    /// What comes, each in front of a byte; at the same byte in the order of coming.
    added: Vec<(usize, String)>,
}

impl Cuts {
    /// Takes whole lines out, by number. Blank lines that met there are thinned out.
    pub fn lines(&mut self, lines: Range<usize>) {
        self.lines.push(lines);
    }

    /// Takes bytes out.
    pub fn bytes(&mut self, range: Range<usize>) {
        self.bytes.push(range);
    }

    /// Puts a text in front of a byte.
    pub fn add(&mut self, at: usize, text: String) {
        self.added.push((at, text));
    }

    /// Puts a text in the place of bytes.
    pub fn replace(&mut self, range: Range<usize>, text: String) {
        self.add(range.start, text);
        self.bytes(range);
    }

    /// The new text. An addition within what goes would be lost, and is an error.
    pub fn join(mut self, text: &Text<'_>) -> Result<String, EditError> {
        self.cut_lines(text);
        let mut gone = std::mem::take(&mut self.bytes);
        gone.retain(|range| !range.is_empty());
        gone.sort_by_key(|range| (range.start, range.end));
        self.added.sort_by_key(|(at, _)| *at);
        let mut added = self.added.into_iter().peekable();
        let mut out = String::with_capacity(text.text.len());
        let mut at = 0;
        for range in gone {
            while let Some((place, piece)) = added.next_if(|(place, _)| *place <= range.start) {
                if place < at {
                    return Err(lost(&piece));
                }
                out.push_str(&text.text[at..place]);
                out.push_str(&piece);
                at = place;
            }
            if at < range.start {
                out.push_str(&text.text[at..range.start]);
            }
            at = at.max(range.end);
        }
        for (place, piece) in added {
            if place < at {
                return Err(lost(&piece));
            }
            out.push_str(&text.text[at..place]);
            out.push_str(&piece);
            at = place;
        }
        out.push_str(&text.text[at..]);
        Ok(out)
    }

    /// Turns lines into bytes.
    fn cut_lines(&mut self, text: &Text<'_>) {
        let mut gone = vec![false; text.lines.len()];
        for lines in &self.lines {
            gone[lines.clone()].fill(true);
        }
        let mut from = 0;
        while let Some(offset) = gone[from..].iter().position(|&gone| gone) {
            let first = from + offset;
            from = thin_out(text, &mut gone, first);
        }
        let cut = text.lines.iter().zip(gone).filter(|(_, gone)| *gone);
        self.bytes.extend(cut.map(|(line, _)| line.range.clone()));
    }
}

fn lost(piece: &str) -> EditError {
    let what = format!("`{}` would be lost", piece.trim());
    EditError::WouldDiffer { what }
}

/// Of the blank lines between two lines that stay, one of them or both around lines that go, keeps only the
/// longest stretch (at the ends of the text: that at the end). Returns where the stretch of lines ends.
fn thin_out(text: &Text<'_>, gone: &mut [bool], first: usize) -> usize {
    let blank = |line: usize| text.lines[line].holds == Holds::Nothing;
    let mut start = first;
    while start > 0 && blank(start - 1) && !gone[start - 1] {
        start -= 1;
    }
    let mut end = first;
    while end < gone.len() && (gone[end] || blank(end)) {
        end += 1;
    }
    let mut stretches = vec![start..start];
    for line in start..end {
        let last = stretches.last_mut().expect("there is always one");
        match gone[line] {
            false if last.end == line => last.end = line + 1,
            false => stretches.push(line..line + 1),
            true => {}
        }
    }
    // Blank lines at the end of the text that lines before them have left.
    let kept = if end == gone.len() {
        stretches
            .iter()
            .rfind(|stretch| stretch.end == end)
            .cloned()
    } else if start == 0 {
        stretches
            .first()
            .filter(|stretch| stretch.start == 0)
            .cloned()
    } else {
        let longest = stretches.iter().map(ExactSizeIterator::len).max();
        stretches
            .iter()
            .find(|stretch| Some(stretch.len()) == longest)
            .cloned()
    };
    gone[start..end].fill(true);
    if let Some(kept) = kept {
        gone[kept].fill(false);
    }
    end
}
