//! Files that others wrote, opened with care: regular files only, and never more of them than was asked for.

use std::fs::{File, Metadata};
use std::io::{self, Read};
use std::path::Path;

/// Largest input that is held in memory as a whole, in bytes. A site of 100,000 rules takes about 30 MiB.
pub const LARGEST_FILE: u64 = 64 * 1024 * 1024;

/// Opens a regular file. A pipe, a device or a socket is refused before it is opened: it may have no end, or no other
/// side.
///
/// # Errors
/// What the system says, or what the path is instead, in words.
pub fn open_file(path: &Path) -> io::Result<File> {
    check(&std::fs::metadata(path)?)?;
    let file = File::open(path)?;
    // The path may name something else by now.
    check(&file.metadata()?)?;
    Ok(file)
}

/// Reads a regular file of at most `most` bytes.
///
/// # Errors
/// Those of [`open_file`]; [`io::ErrorKind::FileTooLarge`] where it holds more, whatever its length was said to be.
pub fn read_file(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    bounded(open_file(path)?, most)
}

/// Reads standard input of at most `most` bytes.
///
/// # Errors
/// What the stream says; [`io::ErrorKind::FileTooLarge`] where there is more.
pub fn read_input(most: u64) -> io::Result<Vec<u8>> {
    bounded(io::stdin().lock(), most)
}

fn bounded(from: impl Read, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    from.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        let text = format!("it is larger than {} MiB", most / (1024 * 1024));
        return Err(io::Error::new(io::ErrorKind::FileTooLarge, text));
    }
    Ok(bytes)
}

/// The reason without the number that the operating system adds.
pub fn reason(error: &io::Error) -> String {
    let text = error.to_string();
    match text.find(" (os error") {
        Some(end) => text[..end].to_lowercase(),
        None => text,
    }
}

/// By which program the first bytes of an input say that it was packed.
#[must_use]
pub fn packed_by(start: &[u8]) -> Option<&'static str> {
    // RFC 1952 section 2.3.1, RFC 8878 section 3.1.1; the others as the programs write them.
    const MARKS: [(&[u8], &str); 4] = [
        (&[0x1f, 0x8b], "gzip"),
        (&[0x28, 0xb5, 0x2f, 0xfd], "zstd"),
        (&[0xfd, 0x37, 0x7a, 0x58, 0x5a], "xz"),
        (b"BZh", "bzip2"),
    ];
    let marks = MARKS.iter().find(|(mark, _)| start.starts_with(mark));
    marks.map(|(_, program)| *program)
}

fn check(facts: &Metadata) -> io::Result<()> {
    match other_than_file(facts) {
        None => Ok(()),
        Some(what) => {
            let advice = if what == "a pipe" {
                "; what a pipe brings is read as `-`, where an input may be that"
            } else {
                ""
            };
            let text = format!("it is {what}, not a file{advice}");
            Err(io::Error::new(io::ErrorKind::InvalidInput, text))
        }
    }
}

#[cfg(unix)]
fn other_than_file(facts: &Metadata) -> Option<&'static str> {
    use std::os::unix::fs::FileTypeExt;
    let kind = facts.file_type();
    match kind {
        _ if kind.is_file() => None,
        _ if kind.is_dir() => Some("a folder"),
        _ if kind.is_fifo() => Some("a pipe"),
        _ if kind.is_socket() => Some("a socket"),
        _ => Some("a device"),
    }
}

#[cfg(not(unix))]
fn other_than_file(facts: &Metadata) -> Option<&'static str> {
    match facts.is_file() {
        true => None,
        false if facts.is_dir() => Some("a folder"),
        false => Some("a device or a pipe"),
    }
}
