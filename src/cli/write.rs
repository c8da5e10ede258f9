//! Changed files to the disk: each as a whole or not at all.

use std::fmt;
use std::fs::{self, File, Metadata, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use boundwalk_load::EditedFile;

use super::attributes;
use super::unfinished::Unfinished;

/// Why files were not written. Each file holds either its old text or its new one, never a part.
#[derive(Debug)]
#[non_exhaustive]
pub struct WriteError {
    /// Names of the files that have their new text.
    pub done: Vec<String>,
    /// Name of the file at which it ended.
    pub file: String,
    /// Names of the files behind it, which have their old text as it has.
    pub left: Vec<String>,
    /// What was in the way.
    pub reason: Reason,
}

/// What is in the way of writing a file.
#[derive(Debug)]
#[non_exhaustive]
pub enum Reason {
    /// It is not the text that was read.
    Changed,
    /// It is marked as read-only.
    ReadOnly,
    /// The new file would have another owner or group.
    Owner,
    /// Another run is writing it.
    Busy,
    /// The new file would lose an extended attribute or an access list, by this name.
    Attribute(String),
    /// It is a folder, or a device or pipe, which can't be put in its place.
    NoFile,
    /// What the operating system says.
    Io(io::Error),
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "can't write {}: {}", self.file, self.reason)?;
        if self.done.is_empty() {
            return f.write_str("; nothing was changed");
        }
        write!(f, "; written before: {}", self.done.join(", "))?;
        if self.left.is_empty() {
            Ok(())
        } else {
            write!(f, "; not written: {}", self.left.join(", "))
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Changed => f.write_str("it was changed after it was read; run the command again"),
            Self::ReadOnly => f.write_str("it is read-only; allow writing to it first"),
            Self::Owner => {
                f.write_str("it would get another owner or group; run this as its owner")
            }
            Self::Busy => f.write_str("another run is writing it; run the command again"),
            Self::Attribute(name) => write!(
                f,
                "it has the attribute {name}, which a new file would lose; run this as its owner, or remove the attribute"
            ),
            Self::NoFile => f.write_str("it is a folder or a device; name a file"),
            Self::Io(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for WriteError {}

impl std::error::Error for Reason {}

impl From<io::Error> for Reason {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// Puts the new texts into the files, which are found by the names that they were loaded by.
///
/// All new texts are written beside the old ones first, with the same permissions, owner, group, access list and extended
/// attributes; only then each takes its place in one step, so that whoever reads a file sees the old text or the new
/// one, also after a loss of power. A symbolic link stays, the file it leads to is replaced. A file with several hard links is parted from
/// the others.
///
/// # Errors
/// Refuses a file that does not hold the text that was read, or that is read-only, before anything is
/// changed. What goes wrong later is told with the files that are done by then.
pub fn replace(files: &[EditedFile]) -> Result<(), WriteError> {
    let mut ready = Vec::with_capacity(files.len());
    for (number, file) in files.iter().enumerate() {
        let prepared = Change::of(file).map_err(Reason::from);
        let prepared = prepared.and_then(|change| change.prepare().map(|new| (change, new)));
        ready.push(prepared.map_err(|reason| failure(files, 0, number, reason))?);
    }
    for (number, (change, new)) in ready.into_iter().enumerate() {
        let put = change.put(new);
        put.map_err(|reason| failure(files, number, number, reason))?;
    }
    Ok(())
}

/// Writes a whole text into a file, which may be a new one: whoever reads it sees the old text or the new one. What
/// is no file, as `/dev/stdout` or a pipe, stays what it is and is written to.
///
/// # Errors
/// What is in the way, in words; the file is as it was then.
pub fn put_text(path: &Path, text: &str) -> Result<(), String> {
    let name = path.to_string_lossy().into_owned();
    let failed = |reason: Reason| format!("can't write {name}: {reason}");
    if name == "-" {
        return Err(
            "`-` would be a file of that name: write ./- if that is meant, /dev/stdout to print it"
                .to_owned(),
        );
    }
    match fs::metadata(path) {
        Ok(metadata) if metadata.is_dir() => return Err(failed(Reason::NoFile)),
        Ok(metadata) if !metadata.is_file() => {
            return pass_on(path, text).map_err(|error| failed(error.into()));
        }
        _ => {}
    }
    match fs::canonicalize(path) {
        Ok(target) => {
            let before = fs::read(&target).map_err(|error| failed(error.into()))?;
            let change = Change {
                target,
                before: &before,
                after: text.as_bytes(),
            };
            let ready = change.prepare().map_err(failed)?;
            change.put(ready).map_err(failed)
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            create(&behind_links(path), text).map_err(|reason| match reason {
                Reason::Io(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                    format!("can't write {name}: another run wrote it meanwhile; it is left as that run wrote it")
                }
                other => failed(other),
            })
        }
        Err(error) => Err(failed(error.into())),
    }
}

/// The path that a link to nothing names: what is written through it is made there.
fn behind_links(path: &Path) -> PathBuf {
    // As many as most file systems follow.
    const MOST_LINKS: usize = 40;
    let mut path = path.to_owned();
    for _ in 0..MOST_LINKS {
        let Ok(target) = fs::read_link(&path) else {
            break;
        };
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        path = folder.join(target);
    }
    path
}

/// Writes to a device or a pipe.
fn pass_on(path: &Path, text: &str) -> io::Result<()> {
    let mut open = File::options().write(true).open(path)?;
    open.write_all(text.as_bytes())?;
    open.flush()
}

/// A new file, with its whole text at once.
///
/// # Errors
/// What is in the way: that there is one already, among others.
pub fn create(path: &Path, text: &str) -> Result<(), Reason> {
    let folder = path.parent().filter(|folder| *folder != Path::new(""));
    if let Some(missing) = folder.filter(|folder| !folder.exists()) {
        return Err(Reason::from(io::Error::new(
            io::ErrorKind::NotFound,
            format!("there is no folder {}", missing.display()),
        )));
    }
    let folder = folder.unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    // Others may read what is no secret, as of any new file; the mask of the process still holds.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut new = Unfinished::beside(folder, builder)?;
    new.file.write_all(text.as_bytes())?;
    new.file.as_file().sync_all()?;
    new.file
        .persist_noclobber(path)
        .map_err(|error| error.error)?;
    Ok(())
}

fn failure(files: &[EditedFile], done: usize, at: usize, reason: Reason) -> WriteError {
    let names = |files: &[EditedFile]| files.iter().map(|file| file.name.clone()).collect();
    WriteError {
        done: names(&files[..done]),
        file: files[at].name.clone(),
        left: names(&files[at + 1..]),
        reason,
    }
}

/// A file that is there, and what it is to become.
struct Change<'t> {
    target: PathBuf,
    before: &'t [u8],
    after: &'t [u8],
}

impl<'t> Change<'t> {
    fn of(file: &'t EditedFile) -> io::Result<Self> {
        Ok(Self {
            target: fs::canonicalize(&file.name)?,
            before: file.before.as_bytes(),
            after: file.after.as_bytes(),
        })
    }

    /// The new text beside the old one.
    fn prepare(&self) -> Result<Unfinished, Reason> {
        let metadata = fs::metadata(&self.target)?;
        // Before it is read: a device may have no end, and a file must never take its place.
        if !metadata.is_file() {
            return Err(Reason::NoFile);
        }
        self.check_unchanged()?;
        if metadata.permissions().readonly() {
            return Err(Reason::ReadOnly);
        }
        let folder = self.target.parent().unwrap_or(Path::new("."));
        let mut new = Unfinished::beside(folder, tempfile::Builder::new())?;
        new.file.write_all(self.after)?;
        keep_owner(new.file.as_file(), &metadata)?;
        // After the owner: a change of owner may clear bits.
        new.file.as_file().set_permissions(metadata.permissions())?;
        attributes::keep(&self.target, new.file.as_file()).map_err(Reason::Attribute)?;
        new.file.as_file().sync_all()?;
        Ok(new)
    }

    fn check_unchanged(&self) -> Result<(), Reason> {
        if fs::read(&self.target)? == self.before {
            Ok(())
        } else {
            Err(Reason::Changed)
        }
    }

    /// Lets the new text take the place of the old one. Of two runs that do so at once one finds the file locked, or
    /// changed.
    fn put(&self, new: Unfinished) -> Result<(), Reason> {
        let old = File::open(&self.target)?;
        match old.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(Reason::Busy),
            // Some file systems know no locks.
            Err(TryLockError::Error(_)) => {}
        }
        self.check_unchanged()?;
        new.file
            .persist(&self.target)
            .map_err(|error| error.error)?;
        if let Some(folder) = self.target.parent().filter(|_| cfg!(unix)) {
            // The new text is there already; some file systems can't promise more than that.
            let _ = File::open(folder).and_then(|folder| folder.sync_all());
        }
        Ok(())
    }
}

#[cfg(unix)]
fn keep_owner(new: &File, old: &Metadata) -> Result<(), Reason> {
    use std::os::unix::fs::{MetadataExt, fchown};
    let own = new.metadata()?;
    if (own.uid(), own.gid()) == (old.uid(), old.gid()) {
        return Ok(());
    }
    fchown(new, Some(old.uid()), Some(old.gid())).map_err(|_| Reason::Owner)
}

#[cfg(not(unix))]
fn keep_owner(_new: &File, _old: &Metadata) -> Result<(), Reason> {
    Ok(())
}
