//! Boxes of pictures: a title, what it is, and rows.

use super::super::text::{escape_control, wrapped};
use super::pen::{Drawing, LINE, PAD, cut, letters, span};

/// Widest a title or a column of a box gets.
const WIDEST: i32 = 300;
/// Width of a box with a VLAN's number.
pub(super) const CHIP: i32 = 40;

/// A row of a box.
#[derive(Clone, Debug, Default)]
pub(super) struct Row {
    /// A number in a box of its own.
    pub(super) chip: Option<String>,
    /// Texts in columns; the last one is broken into lines.
    pub(super) columns: [String; 3],
    /// Whether it stands out.
    pub(super) hot: bool,
}

/// A box, with its texts broken into lines.
#[derive(Clone, Debug)]
pub(super) struct Card {
    class: &'static str,
    title: String,
    what: Vec<String>,
    /// For each row: its chip, columns with places, lines of the last column, whether it stands out.
    rows: Vec<(Row, Vec<String>)>,
    notes: Vec<String>,
    places: [i32; 3],
    pub(super) width: i32,
    pub(super) height: i32,
}

/// Letters in a line of the last column, and of notes.
const LONG: usize = 34;

impl Card {
    /// A box; `notes` stand out below its rows.
    pub(super) fn new(
        class: &'static str,
        title: &str,
        what: &str,
        rows: Vec<Row>,
        notes: &[String],
    ) -> Self {
        let chips = rows.iter().any(|row| row.chip.is_some());
        let first = if chips { CHIP + 8 } else { 0 };
        let widest = |at: usize| {
            rows.iter()
                .map(|row| span(&cut(&row.columns[at], WIDEST / 2)))
                .max()
                .unwrap_or(0)
        };
        let gap = |room: i32| if room > 0 { room + 12 } else { 0 };
        let second = first + gap(widest(0));
        let places = [first, second, second + gap(widest(1))];
        let second_column = second + widest(1);
        let rows: Vec<(Row, Vec<String>)> = rows
            .into_iter()
            .map(|row| {
                let lines = broken(&row.columns[2], LONG);
                (row, lines)
            })
            .collect();
        let what = broken(what, LONG + 10);
        let notes: Vec<String> = notes
            .iter()
            .flat_map(|note| broken(note, LONG + 10))
            .collect();
        let last = rows
            .iter()
            .flat_map(|(_, lines)| lines)
            .map(|line| span(line));
        let columns = match last.max().unwrap_or(0) {
            0 => second_column,
            last => places[2] + last,
        };
        let texts = what.iter().chain(&notes).map(|line| span(line));
        let title = cut(title, WIDEST);
        let inner = texts.max().unwrap_or(0).max(columns).max(span(&title));
        let count: usize = rows.iter().map(|(_, lines)| lines.len().max(1)).sum();
        let lines = 1 + what.len() + count + notes.len();
        Self {
            class: if notes.is_empty() { class } else { "hotcard" },
            title,
            what,
            rows,
            notes,
            places,
            width: (inner + 2 * PAD).max(120),
            height: lines as i32 * LINE + 2 * PAD + 4,
        }
    }

    /// Height of the line at which a cable meets the box.
    pub(super) const fn entry() -> i32 {
        PAD + LINE / 2
    }

    /// Draws it at a place.
    pub(super) fn draw(&self, drawing: &mut Drawing, (x, y): (i32, i32)) {
        drawing.open(&format!("{} {}", self.title, self.what.join(" ")));
        drawing.rect(self.class, (x, y), (self.width, self.height), 4);
        let mut line = y + PAD + 12;
        drawing.text("ink b", (x + PAD, line), &self.title);
        for what in &self.what {
            line += LINE;
            drawing.text("dim", (x + PAD, line), what);
        }
        if !self.rows.is_empty() {
            drawing.line("rule", &[(x, line + 6), (x + self.width, line + 6)]);
        }
        line += 4;
        for (row, lines) in &self.rows {
            line += LINE;
            let ink = if row.hot { "hottext b" } else { "ink" };
            if let Some(chip) = &row.chip {
                let class = if row.hot { "hotfill" } else { "some" };
                drawing.rect(class, (x + PAD, line - 12), (CHIP, 15), 3);
                let on = if row.hot { "onhot b" } else { "ink" };
                drawing.centred(on, (x + PAD, line), CHIP, chip);
            }
            drawing.text(
                ink,
                (x + PAD + self.places[0], line),
                &cut(&row.columns[0], WIDEST / 2),
            );
            let second = if row.hot { ink } else { "dim" };
            drawing.text(
                second,
                (x + PAD + self.places[1], line),
                &cut(&row.columns[1], WIDEST / 2),
            );
            for (number, text) in lines.iter().enumerate() {
                line += if number > 0 { LINE } else { 0 };
                drawing.text(ink, (x + PAD + self.places[2], line), text);
            }
        }
        for note in &self.notes {
            line += LINE;
            drawing.text("hottext b", (x + PAD, line), note);
        }
        drawing.close();
    }
}

/// A text in lines of so many letters; words that are longer are cut into pieces.
pub(super) fn broken(text: &str, room: usize) -> Vec<String> {
    if text.is_empty() {
        return Vec::new();
    }
    wrapped(&escape_control(text), room)
        .into_iter()
        .flat_map(|line| pieces(&line, room))
        .collect()
}

/// A line that has no place to break it, in pieces.
fn pieces(line: &str, room: usize) -> Vec<String> {
    let most = room as i32 * 29 / 4 + 8;
    let mut out = vec![String::new()];
    for character in line.chars() {
        let mut longer = out[out.len() - 1].clone();
        longer.push(character);
        if span(&longer) > most && letters(span(&longer)) > 1 {
            out.push(String::new());
        }
        let last = out.len() - 1;
        out[last].push(character);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_holds_all_its_texts() {
        let row = Row {
            chip: Some("4094".to_owned()),
            columns: [
                "a segment with a very long name indeed".repeat(3),
                "8 ports".to_owned(),
                "one, two, three, ".repeat(20) + &"x".repeat(300),
            ],
            hot: false,
        };
        let card = Card::new(
            "card",
            &"title ".repeat(40),
            "what",
            vec![row],
            &["note ".repeat(60)],
        );
        let mut drawing = Drawing::default();
        card.draw(&mut drawing, (0, 0));
        assert_eq!(drawing.extent(), (card.width, card.height));
    }
}
