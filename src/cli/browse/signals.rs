//! Signals that end the program: the terminal is given back first.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Notes that the program was asked to end.
pub(super) struct Signals {
    asked: Vec<(i32, Arc<AtomicBool>)>,
}

#[cfg(unix)]
const ENDING: [i32; 3] = [
    signal_hook::consts::SIGHUP,
    signal_hook::consts::SIGINT,
    signal_hook::consts::SIGTERM,
];

impl Signals {
    /// From now on they are noted instead of ending it at once.
    #[cfg(unix)]
    pub(super) fn noted() -> io::Result<Self> {
        let mut asked = Vec::new();
        for signal in ENDING {
            let flag = Arc::new(AtomicBool::new(false));
            signal_hook::flag::register(signal, Arc::clone(&flag))?;
            asked.push((signal, flag));
        }
        Ok(Self { asked })
    }

    #[cfg(not(unix))]
    pub(super) fn noted() -> io::Result<Self> {
        Ok(Self { asked: Vec::new() })
    }

    /// The signal that came, if one did.
    pub(super) fn came(&self) -> Option<i32> {
        let mut asked = self.asked.iter();
        let came = asked.find(|(_, flag)| flag.load(Ordering::Relaxed));
        came.map(|(signal, _)| *signal)
    }
}

/// Ends the program as the signal would have.
#[cfg(unix)]
pub(super) fn end_by(signal: i32) -> io::Result<()> {
    signal_hook::low_level::emulate_default_handler(signal)
}

#[cfg(not(unix))]
pub(super) fn end_by(_signal: i32) -> io::Result<()> {
    Ok(())
}
