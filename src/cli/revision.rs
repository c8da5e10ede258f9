//! A site as it was at a revision: read with git, without touching the work tree.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use boundwalk_load::{LARGEST_FILE, Loaded, is_site_name, load_texts};

use super::git::{Entry, EntryKind, Git};

/// Longest chain of links that is followed, as of most file systems.
const MOST_LINKS: usize = 40;
/// Longest target of a link, in bytes.
const LONGEST_TARGET: u64 = 4096;
/// Most bytes of all files of a folder.
const MOST_BYTES: u64 = 16 * LARGEST_FILE;

/// Reads a file, or the `*.toml` files directly in a folder, as they stood at a revision. A link is followed within its
/// folder, as it stood then; nothing else than the folder's own files is read.
///
/// # Errors
/// What git says, in one line, with what to do.
pub(super) fn load_revision(path: &Path, revision: &str) -> Result<Loaded, String> {
    if revision.starts_with('-') || revision.is_empty() {
        return Err(format!("`{revision}` is no revision"));
    }
    let folder = if path.is_dir() {
        path.to_owned()
    } else {
        path.parent().map_or_else(PathBuf::new, Path::to_owned)
    };
    let folder = if folder.as_os_str().is_empty() {
        PathBuf::from(".")
    } else {
        folder
    };
    let git = Git::around(&folder);
    let commit = git.commit(revision).map_err(|error| {
        if error.is_empty() {
            format!("git knows no revision `{revision}` in {}", folder.display())
        } else {
            error
        }
    })?;
    let entries = git
        .entries(&commit)?
        .into_iter()
        .map(|entry| (entry.name.clone(), entry))
        .collect();
    let then = Then {
        git,
        revision,
        folder: &folder,
        entries,
    };
    let texts = if path.is_dir() {
        then.all()?
    } else {
        vec![then.named(&path.file_name().unwrap_or_default().to_string_lossy())?]
    };
    Ok(load_texts(texts))
}

/// A folder at a revision.
struct Then<'p> {
    git: Git<'p>,
    revision: &'p str,
    folder: &'p Path,
    entries: BTreeMap<String, Entry>,
}

impl Then<'_> {
    /// The files of the site, in name order.
    fn all(&self) -> Result<Vec<(String, String)>, String> {
        let mut files: Vec<(&str, &Entry)> = Vec::new();
        for entry in self.entries.values() {
            if !is_site_name(Path::new(&entry.name)) {
                continue;
            }
            let meant = self.followed(&entry.name)?;
            if meant.kind == EntryKind::File {
                files.push((&entry.name, meant));
            }
        }
        files.sort_by_key(|(name, _)| *name);
        if files.is_empty() {
            let (revision, folder) = (self.revision, self.folder.display());
            return Err(format!("at {revision} no file in {folder} ends in .toml"));
        }
        self.texts(&files)
    }

    /// One file.
    fn named(&self, name: &str) -> Result<(String, String), String> {
        let meant = self.followed(name)?;
        match meant.kind {
            EntryKind::File => Ok(self.texts(&[(name, meant)])?.remove(0)),
            _ => Err(format!(
                "at {} {} is a folder",
                self.revision,
                self.shown(name)
            )),
        }
    }

    /// What a name leads to.
    fn followed(&self, name: &str) -> Result<&Entry, String> {
        let mut name = name.to_owned();
        for _ in 0..MOST_LINKS {
            let Some(entry) = self.entries.get(&name) else {
                let (revision, shown) = (self.revision, self.shown(&name));
                return Err(format!("at {revision} there is no {shown}"));
            };
            if entry.kind != EntryKind::Link {
                return Ok(entry);
            }
            let target = self.git.objects(&[entry], LONGEST_TARGET)?.concat();
            let target = String::from_utf8_lossy(&target).into_owned();
            name = within(&target).ok_or_else(|| {
                let shown = self.shown(&entry.name);
                format!(
                    "at {} {shown} is a link to {target}, which is not in the same folder",
                    self.revision
                )
            })?;
        }
        let shown = self.shown(&name);
        Err(format!(
            "at {} {shown} is a link that leads back to itself",
            self.revision
        ))
    }

    /// Files with their names as messages have them.
    fn texts(&self, files: &[(&str, &Entry)]) -> Result<Vec<(String, String)>, String> {
        let shown = |name: &str| format!("{} at {}", self.shown(name), self.revision);
        if let Some((name, _)) = files.iter().find(|(_, file)| file.size > LARGEST_FILE) {
            return Err(format!(
                "{} is larger than {} MiB",
                shown(name),
                LARGEST_FILE >> 20
            ));
        }
        let entries: Vec<&Entry> = files.iter().map(|(_, file)| *file).collect();
        let texts = self.git.objects(&entries, MOST_BYTES)?.into_iter();
        let texts = files.iter().zip(texts).map(|((name, _), bytes)| {
            let shown = shown(name);
            match String::from_utf8(bytes) {
                Ok(text) => Ok((shown, text)),
                Err(_) => Err(format!("{shown} is not UTF-8 text")),
            }
        });
        texts.collect()
    }

    fn shown(&self, name: &str) -> String {
        self.folder.join(name).display().to_string()
    }
}

/// The name in the same folder that the target of a link means; `None` where it leads elsewhere.
fn within(target: &str) -> Option<String> {
    let parts = Path::new(target).components();
    let mut name = None;
    for part in parts {
        match part {
            Component::CurDir => {}
            Component::Normal(own) if name.is_none() => {
                name = Some(own.to_string_lossy().into_owned());
            }
            _ => return None,
        }
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_links_to_the_same_folder_are_followed() {
        assert_eq!(within("b.toml").as_deref(), Some("b.toml"));
        assert_eq!(within("./b.toml").as_deref(), Some("b.toml"));
        for elsewhere in ["../b.toml", "sub/b.toml", "/etc/hostname", ""] {
            assert_eq!(within(elsewhere), None, "{elsewhere}");
        }
    }
}
