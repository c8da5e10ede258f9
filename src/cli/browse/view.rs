//! Things to look at, as lines of text: no terminal here, and nothing of the site is borrowed.

use boundwalk_forwarding::Packet;

/// A place in a file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct FilePlace {
    /// Path of the file, as it was given.
    pub(super) file: String,
    /// ViewLine, from 1.
    pub(super) line: u32,
}

/// What can be opened. Things are known by name, so that they are found again after a save.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Target {
    /// What passes between two of the matrix.
    Cell { from: String, to: String },
    /// The way of a packet.
    Packet(Packet),
    /// A finding, by its message.
    Finding(String),
    /// A file, at a line.
    File(FilePlace),
    /// A port, by switch and name.
    Port(String, String),
    /// A segment that claims to be isolated.
    Claim(String),
    /// A way round the gateway, from segment to segment.
    Way(String, String),
    /// Why the file does not load.
    Problems,
    /// Keys and signs.
    Help,
}

/// How a line stands out. Colour only adds to it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(super) enum Look {
    #[default]
    Plain,
    /// A title.
    Strong,
    /// What is less important.
    Faint,
    /// What is wrong.
    Alarm,
}

/// A line of a list or text.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct ViewLine {
    pub(super) text: String,
    pub(super) look: Look,
    /// What Enter opens.
    pub(super) opens: Option<Target>,
    /// Where it stands in a file, if it stands for something there.
    pub(super) place: Option<FilePlace>,
    /// Whether the cursor stops here though nothing opens.
    pub(super) stop: bool,
}

impl ViewLine {
    pub(super) fn new(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            ..Self::default()
        }
    }

    pub(super) fn looking(text: impl Into<String>, look: Look) -> Self {
        Self {
            look,
            ..Self::new(text)
        }
    }

    pub(super) fn opening(text: impl Into<String>, target: Target) -> Self {
        Self {
            opens: Some(target),
            ..Self::new(text)
        }
    }

    pub(super) fn at(mut self, place: Option<FilePlace>) -> Self {
        self.place = place;
        self
    }

    /// Whether the cursor stops here.
    pub(super) fn stops(&self) -> bool {
        self.stop || self.opens.is_some() || self.place.is_some()
    }
}

/// Lines under a title.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct View {
    pub(super) title: String,
    pub(super) lines: Vec<ViewLine>,
    /// Where the cursor is: a line that it stops at, or else the first line shown.
    pub(super) cursor: usize,
    /// The first line shown.
    pub(super) top: usize,
    /// Columns cut off on the left.
    pub(super) left: usize,
}

impl View {
    /// A view with its cursor at the first line where it stops.
    pub(super) fn new(title: impl Into<String>, lines: Vec<ViewLine>) -> Self {
        let cursor = lines.iter().position(ViewLine::stops).unwrap_or(0);
        Self {
            title: title.into(),
            lines,
            cursor,
            ..Self::default()
        }
    }

    /// The line under the cursor, if it stops there.
    pub(super) fn current(&self) -> Option<&ViewLine> {
        self.lines.get(self.cursor).filter(|line| line.stops())
    }

    /// Whether the cursor goes from line to line; else it only scrolls.
    pub(super) fn has_stops(&self) -> bool {
        self.lines.iter().any(ViewLine::stops)
    }

    /// Takes the place that was looked at before, as far as it is still there.
    pub(super) fn resume(&mut self, old: &Self) {
        let last = self.lines.len().saturating_sub(1);
        (self.cursor, self.top, self.left) = (old.cursor.min(last), old.top, old.left);
        if self.has_stops() && self.current().is_none() {
            self.go(-1);
        }
    }

    /// Moves the cursor over so many lines where it stops, up if negative.
    pub(super) fn go(&mut self, by: isize) {
        if !self.has_stops() {
            let last = self.lines.len().saturating_sub(1);
            self.cursor = self.cursor.saturating_add_signed(by).min(last);
            return;
        }
        for _ in 0..by.unsigned_abs() {
            let next = if by > 0 {
                (self.cursor + 1..self.lines.len()).find(|&at| self.lines[at].stops())
            } else {
                (0..self.cursor).rev().find(|&at| self.lines[at].stops())
            };
            match next {
                Some(next) => self.cursor = next,
                None => {
                    // What stands before the first line where it stops is to be seen as well.
                    if by < 0 {
                        self.top = 0;
                    }
                    return;
                }
            }
        }
    }

    /// Puts the cursor on the next line from `start` on, round the end, that holds a text; tells whether there is one.
    pub(super) fn find(&mut self, wanted: &str, start: usize) -> bool {
        let count = self.lines.len();
        let stops = self.has_stops();
        let mut order = (0..count).map(|step| (start + step) % count.max(1));
        let holds = |at: &usize| {
            let line = &self.lines[*at];
            (line.stops() || !stops) && line.text.to_lowercase().contains(wanted)
        };
        let found = order.find(holds);
        if let Some(at) = found {
            self.cursor = at;
        }
        found.is_some()
    }

    /// Makes the cursor visible in so many lines.
    pub(super) fn scroll(&mut self, height: usize) {
        let last = self.lines.len().saturating_sub(1);
        self.cursor = self.cursor.min(last);
        if !self.has_stops() {
            let lowest = self.lines.len().saturating_sub(height);
            self.cursor = self.cursor.min(lowest);
            self.top = self.cursor;
            return;
        }
        if self.cursor < self.top {
            self.top = self.cursor;
        }
        if self.cursor + 1 > self.top + height {
            self.top = self.cursor + 1 - height;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list() -> View {
        let line = |number: usize| match number % 2 {
            0 => ViewLine::new(format!("text {number}")),
            _ => ViewLine::opening(format!("thing {number}"), Target::Help),
        };
        View::new("a list", (0..10).map(line).collect())
    }

    #[test]
    fn the_cursor_stops_where_something_opens() {
        let mut view = list();
        assert_eq!(view.cursor, 1);
        view.go(1);
        assert_eq!(view.cursor, 3);
        view.go(100);
        assert_eq!(view.cursor, 9);
        view.go(-1);
        assert_eq!(view.cursor, 7);
        view.go(-100);
        assert_eq!(view.cursor, 1);
    }

    #[test]
    fn what_is_found_goes_round_the_end() {
        let mut view = list();
        assert!(view.find("thing 3", 5));
        assert_eq!(view.cursor, 3);
        assert!(!view.find("text 4", 0), "the cursor never stops there");
        assert_eq!(view.cursor, 3);
        let mut text = View::new("text", vec![ViewLine::new("One"), ViewLine::new("Two")]);
        assert!(text.find("two", 0));
        assert_eq!(text.cursor, 1);
        assert!(!View::new("nothing", Vec::new()).find("x", 0));
    }

    #[test]
    fn a_view_made_anew_goes_on_where_the_old_one_was() {
        let mut old = list();
        old.go(100);
        old.scroll(4);
        old.left = 8;
        let mut same = list();
        same.resume(&old);
        assert_eq!((same.cursor, same.top, same.left), (9, 6, 8));
        let mut shorter = View::new("a list", list().lines[..9].to_vec());
        shorter.resume(&old);
        assert_eq!(shorter.cursor, 7, "the last line is none where it stops");
        let mut nothing = View::new("nothing", Vec::new());
        nothing.resume(&old);
        assert_eq!(nothing.cursor, 0);
    }

    #[test]
    fn the_cursor_stays_in_sight() {
        let mut view = list();
        view.go(4);
        view.scroll(4);
        assert_eq!((view.cursor, view.top), (9, 6));
        view.go(-4);
        view.scroll(4);
        assert_eq!((view.cursor, view.top), (1, 1));
        view.go(-1);
        view.scroll(4);
        assert_eq!(view.top, 0);
        let mut text = View::new("text", vec![ViewLine::new("x"); 10]);
        text.go(100);
        text.scroll(4);
        assert_eq!(text.top, 6, "the last line stays at the bottom");
    }
}
