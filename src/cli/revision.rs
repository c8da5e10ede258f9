//! A site as it was at a revision: read with git, without touching the work tree.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::load::{Loaded, load_texts};

/// Reads a file, or the `*.toml` files directly in a folder, as they stood at a revision.
///
/// # Errors
/// What git says, in one line, with what to do.
pub(super) fn load_revision(path: &Path, revision: &str) -> Result<Loaded, String> {
    if revision.starts_with('-') || revision.is_empty() {
        return Err(format!("`{revision}` is no revision"));
    }
    let folder = match path.is_dir() {
        true => path.to_owned(),
        false => path.parent().map_or_else(PathBuf::new, Path::to_owned),
    };
    let folder = match folder.as_os_str().is_empty() {
        true => PathBuf::from("."),
        false => folder,
    };
    let object = format!("{revision}^{{commit}}");
    git(
        &folder,
        &[
            "rev-parse",
            "--verify",
            "--quiet",
            "--end-of-options",
            &object,
        ],
    )
    .map_err(|error| match error.is_empty() {
        true => format!("git knows no revision `{revision}` in {}", folder.display()),
        false => error,
    })?;
    let names = match path.is_dir() {
        true => listed(&folder, revision)?,
        false => vec![
            path.file_name()
                .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
        ],
    };
    let mut texts = Vec::new();
    for name in names {
        let text = git(
            &folder,
            &["show", "--end-of-options", &format!("{revision}:./{name}")],
        )?;
        let shown = folder.join(&name);
        texts.push((format!("{} at {revision}", shown.display()), text));
    }
    Ok(load_texts(texts))
}

/// Names of the TOML files directly in a folder at a revision, in name order.
fn listed(folder: &Path, revision: &str) -> Result<Vec<String>, String> {
    let arguments = [
        "ls-tree",
        "-z",
        "--name-only",
        "--end-of-options",
        revision,
        "./",
    ];
    let list = git(folder, &arguments)?;
    let names = list.split('\0').filter(|name| name.ends_with(".toml"));
    let mut names: Vec<String> = names
        .map(|name| name.rsplit('/').next().unwrap_or(name).to_owned())
        .collect();
    names.sort();
    match names.is_empty() {
        true => Err(format!(
            "at {revision} no file in {} ends in .toml",
            folder.display()
        )),
        false => Ok(names),
    }
}

/// What git prints.
fn git(folder: &Path, arguments: &[&str]) -> Result<String, String> {
    let mut command = Command::new("git");
    command.arg("-C").arg(folder).args(arguments);
    // Nothing is written, not even an index that could be refreshed.
    command.env("GIT_OPTIONAL_LOCKS", "0").env("LC_ALL", "C");
    let output = command
        .output()
        .map_err(|error| format!("can't run git: {error}; install it, or name two versions"))?;
    if !output.status.success() {
        let said = String::from_utf8_lossy(&output.stderr);
        let said = said.trim().lines().next().unwrap_or_default();
        return Err(match said.is_empty() {
            true => String::new(),
            false => format!("git: {said}"),
        });
    }
    String::from_utf8(output.stdout)
        .map_err(|_| "the revision holds text that is not UTF-8".to_owned())
}
