//! Signals that end the program.

/// Runs something before a signal ends the program, then lets it end as the signal would have: the signals of POSIX that
/// people and other programs send and that end a program by default. What was named last runs first; naming it again changes nothing.
///
/// It runs on a thread of its own: the rest of the program may wait for something that never comes.
///
/// # Errors
/// What the system says where signals can't be watched.
#[cfg(unix)]
pub(super) fn before_ending(clean_up: fn()) -> std::io::Result<()> {
    use signal_hook::consts::{
        SIGABRT, SIGALRM, SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGUSR1, SIGUSR2,
    };
    use signal_hook::iterator::Signals;
    use std::sync::{Mutex, PoisonError};

    /// One list and one thread: else the first to be done would end the program before the others.
    static CLEAN_UPS: Mutex<Vec<fn()>> = Mutex::new(Vec::new());
    let list = || CLEAN_UPS.lock().unwrap_or_else(PoisonError::into_inner);
    let mut known = list();
    if known
        .iter()
        .any(|other| std::ptr::fn_addr_eq(*other, clean_up))
    {
        return Ok(());
    }
    if known.is_empty() {
        let mut signals = Signals::new([
            SIGABRT, SIGALRM, SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGUSR1, SIGUSR2,
        ])?;
        std::thread::spawn(move || {
            for signal in signals.forever() {
                list().iter().rev().for_each(|clean_up| clean_up());
                let _ = signal_hook::low_level::emulate_default_handler(signal);
            }
        });
    }
    known.push(clean_up);
    Ok(())
}

/// Elsewhere there are no such signals.
#[cfg(not(unix))]
pub(super) fn before_ending(_clean_up: fn()) -> std::io::Result<()> {
    Ok(())
}
