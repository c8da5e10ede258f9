//! Signals that end the program.

/// Runs something before a signal ends the program (SIGHUP, SIGINT, SIGTERM), then lets it end as the signal would have.
///
/// It runs on a thread of its own: the rest of the program may wait for something that never comes.
///
/// # Errors
/// What the system says where signals can't be watched.
#[cfg(unix)]
pub(super) fn before_ending(clean_up: fn()) -> std::io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    let mut signals = Signals::new([SIGHUP, SIGINT, SIGTERM])?;
    std::thread::spawn(move || {
        for signal in signals.forever() {
            clean_up();
            let _ = signal_hook::low_level::emulate_default_handler(signal);
        }
    });
    Ok(())
}

/// Elsewhere there are no such signals.
#[cfg(not(unix))]
pub(super) fn before_ending(_clean_up: fn()) -> std::io::Result<()> {
    Ok(())
}
