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
mod work;

use std::io::{self, IsTerminal};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use clap::Args;
use crossterm::cursor::Show;
use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::DefaultTerminal;

use boundwalk_diagnostic::Severity;

use super::output::Output;
use super::settings::Settings;
use super::signals::before_ending;
use super::site::{Broken, SiteArguments, print_problems};
use super::verdict::Verdict;
use super::watch::{POLL, Stamps};
use data::Data;
use state::{Next, State};
use view::FilePlace;
use work::{Progress, Work};

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

/// Keys that are taken before what they did is drawn, where more wait.
const MOST_UNDRAWN: usize = 1_000;
/// Shorter than a key takes, and not nothing: without any time the reader does not even look at what it holds.
const AT_ONCE: Duration = Duration::from_millis(1);

/// Work that takes longer than this shows a progress message.
const NOTICEABLE: Duration = Duration::from_millis(300);

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    if !io::stdin().is_terminal() || !io::stdout().is_terminal() {
        return output.failed(
            "browse needs a terminal; `boundwalk review` and `boundwalk report` write what it shows",
        );
    }
    before_ending(give_back)?;
    let stamps = Stamps::of(arguments.site.path());
    let work = Work::start(&arguments.site);
    let mut terminal = ratatui::try_init()?;
    let first = first(&work, &mut terminal);
    let end = match first {
        Ok(First::Data(data)) => {
            let mut window = Window {
                state: State::new(&data),
                data: *data,
                stamps,
                arguments,
                colour: output.text_style().colour,
                work: None,
            };
            window.follow(&mut terminal)
        }
        Ok(First::Broken(broken)) => {
            ratatui::try_restore()?;
            print_problems(&broken.sources, &broken.problems, Severity::Error, output)?;
            return output.failed("the site does not load");
        }
        Ok(First::End(end)) => Ok(end),
        Err(error) => Err(error),
    };
    ratatui::try_restore()?;
    match end? {
        End::Asked => Ok(Verdict::Clean),
        End::Lost => output.failed("the review stopped half-way; `boundwalk review` may say why"),
    }
}

/// Gives the terminal back. It may be gone: nothing can be done about that.
fn give_back() {
    let _ = ratatui::try_restore();
    let _ = crossterm::execute!(io::stdout(), Show);
}

/// Why it ends.
enum End {
    /// By a key.
    Asked,
    /// The work was lost.
    Lost,
}

/// What comes of the first reading.
enum First {
    Data(Box<Data>),
    Broken(Broken),
    End(End),
}

/// Waits for the first reading; q and Ctrl-C work meanwhile.
fn first(work: &Work, terminal: &mut DefaultTerminal) -> io::Result<First> {
    terminal.draw(screen::waiting)?;
    loop {
        match work.progress() {
            Progress::Busy => {}
            Progress::Lost => return Ok(First::End(End::Lost)),
            Progress::Done(done) => {
                return Ok(match *done {
                    Ok(data) => First::Data(Box::new(data)),
                    Err(broken) => First::Broken(broken),
                });
            }
        }
        if !event::poll(POLL)? {
            continue;
        }
        match event::read()? {
            Event::Key(key) if key.kind == KeyEventKind::Press && quits(key) => {
                return Ok(First::End(End::Asked));
            }
            Event::Resize(..) => _ = terminal.draw(screen::waiting)?,
            _ => {}
        }
    }
}

/// Whether a key ends the program while there is nothing else to ask.
fn quits(key: KeyEvent) -> bool {
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    key.code == KeyCode::Char('q') || (control && state::ENDS.contains(&key.code))
}

/// What is shown, and where it came from.
struct Window<'a> {
    state: State,
    data: Data,
    stamps: Stamps,
    arguments: &'a Arguments,
    colour: bool,
    /// A newer version that is being read.
    work: Option<Work>,
}

/// What the loop has waited for.
enum Came {
    Key(Next),
    Save,
    Read(Box<Result<Data, Broken>>),
    End(End),
}

impl Window<'_> {
    /// Shows, waits for a key or a save, and so on until the end.
    fn follow(&mut self, terminal: &mut DefaultTerminal) -> io::Result<End> {
        loop {
            terminal.draw(|frame| {
                screen::draw(frame, &mut self.state, &self.data, self.colour);
            })?;
            let came = self.wait_awhile()?;
            match came {
                Came::End(end) => return Ok(end),
                Came::Key(Next::Stay) => {}
                Came::Key(Next::Quit) => return Ok(End::Asked),
                Came::Key(Next::Reload) | Came::Save => self.read_again(),
                Came::Read(read) => self.renew(*read),
                Came::Key(Next::Edit(place)) => {
                    self.edit(&place)?;
                    // A new one draws everything, and its screen is empty: to clear it would ask the terminal where its
                    // cursor is, and not every one answers.
                    *terminal = ratatui::try_init()?;
                }
            }
        }
    }

    /// Takes all keys that wait already before anything is drawn: what somebody pastes is not drawn letter by letter.
    fn wait_awhile(&mut self) -> io::Result<Came> {
        for _ in 0..MOST_UNDRAWN {
            let came = self.wait()?;
            if !matches!(came, Came::Key(Next::Stay)) || !event::poll(AT_ONCE)? {
                return Ok(came);
            }
        }
        Ok(Came::Key(Next::Stay))
    }

    /// Until a key, another size of the window, a save, or the end of a reading.
    fn wait(&mut self) -> io::Result<Came> {
        loop {
            if event::poll(POLL)? {
                match event::read()? {
                    Event::Key(key) if key.kind == KeyEventKind::Press => {
                        return Ok(Came::Key(self.state.key(key, &self.data)));
                    }
                    Event::Resize(..) => return Ok(Came::Key(Next::Stay)),
                    _ => {}
                }
            }
            if self.stamps.saved(self.arguments.site.path()) {
                return Ok(Came::Save);
            }
            match self.work.as_ref().map(Work::progress) {
                None | Some(Progress::Busy) => {}
                Some(Progress::Lost) => return Ok(Came::End(End::Lost)),
                Some(Progress::Done(read)) => return Ok(Came::Read(read)),
            }
        }
    }

    /// Begins to read the site anew. What is being read is of no use any more.
    fn read_again(&mut self) {
        self.work = Some(Work::start(&self.arguments.site));
        if self.data.took > NOTICEABLE {
            self.state.say("reading the site ...");
        }
    }

    /// Shows what was read; where it does not load, what was known stays.
    fn renew(&mut self, read: Result<Data, Broken>) {
        self.work = None;
        match read {
            Ok(data) => {
                let text = data.since(&self.data);
                self.data = data;
                self.state.renew(&self.data, text);
            }
            Err(broken) => self.state.broken(&broken),
        }
    }

    /// Opens a place in the editor of the user, on a screen of its own.
    fn edit(&mut self, place: &FilePlace) -> io::Result<()> {
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
        // As a shell would split it; no shell runs, so nothing else in it means anything.
        let words = shlex::split(&editor).filter(|words| !words.is_empty());
        let Some(words) = words else {
            self.state
                .say("VISUAL or EDITOR has a quote that is not closed");
            return Ok(());
        };
        let program = &words[0];
        let settings = Settings::now();
        let ran = Command::new(program)
            .args(&words[1..])
            .arg(format!("+{}", place.line))
            .arg(Path::new(&place.file))
            .status();
        if let Err(error) = ran {
            self.state.say(&format!("can't start {program}: {error}"));
        }
        settings.restore();
        Ok(())
    }
}
