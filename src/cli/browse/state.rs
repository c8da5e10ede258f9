//! Where one is, and what a key does: no terminal here.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use boundwalk_render::problem_summary;

use super::super::site::Broken;
use super::data::{Data, Grid};
use super::details::{open, problems};
use super::lists;
use super::view::{FilePlace, Target, View};

/// Keys that end it together with Ctrl: those of a terminal's own signals. Ctrl-\ arrives as its letter or as the digit
/// that terminals sent for it.
pub(super) const ENDS: [KeyCode; 3] = [KeyCode::Char('c'), KeyCode::Char('\\'), KeyCode::Char('4')];

/// The lists that one starts from, in the order of their keys.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Tab {
    Matrix,
    Findings,
    Ports,
    Isolation,
    Ways,
}

impl Tab {
    pub(super) const ALL: [(Self, &'static str); 5] = [
        (Self::Matrix, "matrix"),
        (Self::Findings, "findings"),
        (Self::Ports, "ports"),
        (Self::Isolation, "isolation"),
        (Self::Ways, "ways round"),
    ];

    fn at(number: usize) -> Self {
        Self::ALL[number % Self::ALL.len()].0
    }

    fn number(self) -> usize {
        let mut all = Self::ALL.iter();
        all.position(|(tab, _)| *tab == self).unwrap_or(0)
    }
}

/// What the window has to do after a key.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Next {
    Stay,
    Quit,
    Reload,
    Edit(FilePlace),
}

/// Where the cursor of a matrix is, and what part of it is shown.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(super) struct Spot {
    pub(super) row: usize,
    pub(super) column: usize,
    pub(super) top: usize,
    pub(super) left: usize,
}

/// A line at the bottom.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Message {
    pub(super) text: String,
    pub(super) alarm: bool,
}

/// All that is not computed from the site.
pub(super) struct State {
    pub(super) tab: Tab,
    /// Whether the matrix is by zone.
    pub(super) zones: bool,
    pub(super) spots: [Spot; 2],
    /// The lists of the tabs but the first.
    pub(super) lists: [View; 4],
    /// What was opened, one above the other.
    pub(super) open: Vec<(Target, View)>,
    /// What is being typed after `/`.
    pub(super) prompt: Option<String>,
    wanted: String,
    pub(super) message: Message,
    /// What is wrong with the file, as long as it does not load.
    problems: Option<View>,
    /// The window, in columns and lines; the drawing tells.
    pub(super) size: (usize, usize),
}

impl State {
    pub(super) fn new(data: &Data) -> Self {
        Self {
            tab: Tab::Matrix,
            zones: false,
            spots: [Spot::default(); 2],
            lists: all_lists(data),
            open: Vec::new(),
            prompt: None,
            wanted: String::new(),
            message: Message {
                text: data.summary.clone(),
                alarm: false,
            },
            problems: None,
            size: (80, 24),
        }
    }

    /// Says something at the bottom.
    pub(super) fn say(&mut self, text: &str) {
        self.message = Message {
            text: text.to_owned(),
            alarm: false,
        };
    }

    pub(super) fn grid<'d>(&self, data: &'d Data) -> &'d Grid {
        &data.grids[usize::from(self.zones)]
    }

    /// The place in the matrix that is shown.
    pub(super) fn spot(&mut self) -> &mut Spot {
        &mut self.spots[usize::from(self.zones)]
    }

    /// What lines are shown; `None`: the matrix is.
    pub(super) fn view(&mut self) -> Option<&mut View> {
        match (self.open.last_mut(), self.tab) {
            (Some((_, view)), _) => Some(view),
            (None, Tab::Matrix) => None,
            (None, tab) => Some(&mut self.lists[tab.number() - 1]),
        }
    }

    /// After a save: everything is made anew, and what was looked at is found again if it is still there.
    pub(super) fn renew(&mut self, data: &Data, text: String) {
        let mut lists = all_lists(data);
        for (new, old) in lists.iter_mut().zip(&self.lists) {
            new.resume(old);
        }
        self.lists = lists;
        self.problems = None;
        self.say(&text);
        let grid = self.grid(data);
        let columns = self.size.0;
        let mut kept = Vec::new();
        for (target, old) in std::mem::take(&mut self.open) {
            let Some(mut view) = open(data, grid, &target, columns) else {
                break;
            };
            view.resume(&old);
            kept.push((target, view));
        }
        self.open = kept;
        for (spot, grid) in self.spots.iter_mut().zip(&data.grids) {
            spot.row = spot.row.min(grid.sheet.rows.len().saturating_sub(1));
            spot.column = spot.column.min(grid.sheet.columns.len().saturating_sub(1));
        }
    }

    /// After a save that does not load: what was known stays.
    pub(super) fn broken(&mut self, broken: &Broken) {
        let summary = problem_summary(&broken.problems);
        self.message = Message {
            text: format!(
                "the file does not load ({summary}): p shows why; these are the answers before"
            ),
            alarm: true,
        };
        self.problems = Some(problems(broken, self.size.0));
    }

    /// What a key does.
    pub(super) fn key(&mut self, key: KeyEvent, data: &Data) -> Next {
        if key.modifiers.contains(KeyModifiers::CONTROL) {
            return match key.code {
                code if ENDS.contains(&code) => Next::Quit,
                _ => Next::Stay,
            };
        }
        if self.prompt.is_some() {
            self.typed(key.code, data);
            return Next::Stay;
        }
        match key.code {
            KeyCode::Char('q') => return Next::Quit,
            KeyCode::Char('r') => return Next::Reload,
            KeyCode::Char('e') => return self.edit(),
            KeyCode::Char('/') => self.prompt = Some(String::new()),
            KeyCode::Char('n') => self.search(data, 1),
            KeyCode::Char('?') => self.push(data, Target::Help),
            KeyCode::Char('p') => {
                if let Some(view) = &self.problems {
                    self.open.push((Target::Problems, view.clone()));
                }
            }
            KeyCode::Char('z') if self.open.is_empty() && self.tab == Tab::Matrix => {
                self.zones = !self.zones;
            }
            KeyCode::Char(digit @ '1'..='5') => self.turn(digit as usize - '1' as usize),
            KeyCode::Tab => self.turn(self.tab.number() + 1),
            KeyCode::BackTab => self.turn(self.tab.number() + Tab::ALL.len() - 1),
            KeyCode::Esc | KeyCode::Backspace => {
                self.open.pop();
            }
            KeyCode::Enter => self.enter(data),
            code => self.go(code, data),
        }
        Next::Stay
    }

    fn turn(&mut self, number: usize) {
        self.tab = Tab::at(number);
        self.open.clear();
    }

    fn edit(&mut self) -> Next {
        let place = self.view().and_then(|view| view.current()?.place.clone());
        match place {
            Some(place) => Next::Edit(place),
            None => {
                self.say("nothing under the cursor stands in a file");
                Next::Stay
            }
        }
    }

    fn enter(&mut self, data: &Data) {
        let target = match self.view() {
            Some(view) => view.current().and_then(|line| line.opens.clone()),
            None => {
                let Spot { row, column, .. } = *self.spot();
                let sheet = &self.grid(data).sheet;
                sheet
                    .rows
                    .get(row)
                    .zip(sheet.columns.get(column))
                    .map(|(from, to)| Target::Cell {
                        from: from.name.clone(),
                        to: to.name.clone(),
                    })
            }
        };
        if let Some(target) = target {
            self.push(data, target);
        }
    }

    fn push(&mut self, data: &Data, target: Target) {
        let grid = self.grid(data);
        match open(data, grid, &target, self.size.0) {
            Some(view) => self.open.push((target, view)),
            None => self.say("there is nothing more to show of it"),
        }
    }

    /// Letters after `/`.
    fn typed(&mut self, code: KeyCode, data: &Data) {
        let Some(prompt) = &mut self.prompt else {
            return;
        };
        match code {
            KeyCode::Char(letter) => prompt.push(letter),
            KeyCode::Backspace => {
                prompt.pop();
            }
            KeyCode::Esc => self.prompt = None,
            KeyCode::Enter => {
                self.wanted = prompt.to_lowercase();
                self.prompt = None;
                self.search(data, 0);
            }
            _ => {}
        }
    }

    /// Goes to the next place that holds what is wanted, `step` behind the cursor at the earliest.
    fn search(&mut self, data: &Data, step: usize) {
        if self.wanted.is_empty() {
            return;
        }
        let wanted = self.wanted.clone();
        let found = match self.view() {
            Some(view) => {
                let start = view.cursor + step;
                view.find(&wanted, start)
            }
            None => {
                let rows = &self.grid(data).sheet.rows;
                let start = self.spot().row + step;
                let mut order = (0..rows.len()).map(|at| (start + at) % rows.len());
                let row = order.find(|&at| rows[at].name.to_lowercase().contains(&wanted));
                if let Some(row) = row {
                    self.spot().row = row;
                }
                row.is_some()
            }
        };
        if !found {
            self.say(&format!("nothing here holds `{wanted}`"));
        }
    }

    /// Moves the cursor.
    fn go(&mut self, code: KeyCode, data: &Data) {
        let page = self.size.1.saturating_sub(6).max(1) as isize;
        let (down, right) = match code {
            KeyCode::Down | KeyCode::Char('j') => (1, 0),
            KeyCode::Up | KeyCode::Char('k') => (-1, 0),
            KeyCode::Right | KeyCode::Char('l') => (0, 1),
            KeyCode::Left | KeyCode::Char('h') => (0, -1),
            KeyCode::PageDown => (page, 0),
            KeyCode::PageUp => (-page, 0),
            KeyCode::Home => (-100_000_000, 0),
            KeyCode::End => (100_000_000, 0),
            _ => return,
        };
        if let Some(view) = self.view() {
            let most = view.lines.len() as isize;
            view.go(down.clamp(-most, most));
            view.left = view.left.saturating_add_signed(right * 8);
            return;
        }
        let sheet = &self.grid(data).sheet;
        let last = (
            sheet.rows.len().saturating_sub(1),
            sheet.columns.len().saturating_sub(1),
        );
        let spot = self.spot();
        spot.row = spot.row.saturating_add_signed(down).min(last.0);
        spot.column = spot.column.saturating_add_signed(right).min(last.1);
    }
}

fn all_lists(data: &Data) -> [View; 4] {
    [
        lists::findings(data),
        lists::ports(data),
        lists::claims(data),
        lists::ways(data),
    ]
}

#[cfg(test)]
#[path = "state_tests.rs"]
mod tests;
