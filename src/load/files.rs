//! Texts from paths: a file, or the TOML files of a folder in name order.

use std::path::{Path, PathBuf};

use crate::diagnostic::{Problem, Source, Sources};

use super::kinds;
use super::report::Report;

/// Largest file, in bytes. A site of 100,000 rules takes about 30 MiB.
pub(super) const LARGEST_FILE: u64 = 64 * 1024 * 1024;

/// Reads a file or a folder. Display names are `path` as given, for a folder joined with the file name.
pub(super) fn read_path(report: &mut Report, path: &Path) -> Sources {
    let mut sources = Sources::default();
    for file in paths(report, path) {
        if let Some(text) = read_file(report, &file) {
            sources.add(Source::new(file.display().to_string(), text));
        }
    }
    sources
}

/// Says that a text is too large; true where it is.
pub(super) fn too_large(report: &mut Report, name: &str, length: u64) -> bool {
    let over = length > LARGEST_FILE;
    if over {
        let message = format!("{name} is larger than {} MiB", LARGEST_FILE / (1024 * 1024));
        let problem = Problem::general(&kinds::TOO_LARGE, message);
        report.push(problem.help("split the site into several files of one folder"));
    }
    over
}

/// Whether a file of a folder is part of the site.
pub fn is_site_file(file: &Path) -> bool {
    file.extension().is_some_and(|ending| ending == "toml") && !file.is_dir()
}

fn paths(report: &mut Report, path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() {
        return vec![path.to_owned()];
    }
    let entries = match std::fs::read_dir(path) {
        Ok(entries) => entries,
        Err(error) => {
            report.push(unreadable(path, &error));
            return Vec::new();
        }
    };
    let mut files = Vec::new();
    for entry in entries {
        match entry {
            Ok(entry) => files.push(path.join(entry.file_name())),
            Err(error) => report.push(unreadable(path, &error)),
        }
    }
    files.retain(|file| is_site_file(file));
    files.sort();
    if files.is_empty() {
        let message = format!("no file in {} ends in .toml", path.display());
        let problem = Problem::general(&kinds::NO_TOML_FILES, message);
        report
            .push(problem.help("put the site into one or more TOML files directly in this folder"));
    }
    files
}

fn read_file(report: &mut Report, path: &Path) -> Option<String> {
    let length = std::fs::metadata(path).map_or(0, |metadata| metadata.len());
    let name = path.display().to_string();
    if too_large(report, &name, length) {
        return None;
    }
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) => {
            report.push(unreadable(path, &error));
            return None;
        }
    };
    // The length above may have been wrong: pipes have none, files grow.
    if too_large(report, &name, bytes.len() as u64) {
        return None;
    }
    match String::from_utf8(bytes) {
        Ok(text) => Some(text),
        Err(error) => {
            report.push(not_utf8(
                &name,
                error.as_bytes(),
                error.utf8_error().valid_up_to(),
            ));
            None
        }
    }
}

fn unreadable(path: &Path, error: &std::io::Error) -> Problem {
    let message = format!("can't read {}: {}", path.display(), reason(error));
    Problem::general(&kinds::UNREADABLE_FILE, message)
        .help("give the path of a site file or of a folder of them")
}

/// The reason without the number that the operating system adds.
fn reason(error: &std::io::Error) -> String {
    let text = error.to_string();
    let end = text.find(" (os error").unwrap_or(text.len());
    text[..end].to_lowercase()
}

/// The text as a whole can't be shown, so the place goes into the message.
fn not_utf8(name: &str, bytes: &[u8], valid: usize) -> Problem {
    let before = &bytes[..valid];
    let line = before.iter().filter(|&&byte| byte == b'\n').count() + 1;
    let start = before
        .iter()
        .rposition(|&byte| byte == b'\n')
        .map_or(0, |at| at + 1);
    let column = String::from_utf8_lossy(&before[start..]).chars().count() + 1;
    let message = format!(
        "{name}:{line}:{column}: byte 0x{:02x} is not UTF-8 text",
        bytes[valid]
    );
    let problem = Problem::general(&kinds::NOT_UTF8, message);
    problem.help("save the file as UTF-8")
}
