//! `boundwalk browse`: the answers on a terminal, to walk about in.
//!
//! [`data`] computes, [`view`] says what can be looked at, [`state`] turns keys into what to do next without any
//! terminal, [`screen`] draws. Only this file touches the terminal.

mod data;
mod details;
mod lists;
mod screen;
mod state;
mod view;

use std::io::{self, IsTerminal};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use clap::Args;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyEventKind};

use crate::diagnostic::Severity;

use self::data::Data;
use self::state::{Next, State};
use self::view::Place;
use super::site::{SiteArguments, print_problems};
use super::watch::{POLL, Stamps};
use super::{Output, Verdict};

/// Look around on the terminal: the matrix, the flows of a pair, a path step by step, ports, isolation, ways round
/// the gateway, and from each finding to its place in the file. Follows each save of the site.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
}

const EXAMPLES: &str = "Example:\n  boundwalk browse site.toml\n\
    Keys: arrows move, Enter opens, Esc goes back, 1 to 5 or Tab change the view,\n\
    / finds, e opens the place in $VISUAL or $EDITOR, ? helps, q quits.\n\
    NO_COLOR is honoured. Exit code 0, or 2: could not run.";

/// Longer than this one wants to be told that something is being done.
const NOTICEABLE: Duration = Duration::from_millis(300);

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    if !io::stdin().is_terminal() || !io::stdout().is_terminal() {
        return output.failed(
            "browse needs a terminal; `boundwalk review` and `boundwalk report` write what it shows",
        );
    }
    let stamps = Stamps::of(arguments.site.path());
    let mut terminal = ratatui::try_init()?;
    terminal.draw(screen::waiting)?;
    let data = match Data::load(&arguments.site) {
        Ok(data) => data,
        Err(broken) => {
            ratatui::try_restore()?;
            print_problems(&broken.sources, &broken.problems, Severity::Error, output)?;
            return output.failed("the site does not load");
        }
    };
    let colour = output.paint().colour;
    let mut window = Window {
        state: State::new(&data),
        data,
        stamps,
        arguments,
        colour,
    };
    let result = window.follow(&mut terminal);
    ratatui::try_restore()?;
    result.map(|()| Verdict::Clean)
}

/// What is shown, and where it came from.
struct Window<'a> {
    state: State,
    data: Data,
    stamps: Stamps,
    arguments: &'a Arguments,
    colour: bool,
}

impl Window<'_> {
    /// Shows, waits for a key or a save, and so on until the end.
    fn follow(&mut self, terminal: &mut DefaultTerminal) -> io::Result<()> {
        loop {
            terminal.draw(|frame| {
                screen::draw(frame, &mut self.state, &self.data, self.colour);
            })?;
            let next = self.wait()?;
            match next {
                Next::Stay => {}
                Next::Quit => return Ok(()),
                Next::Reload => {
                    if self.data.took > NOTICEABLE {
                        self.state.say("reading the site ...");
                        terminal.draw(|frame| {
                            screen::draw(frame, &mut self.state, &self.data, self.colour);
                        })?;
                    }
                    self.reload();
                }
                Next::Edit(place) => {
                    self.edit(&place)?;
                    *terminal = ratatui::try_init()?;
                    terminal.clear()?;
                }
            }
        }
    }

    /// Until a key, another size of the window, or a save.
    fn wait(&mut self) -> io::Result<Next> {
        loop {
            if event::poll(POLL)? {
                match event::read()? {
                    Event::Key(key) if key.kind == KeyEventKind::Press => {
                        return Ok(self.state.key(key, &self.data));
                    }
                    Event::Resize(..) => return Ok(Next::Stay),
                    _ => {}
                }
            }
            if self.stamps.saved(self.arguments.site.path()) {
                return Ok(Next::Reload);
            }
        }
    }

    /// Reads the site again; where it does not load, what was known stays.
    fn reload(&mut self) {
        match Data::load(&self.arguments.site) {
            Ok(data) => {
                let text = data.since(&self.data);
                self.data = data;
                self.state.renew(&self.data, text);
            }
            Err(broken) => self.state.broken(&broken),
        }
    }

    /// Opens a place in the editor of the user, on a screen of its own.
    fn edit(&mut self, place: &Place) -> io::Result<()> {
        ratatui::try_restore()?;
        let editor = ["VISUAL", "EDITOR"].into_iter().find_map(|name| {
            let value = std::env::var(name).ok()?;
            (!value.trim().is_empty()).then_some(value)
        });
        let Some(editor) = editor else {
            self.state
                .say("set VISUAL or EDITOR to the program that e is to open a place in");
            return Ok(());
        };
        let mut words = editor.split_whitespace();
        let program = words.next().unwrap_or_default();
        let ran = Command::new(program)
            .args(words)
            .arg(format!("+{}", place.line))
            .arg(Path::new(&place.file))
            .status();
        if let Err(error) = ran {
            self.state.say(&format!("can't start {program}: {error}"));
        }
        Ok(())
    }
}
