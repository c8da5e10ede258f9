//! How a terminal is set, kept over a program that may leave it otherwise.

/// The settings of the terminal at standard input.
#[cfg(unix)]
pub(super) struct Settings(Option<rustix::termios::Termios>);

#[cfg(unix)]
impl Settings {
    /// As they are now; none where there is no terminal.
    pub(super) fn now() -> Self {
        Self(rustix::termios::tcgetattr(std::io::stdin()).ok())
    }

    /// Sets the terminal so again. It may be gone: nothing can be done about that.
    pub(super) fn restore(&self) {
        use rustix::termios::{OptionalActions, tcsetattr};
        if let Some(settings) = &self.0 {
            let _ = tcsetattr(std::io::stdin(), OptionalActions::Now, settings);
        }
    }
}

/// Elsewhere a terminal has no such settings.
#[cfg(not(unix))]
pub(super) struct Settings;

#[cfg(not(unix))]
impl Settings {
    pub(super) fn now() -> Self {
        Self
    }

    pub(super) fn restore(&self) {}
}
