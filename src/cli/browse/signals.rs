//! Signals that end the program: the terminal is given back first.

use std::io;

/// From now on a signal that ends the program gives the terminal back before it does.
///
/// On a thread of its own: where the terminal itself is gone, waiting for a key may never end.
#[cfg(unix)]
pub(super) fn give_back() -> io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    let mut signals = Signals::new([SIGHUP, SIGINT, SIGTERM])?;
    std::thread::spawn(move || {
        for signal in signals.forever() {
            // The terminal may be gone: nothing can be done about that any more.
            let _ = ratatui::try_restore();
            let _ = ratatui::crossterm::execute!(io::stdout(), ratatui::crossterm::cursor::Show);
            let _ = signal_hook::low_level::emulate_default_handler(signal);
        }
    });
    Ok(())
}

#[cfg(not(unix))]
pub(super) fn give_back() -> io::Result<()> {
    Ok(())
}
