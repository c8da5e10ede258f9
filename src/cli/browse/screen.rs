//! What stands where on the terminal.

use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier, Style};

use boundwalk_render::{
    Sign, cell_text, cell_width, escape_control, fit, sign, used_signs, width, wrapped,
};

use super::data::{Data, Grid};
use super::state::{Spot, State, Tab};
use super::view::{Look, View};

/// The smallest window in which something can be read.
const LEAST: (u16, u16) = (40, 10);
/// Lines of the matrix page that tell of the cell under the cursor.
const TOLD: usize = 4;

/// Where things are drawn.
struct Page<'b> {
    buffer: &'b mut Buffer,
    columns: usize,
    rows: usize,
    colour: bool,
}

impl Page<'_> {
    fn text(&mut self, (x, y): (usize, usize), text: &str, style: Style) {
        if y < self.rows && x < self.columns {
            let room = self.columns - x;
            self.buffer
                .set_stringn(x as u16, y as u16, text, room, style);
        }
    }

    /// A whole line, so that its style reaches the edge.
    fn line(&mut self, y: usize, text: &str, style: Style) {
        let text = fit(text, self.columns);
        self.text((0, y), &text, style);
    }

    fn style(&self, look: Look) -> Style {
        let style = Style::new();
        match look {
            Look::Plain => style,
            Look::Strong => style.add_modifier(Modifier::BOLD),
            Look::Faint => style.add_modifier(Modifier::DIM),
            Look::Alarm if self.colour => style.fg(Color::Yellow).add_modifier(Modifier::BOLD),
            Look::Alarm => style.add_modifier(Modifier::BOLD),
        }
    }

    fn of_cell(&self, sign: Sign) -> Style {
        let style = Style::new();
        match sign {
            Sign::Within | Sign::NoAddresses | Sign::Nothing => style.add_modifier(Modifier::DIM),
            Sign::Services if self.colour => style.fg(Color::Cyan),
            Sign::Services => style,
            Sign::Everything if self.colour => style.fg(Color::Yellow).add_modifier(Modifier::BOLD),
            Sign::Everything => style.add_modifier(Modifier::BOLD),
        }
    }
}

/// Draws everything.
pub(super) fn draw(frame: &mut Frame<'_>, state: &mut State, data: &Data, colour: bool) {
    let area = frame.area();
    let mut page = Page {
        columns: usize::from(area.width),
        rows: usize::from(area.height),
        buffer: frame.buffer_mut(),
        colour,
    };
    state.size = (page.columns, page.rows);
    if area.width < LEAST.0 || area.height < LEAST.1 {
        let text = format!("{} by {} at least", LEAST.0, LEAST.1);
        page.text((0, 0), "The window is too small:", Style::new());
        page.text((0, 1), &text, Style::new());
        return;
    }
    tabs(&mut page, state, data);
    let body = page.rows - 4;
    if let Some(view) = state.view() {
        list(&mut page, view, body);
    } else {
        let grid = state.grid(data);
        let spot = state.spot();
        matrix(&mut page, grid, spot, body);
    }
    interface(&mut page, state);
}

/// What is to be seen before there is anything to show.
pub(super) fn waiting(frame: &mut Frame<'_>) {
    let area = frame.area();
    let text = "reading the site ...";
    frame
        .buffer_mut()
        .set_stringn(0, 0, text, usize::from(area.width), Style::new());
}

/// The first line: where one is and where one can go; the second: what it is.
fn tabs(page: &mut Page<'_>, state: &State, data: &Data) {
    let name = if data.opened.site.name.is_empty() {
        "browse".to_owned()
    } else {
        escape_control(&data.opened.site.name)
    };
    let mut x = 0;
    for (number, (tab, title)) in Tab::ALL.into_iter().enumerate() {
        let text = format!(" {} {title} ", number + 1);
        let style = if tab == state.tab {
            Style::new().add_modifier(Modifier::REVERSED)
        } else {
            Style::new()
        };
        page.text((x, 0), &text, style);
        x += width(&text);
    }
    let room = page.columns.saturating_sub(x + 2);
    if room > 8 {
        let shown = fit(&name, width(&name).min(room));
        let at = page.columns - width(&shown);
        page.text((at, 0), &shown, Style::new().add_modifier(Modifier::DIM));
    }
}

/// A list or text, its title above.
fn list(page: &mut Page<'_>, view: &mut View, body: usize) {
    let height = body.saturating_sub(1).max(1);
    view.scroll(height);
    let strong = page.style(Look::Strong);
    let from = view.top + 1;
    let to = (view.top + height).min(view.lines.len());
    let count = format!("{from}-{to} of {}", view.lines.len());
    let room = page.columns.saturating_sub(width(&count) + 2);
    page.text((0, 1), &fit(&view.title, room), strong);
    let at = page.columns.saturating_sub(width(&count));
    page.text((at, 1), &count, page.style(Look::Faint));
    let shown = view.lines.iter().enumerate().skip(view.top).take(height);
    for (row, (number, line)) in shown.enumerate() {
        let mut style = page.style(line.look);
        let mut text = cut_left(&line.text, view.left);
        let here = number == view.cursor && line.stops();
        if here {
            style = style.add_modifier(Modifier::REVERSED);
        }
        if line.opens.is_some() {
            // What opens ends in a sign of its own: reversed lines alone do not tell.
            text = format!(
                "{} >",
                fit(&text, page.columns.saturating_sub(2)).trim_end()
            );
        }
        if here {
            page.line(2 + row, &text, style);
        } else {
            page.text((0, 2 + row), &text, style);
        }
    }
}

/// A text without its first columns.
fn cut_left(text: &str, columns: usize) -> String {
    let mut gone = 0;
    let mut letters = text.chars();
    while gone < columns {
        match letters.next() {
            Some(letter) => gone += width(letter.encode_utf8(&mut [0; 4])),
            None => break,
        }
    }
    letters.collect()
}

/// The matrix, and below it what the cell under the cursor says.
fn matrix(page: &mut Page<'_>, grid: &Grid, spot: &mut Spot, body: usize) {
    let sheet = &grid.sheet;
    if sheet.rows.is_empty() {
        page.text((0, 1), "This site describes no segment.", Style::new());
        return;
    }
    let digits = sheet.columns.len().to_string().len();
    let label = sheet
        .rows
        .iter()
        .map(|row| width(&escape_control(&row.name)))
        .max()
        .unwrap_or(0)
        .clamp(10, page.columns / 3)
        + digits
        + 2;
    let cell = cell_width(sheet, &grid.codes);
    let across = ((page.columns - label) / cell).max(1);
    let down = body.saturating_sub(TOLD + 2).max(1);
    let shift =
        |first: usize, at: usize, room: usize| first.min(at).max((at + 1).saturating_sub(room));
    spot.top = shift(spot.top, spot.row, down);
    spot.left = shift(spot.left, spot.column, across);
    page.text((0, 1), &fit("from \\ to", label), page.style(Look::Faint));
    let columns = spot.left..(spot.left + across).min(sheet.columns.len());
    for (place, column) in columns.clone().enumerate() {
        let style = if column == spot.column {
            Style::new().add_modifier(Modifier::REVERSED)
        } else {
            page.style(Look::Faint)
        };
        let number = format!("{}", column + 1);
        page.text((label + place * cell, 1), &number, style);
    }
    for (place, row) in (spot.top..sheet.rows.len()).take(down).enumerate() {
        let y = 2 + place;
        let name = format!(
            "{:>digits$} {}",
            row + 1,
            escape_control(&sheet.rows[row].name)
        );
        let style = if row == spot.row {
            Style::new().add_modifier(Modifier::REVERSED)
        } else {
            Style::new()
        };
        page.text((0, y), &fit(&name, label - 1), style);
        for (place, column) in columns.clone().enumerate() {
            let mut style = page.of_cell(sign(&sheet.pairs[row][column]));
            if (row, column) == (spot.row, spot.column) {
                style = Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD);
            }
            page.text((label + place * cell, y), &grid.codes[row][column], style);
        }
    }
    told(page, grid, spot, 2 + down.min(sheet.rows.len()) + 1);
}

/// What the cell under the cursor says.
fn told(page: &mut Page<'_>, grid: &Grid, spot: &Spot, y: usize) {
    let sheet = &grid.sheet;
    let (row, column) = (spot.row, spot.column);
    let Some(pair) = sheet.pairs.get(row).and_then(|row| row.get(column)) else {
        return;
    };
    let code = &grid.codes[row][column];
    let title = format!(
        "{} to {} {}: {code}",
        escape_control(&sheet.rows[row].name),
        column + 1,
        escape_control(&sheet.columns[column].as_target()),
    );
    page.text((0, y), &title, page.style(Look::Strong));
    let text = escape_control(&cell_text(pair, code, &grid.key));
    let mut lines = wrapped(&text, page.columns.saturating_sub(2).max(20));
    for (sign, meaning) in used_signs(&[vec![code.clone()]]) {
        lines.push(format!("{sign} {meaning}"));
    }
    for (number, line) in lines.iter().take(TOLD - 1).enumerate() {
        page.text((2, y + 1 + number), line, Style::new());
    }
}

/// The last lines: what happened, and which keys do something.
fn interface(page: &mut Page<'_>, state: &State) {
    let (message, keys) = (page.rows - 2, page.rows - 1);
    if let Some(prompt) = &state.prompt {
        page.line(
            message,
            &format!("/{}_", escape_control(prompt)),
            Style::new(),
        );
    } else {
        let look = if state.message.alarm {
            Look::Alarm
        } else {
            Look::Plain
        };
        let lines = wrapped(&escape_control(&state.message.text), page.columns);
        let shown = match lines.len() {
            0 | 1 => lines.concat(),
            _ => fit(&escape_control(&state.message.text), page.columns),
        };
        page.line(message, &shown, page.style(look));
    }
    let back = if state.open.is_empty() {
        ""
    } else {
        "Esc back  "
    };
    let zones = match (state.open.is_empty(), state.tab) {
        (true, Tab::Matrix) if state.zones => "z segments  ",
        (true, Tab::Matrix) => "z zones  ",
        _ => "",
    };
    let text = format!("arrows move  Enter opens  {back}{zones}/ find  e editor  ? help  q quit");
    page.line(keys, &text, page.style(Look::Faint));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_cut_on_the_left_is_counted_in_columns() {
        assert_eq!(cut_left("abc", 0), "abc");
        assert_eq!(cut_left("abc", 2), "c");
        assert_eq!(cut_left("\u{5317}\u{4eac}x", 2), "\u{4eac}x");
        assert_eq!(cut_left("abc", 9), "");
    }
}
