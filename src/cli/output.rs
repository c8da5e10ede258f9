//! Standard output and standard error, and what they can show.

use std::io::{self, IsTerminal, Write};

use anstream::{AutoStream, ColorChoice};
use clap::ValueEnum;
use terminal_size::{Height, Width, terminal_size_of};

use boundwalk_render::{TextStyle, cut_middle, escape_invisible};

use super::progress::Waiting;
use super::verdict::Verdict;

/// When to colour.
#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Where results and problems go.
///
/// A reader that closes its end early wants no more text; what was found stays found. Whatever is printed after that
/// goes nowhere, and the command ends with the verdict that it comes to.
pub struct Output {
    out: io::BufWriter<io::Stdout>,
    choice: Colour,
    closed: bool,
    /// Ends with the first thing that is printed.
    waiting: Option<Waiting>,
}

/// A stream that nobody reads any more takes all that is left.
pub(super) fn unless_closed(result: io::Result<()>) -> io::Result<()> {
    match result {
        Err(error) if is_closed(&error) => Ok(()),
        other => other,
    }
}

fn is_closed(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::BrokenPipe
}

impl Output {
    /// The streams of this process.
    pub fn new(choice: Colour) -> Self {
        Self {
            out: io::BufWriter::new(io::stdout()),
            choice,
            closed: false,
            waiting: None,
        }
    }

    /// Says on a terminal that work goes on, until something is printed.
    pub fn wait(&mut self) {
        self.waiting = Waiting::begin();
    }

    /// How results may look.
    pub fn text_style(&self) -> TextStyle {
        TextStyle {
            colour: coloured(self.choice, &io::stdout()),
            columns: columns(
                io::stdout()
                    .is_terminal()
                    .then(|| terminal_size_of(io::stdout()))
                    .flatten(),
            ),
        }
    }

    /// How problems may look.
    pub fn error_paint(&self) -> TextStyle {
        TextStyle {
            colour: coloured(self.choice, &io::stderr()),
            columns: columns(
                io::stderr()
                    .is_terminal()
                    .then(|| terminal_size_of(io::stderr()))
                    .flatten(),
            ),
        }
    }

    /// Writes to standard output.
    ///
    /// # Errors
    /// What the stream says.
    pub fn print(&mut self, text: &str) -> io::Result<()> {
        self.waiting = None;
        let written = self.out.write_all(text.as_bytes());
        self.written(written)
    }

    /// Lets something write to standard output that is too long to be held as a whole.
    ///
    /// # Errors
    /// What the stream says.
    pub fn write(
        &mut self,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> io::Result<()> {
        self.waiting = None;
        let written = write(&mut self.out);
        self.written(written)
    }

    /// Whether nobody reads standard output any more, as far as a write has shown it.
    pub fn is_closed(&self) -> bool {
        self.closed
    }

    /// Takes note where nobody reads any more; that is no error.
    fn written(&mut self, result: io::Result<()>) -> io::Result<()> {
        self.closed |= result.as_ref().is_err_and(is_closed);
        unless_closed(result)
    }

    /// Writes to standard error.
    ///
    /// # Errors
    /// What the stream says.
    pub fn complain(&mut self, text: &str) -> io::Result<()> {
        let waiting = self.waiting.take().is_some();
        // Why a result can't be written is said even so.
        let flushed = self.flush();
        unless_closed(io::stderr().lock().write_all(text.as_bytes()))?;
        if waiting {
            self.wait();
        }
        flushed
    }

    /// Says on standard error why something can't be done. What comes from a command line or a file may
    /// stand in the message as it is: nothing in it can disturb the terminal.
    ///
    /// # Errors
    /// What the stream says.
    pub fn refuse(&mut self, message: &str) -> io::Result<()> {
        let word = self.error_paint().strong("error:");
        self.complain(&format!(
            "{word} {}\n",
            cut_middle(&escape_invisible(message), 800, (600, " … ", 200))
        ))
    }

    /// The same, and that the command could not run.
    ///
    /// # Errors
    /// What the stream says.
    pub(super) fn failed(&mut self, message: &str) -> io::Result<Verdict> {
        self.refuse(message)?;
        Ok(Verdict::Failed)
    }

    /// Hands on what is buffered.
    ///
    /// # Errors
    /// What the stream says.
    pub fn flush(&mut self) -> io::Result<()> {
        self.waiting = None;
        let flushed = self.out.flush();
        self.written(flushed)
    }
}

fn coloured<S: anstream::stream::RawStream>(choice: Colour, stream: &S) -> bool {
    match choice {
        Colour::Always => true,
        Colour::Never => false,
        Colour::Auto => AutoStream::choice(stream) != ColorChoice::Never,
    }
}

/// Columns of a stream that is a terminal of this size; of a pipe (`None`) what `COLUMNS` says, else 80.
fn columns(terminal: Option<(Width, Height)>) -> usize {
    let given = std::env::var("COLUMNS")
        .ok()
        .and_then(|text| text.parse().ok());
    terminal
        .map(|(width, _)| usize::from(width.0))
        .or(given)
        .unwrap_or(80)
        .clamp(40, 400)
}
