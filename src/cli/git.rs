//! What git keeps, read without letting anything of the repository run.
//!
//! A repository is somebody else's text: its settings name programs, its objects may be missing on purpose so that git
//! fetches them by a transport of its choice, and a folder that was cloned may hold a git directory as ordinary files.
//! Only plumbing that names objects is asked, no transport is allowed, nothing is fetched, no replacement is followed, and
//! the environment of a hook is left behind.

use std::path::Path;
use std::process::{Command, Stdio};

/// Something that a tree names.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Entry {
    /// What it is.
    pub kind: Kind,
    /// Its object.
    pub object: String,
    /// Bytes, of a file or of the target of a link.
    pub size: u64,
    /// Its name in its folder.
    pub name: String,
}

/// What an entry of a tree is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    File,
    Link,
    /// A folder or a submodule.
    Folder,
}

/// Variables that say where the user keeps settings; every other one of git's is left behind.
const KEPT: [&str; 5] = [
    "GIT_CONFIG_GLOBAL",
    "GIT_CONFIG_SYSTEM",
    "GIT_CONFIG_NOSYSTEM",
    "GIT_CEILING_DIRECTORIES",
    "GIT_DISCOVERY_ACROSS_FILESYSTEM",
];

/// The repository around a folder.
pub(super) struct Git<'p> {
    folder: &'p Path,
}

impl<'p> Git<'p> {
    /// The one that holds this folder of the work tree.
    pub fn around(folder: &'p Path) -> Self {
        Self { folder }
    }

    /// The commit that a revision means.
    ///
    /// # Errors
    /// What git says; empty where it knows no such revision.
    pub fn commit(&self, revision: &str) -> Result<String, String> {
        let object = format!("{revision}^{{commit}}");
        let asked = ["rev-parse", "--verify", "--quiet", "--end-of-options"];
        let said = self.text(&[&asked[..], &[&object]].concat())?;
        Ok(said.trim().to_owned())
    }

    /// What a commit has directly in the folder.
    ///
    /// # Errors
    /// What git says, or that its answer can't be read.
    pub fn entries(&self, commit: &str) -> Result<Vec<Entry>, String> {
        let list = self.text(&["ls-tree", "-l", "-z", "--end-of-options", commit, "./"])?;
        let lines = list.split('\0').filter(|line| !line.is_empty());
        lines
            .map(|line| entry(line).ok_or_else(|| format!("git lists `{line}`")))
            .collect()
    }

    /// The bytes of an entry, as they were stored: no filter, no conversion.
    ///
    /// # Errors
    /// What git says, or that there are more than `most` bytes.
    pub fn object(&self, entry: &Entry, most: u64) -> Result<Vec<u8>, String> {
        match entry.size > most {
            true => Err(format!("{} has more than {most} bytes", entry.name)),
            false => self.bytes(&["cat-file", "blob", &entry.object]),
        }
    }

    fn text(&self, arguments: &[&str]) -> Result<String, String> {
        let bytes = self.bytes(arguments)?;
        String::from_utf8(bytes).map_err(|_| "git prints something that is not UTF-8".to_owned())
    }

    fn bytes(&self, arguments: &[&str]) -> Result<Vec<u8>, String> {
        let ran = self.command(arguments).output();
        let ran = ran
            .map_err(|error| format!("can't run git: {error}; install it, or name two versions"))?;
        if ran.status.success() {
            return Ok(ran.stdout);
        }
        let said = String::from_utf8_lossy(&ran.stderr);
        let said = said.trim().lines().next().unwrap_or_default();
        Err(match said.is_empty() {
            true => String::new(),
            false => format!("git: {said}"),
        })
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new("git");
        for (name, _) in std::env::vars_os() {
            let name = name.to_string_lossy().into_owned();
            if name.starts_with("GIT_") && !KEPT.contains(&name.as_str()) {
                command.env_remove(&name);
            }
        }
        command
            // No transport is allowed, and nothing that is missing is fetched (git 2.45 and later ask for less).
            .env("GIT_ALLOW_PROTOCOL", "")
            .env("GIT_NO_LAZY_FETCH", "1")
            .env("GIT_NO_REPLACE_OBJECTS", "1")
            // Nothing is written, not even an index that could be refreshed, and nobody is asked.
            .env("GIT_OPTIONAL_LOCKS", "0")
            .env("GIT_TERMINAL_PROMPT", "0")
            .env("LC_ALL", "C");
        for setting in [
            "safe.bareRepository=explicit",
            "protocol.allow=never",
            "core.fsmonitor=false",
            "core.hooksPath=/dev/null",
            "core.attributesFile=/dev/null",
        ] {
            command.args(["-c", setting]);
        }
        command
            .arg("--no-pager")
            .arg("-C")
            .arg(self.folder)
            .args(arguments);
        command.stdin(Stdio::null());
        command
    }
}

/// `MODE TYPE OBJECT SIZE<tab>PATH`.
fn entry(line: &str) -> Option<Entry> {
    let (facts, path) = line.split_once('\t')?;
    let mut facts = facts.split_whitespace();
    let (mode, _) = (facts.next()?, facts.next()?);
    let object = facts.next()?.to_owned();
    let size = facts.next()?.parse().unwrap_or(0);
    let kind = match mode {
        "120000" => Kind::Link,
        "100644" | "100755" | "100664" => Kind::File,
        _ => Kind::Folder,
    };
    Some(Entry {
        kind,
        object,
        size,
        name: path.rsplit('/').next().unwrap_or(path).to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_of_a_tree_are_read() {
        let file = entry("100644 blob 0123 \u{20}  42\tsites/a b.toml").expect("an entry");
        assert_eq!((file.kind, file.size), (Kind::File, 42));
        assert_eq!(file.name, "a b.toml");
        let folder = entry("040000 tree 0123       -\tsites").expect("an entry");
        assert_eq!(folder.kind, Kind::Folder);
        assert_eq!(entry("100644 blob"), None);
    }
}
