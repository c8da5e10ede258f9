//! Files that are being written beside those whose place they will take, and what is left of them after a run was
//! stopped.
//!
//! A run that ends by itself removes its own, one that is asked to end (Ctrl-C, SIGTERM) too. After a SIGKILL they stay:
//! the next run that writes in that folder removes them. It knows them by their name, and that nobody is at work on
//! them by a lock, which ends with the run that holds it.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, Once, PoisonError};
use std::time::Duration;

use tempfile::{Builder, NamedTempFile};

use super::signals::before_ending;

const PREFIX: &str = ".boundwalk-";
const SUFFIX: &str = ".new";
/// A file of this age is locked if anybody is at work on it: between making and locking it lie microseconds.
const SETTLED: Duration = Duration::from_secs(2);

/// A file that has no place yet; it is removed unless it gets one.
pub(super) struct Unfinished {
    /// The file.
    pub file: NamedTempFile,
}

/// Those of this run, with those that have their place by now: under their old names is nothing then.
static OWN: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

impl Unfinished {
    /// A new one in a folder, which is cleared of what stopped runs left there.
    pub fn beside(folder: &Path, mut builder: Builder<'_, '_>) -> io::Result<Self> {
        remove_left(folder);
        remove_on_signals();
        builder.prefix(PREFIX).suffix(SUFFIX);
        let file = builder.tempfile_in(folder).map_err(|error| {
            // A name that nobody knows says nothing: what is wrong is wrong with the folder.
            let what = io::Error::from(error.kind());
            io::Error::new(
                error.kind(),
                format!("no new file can be made in {}: {what}", folder.display()),
            )
        })?;
        // Where the file system knows no locks, leftovers are removed by age alone, which is far from now.
        let _ = file.as_file().try_lock();
        let mut own = OWN.lock().unwrap_or_else(PoisonError::into_inner);
        own.insert(file.path().to_owned());
        Ok(Self { file })
    }
}

/// Removes what nobody is at work on.
fn remove_left(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.filter_map(Result::ok) {
        let name = entry.file_name().to_string_lossy().into_owned();
        let file = entry.file_type().is_ok_and(|kind| kind.is_file());
        if file && name.starts_with(PREFIX) && name.ends_with(SUFFIX) && left(&entry.path()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether the run that made it is gone.
fn left(path: &Path) -> bool {
    let Ok(file) = File::open(path) else {
        return false;
    };
    let age = file.metadata().and_then(|facts| facts.modified());
    let age = age.ok().and_then(|made| made.elapsed().ok());
    age.is_some_and(|age| age > SETTLED) && file.try_lock().is_ok()
}

/// Removes those of this run when a signal asks it to end.
fn remove_on_signals() {
    static WATCHED: Once = Once::new();
    WATCHED.call_once(|| {
        // Where signals can't be watched, the next run removes what is left.
        let _ = before_ending(remove_own);
    });
}

fn remove_own() {
    let own = OWN.lock().unwrap_or_else(PoisonError::into_inner);
    for path in own.iter() {
        let _ = fs::remove_file(path);
    }
}
