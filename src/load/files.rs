//! Texts from paths: a file, or the TOML files of a folder in name order.

use std::path::{Path, PathBuf};

use boundwalk_diagnostic::{Problem, Source, Sources};

use super::input::{LARGEST_FILE, read_file, reason};
use super::kinds;
use super::report::ProblemReport;

/// Which symbolic links are followed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[non_exhaustive]
pub enum Links {
    /// Those that stay in their folder.
    #[default]
    Within,
    /// All.
    Anywhere,
}

/// Reads a file or a folder. Display names are `path` as given, for a folder joined with the file name.
pub(super) fn read_path(report: &mut ProblemReport, path: &Path, links: Links) -> Sources {
    if !stays(report, path, links) {
        return Sources::default();
    }
    let mut sources = Sources::default();
    for file in paths(report, path) {
        if file != path && !stays(report, &file, links) {
            continue;
        }
        if let Some(text) = read_text(report, &file) {
            sources.add(Source::new(file.display().to_string(), text));
        }
    }
    sources
}

/// Says that a text is too large; true where it is.
pub(super) fn too_large(report: &mut ProblemReport, name: &str, length: u64) -> bool {
    let over = length > LARGEST_FILE;
    if over {
        let message = format!("{name} is larger than {} MiB", LARGEST_FILE / (1024 * 1024));
        let problem = Problem::general(&kinds::TOO_LARGE, message);
        report.push(problem.help("split the site into several files of one folder"));
    }
    over
}

/// Whether a file of a folder is part of the site, by its name and by what it is.
#[must_use]
pub fn is_site_file(file: &Path) -> bool {
    is_site_name(file) && !file.is_dir()
}

/// Whether a file of that name is part of a site: it ends in `.toml`, and is not hidden, as the locks of editors are.
#[must_use]
pub fn is_site_name(file: &Path) -> bool {
    let hidden = file
        .file_name()
        .is_none_or(|name| name.to_string_lossy().starts_with('.'));
    !hidden
        && file
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

/// Whether a path may be read: it is no link, or one that stays in its folder.
fn stays(report: &mut ProblemReport, path: &Path, links: Links) -> bool {
    let is_link = std::fs::symlink_metadata(path).is_ok_and(|facts| facts.is_symlink());
    if links == Links::Anywhere || !is_link {
        return true;
    }
    let Ok(target) = path.canonicalize() else {
        // Reading it says what is wrong.
        return true;
    };
    let folder = path
        .parent()
        .filter(|folder| *folder != Path::new(""))
        .unwrap_or(Path::new("."))
        .canonicalize();
    if folder.is_ok_and(|folder| target.starts_with(folder)) {
        return true;
    }
    let message = format!("{} is a link that leaves its folder", path.display());
    let problem = Problem::general(&kinds::LINK_LEAVES, message);
    report
        .push(problem.help("name the file it leads to, or add --follow-links where you trust it"));
    false
}

fn paths(report: &mut ProblemReport, path: &Path) -> Vec<PathBuf> {
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

fn read_text(report: &mut ProblemReport, path: &Path) -> Option<String> {
    let name = path.display().to_string();
    let bytes = match read_file(path, LARGEST_FILE) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::FileTooLarge => {
            too_large(report, &name, LARGEST_FILE + 1);
            return None;
        }
        Err(error) => {
            report.push(unreadable(path, &error));
            return None;
        }
    };
    match String::from_utf8(bytes) {
        Ok(text) if text.contains('\0') => {
            let message = format!("{name} holds zero bytes, as text in UTF-16 does");
            let problem = Problem::general(&kinds::NOT_UTF8, message);
            report.push(problem.help("save the file as UTF-8"));
            None
        }
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
