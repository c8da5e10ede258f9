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
    /// Takes whole lines out, by number. Blank lines that would meet there do not pile up.
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
        let end = text.text.len();
        gone.push(end..end);
        self.added.sort_by_key(|(at, _)| *at);
        let mut added = self.added.into_iter().peekable();
        let mut out = String::with_capacity(end);
        let mut at = 0;
        for range in gone {
            while let Some((place, piece)) = added.next_if(|(place, _)| *place <= range.start) {
                if place < at {
                    let what = format!("`{}` would be lost", piece.trim());
                    return Err(EditError::WouldDiffer { what });
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

/// Between two lines that stay, with lines that go and blank lines between them, keeps the longest stretch of
/// blank lines and no other; at the start or the end of the text that at the start or the end. Returns the line
/// at which all this ends.
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
    let kept = kept_blanks(&gone[start..end], start == 0, end == gone.len());
    gone[start..end].fill(true);
    if let Some(kept) = kept {
        gone[start + kept.start..start + kept.end].fill(false);
    }
    end
}

/// Of stretches of lines that are not gone, the one that stays. The flags tell whether the text starts or ends
/// here.
fn kept_blanks(gone: &[bool], at_start: bool, at_end: bool) -> Option<Range<usize>> {
    let mut from = 0;
    let stretches = gone.chunk_by(|one, next| one == next).map(|stretch| {
        let range = from..from + stretch.len();
        from = range.end;
        range
    });
    let mut blank = stretches.filter(|stretch| !gone[stretch.start]);
    if at_end {
        return blank.last().filter(|stretch| stretch.end == gone.len());
    }
    if at_start {
        return blank.next().filter(|stretch| stretch.start == 0);
    }
    // The first of the longest.
    blank.reduce(|best, next| if next.len() > best.len() { next } else { best })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_addition_within_what_goes_is_an_error() {
        let text = Text::new("a = 1\nb = 2\n");
        let joined = |places: &[usize]| {
            let mut cuts = Cuts::default();
            cuts.bytes(4..9);
            cuts.bytes(6..8);
            places
                .iter()
                .for_each(|&at| cuts.add(at, format!("<{at}>")));
            cuts.join(&text)
        };
        assert_eq!(
            joined(&[12, 9, 4, 0]).as_deref(),
            Ok("<0>a = <4><9> 2\n<12>")
        );
        assert!(joined(&[5]).is_err());
        assert!(joined(&[8]).is_err());
    }
}
