//! `change --since` on repositories that try to run or to fetch something.
//!
//! Each shape names a program that leaves a mark. That the shape works is seen by asking git itself, without our
//! precautions, wherever it would run the program for what is asked.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use tempfile::TempDir;

use crate::run::{Ran, ended, program, starter};

/// A repository whose only commit holds the starter site in `site/site.toml`.
struct Repository {
    folder: TempDir,
}

impl Repository {
    fn new() -> Self {
        let own = Self {
            folder: tempfile::tempdir().expect("a folder"),
        };
        own.git(&["init", "--quiet", "-b", "main"]);
        fs::create_dir(own.path("site")).expect("a folder");
        fs::write(own.path("site/site.toml"), starter()).expect("a file");
        own.commit();
        own
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn git(&self, arguments: &[&str]) -> String {
        git(self.folder.path(), arguments)
    }

    fn commit(&self) {
        self.git(&["add", "--all", "--force"]);
        self.git(&["commit", "--quiet", "--message", "a site"]);
    }

    /// A program that leaves a mark, and whether it did.
    fn trap(&self) -> (String, PathBuf) {
        let (trap, mark) = (
            self.path("../").join(self.name("trap")),
            self.path("../").join(self.name("mark")),
        );
        fs::write(
            &trap,
            format!("#!/bin/sh\ntouch '{}'\nexit 1\n", mark.display()),
        )
        .expect("a file");
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(&trap, fs::Permissions::from_mode(0o755)).expect("a program");
        (trap.display().to_string(), mark)
    }

    fn name(&self, what: &str) -> String {
        let own = self
            .folder
            .path()
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        format!("{own}-{what}")
    }

    fn since(&self, path: &str, revision: &str) -> Ran {
        let mut command = program();
        command.current_dir(self.folder.path());
        ended(command.args(["change", path, "--since", revision, "--today", "2026-11-25"]))
    }
}

impl Drop for Repository {
    fn drop(&mut self) {
        for what in ["trap", "mark", "objects"] {
            let path = self.path("../").join(self.name(what));
            let _ = fs::remove_file(&path);
            let _ = fs::remove_dir_all(&path);
        }
    }
}

fn git(folder: &Path, arguments: &[&str]) -> String {
    let ran = Command::new("git")
        .current_dir(folder)
        .args([
            "-c",
            "user.name=test",
            "-c",
            "user.email=test@example.net",
            "-c",
            "commit.gpgsign=false",
        ])
        .args([
            "-c",
            "core.hooksPath=/dev/null",
            "-c",
            "protocol.file.allow=always",
        ])
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .expect("git is there");
    assert!(
        ran.status.success(),
        "git {arguments:?}: {}",
        String::from_utf8_lossy(&ran.stderr)
    );
    String::from_utf8_lossy(&ran.stdout).trim().to_owned()
}

fn alike(ran: &Ran) {
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("No setting differs"), "{ran:?}");
}

#[test]
fn a_site_is_read_as_it_was_committed() {
    let repository = Repository::new();
    alike(&repository.since("site/site.toml", "HEAD"));
    alike(&repository.since("site", "HEAD"));
    let text = starter().replace("action = \"permit\"", "action = \"deny\"");
    fs::write(repository.path("site/site.toml"), text).expect("a file");
    assert_eq!(repository.since("site", "HEAD").code, 1);
    let ran = repository.since("site", "nowhere");
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(ran.err.contains("knows no revision `nowhere`"), "{ran:?}");
}

#[test]
fn settings_of_the_repository_run_nothing() {
    let repository = Repository::new();
    let (trap, mark) = repository.trap();
    for setting in [
        "core.fsmonitor",
        "core.pager",
        "core.sshCommand",
        "core.editor",
        "core.askPass",
        "diff.external",
        "diff.evil.textconv",
        "diff.evil.command",
        "filter.evil.smudge",
        "filter.evil.clean",
        "filter.evil.process",
        "core.alternateRefsCommand",
        "credential.helper",
        "gpg.program",
        "pager.show",
        "pager.ls-tree",
        "alias.show",
        "alias.rev-parse",
        "alias.cat-file",
        "alias.ls-tree",
    ] {
        let value = if setting.starts_with("alias") {
            format!("!{trap}")
        } else {
            trap.clone()
        };
        repository.git(&["config", setting, &value]);
    }
    let hooks = repository.path(".git/hooks");
    for hook in [
        "post-checkout",
        "pre-auto-gc",
        "reference-transaction",
        "post-index-change",
    ] {
        fs::copy(&trap, hooks.join(hook)).expect("a hook");
    }
    fs::write(
        repository.path(".git/info/attributes"),
        "*.toml filter=evil diff=evil\n",
    )
    .expect("a file");
    fs::write(
        repository.path("site/.gitattributes"),
        "*.toml filter=evil diff=evil\n",
    )
    .expect("a file");
    alike(&repository.since("site/site.toml", "HEAD"));
    alike(&repository.since("site", "HEAD"));
    assert!(!mark.exists());
    // The traps are set: git itself falls into one of them.
    let _ = Command::new("git")
        .current_dir(repository.folder.path())
        .args(["show", "--textconv", "HEAD:site/site.toml"])
        .stdin(Stdio::null())
        .output();
    assert!(mark.exists());
}

/// A clone may hold a git directory as ordinary files: git takes it for a repository of its own.
#[test]
fn a_git_directory_among_the_files_is_no_repository() {
    let repository = Repository::new();
    let (trap, mark) = repository.trap();
    let inner = repository.path("site");
    git(&inner, &["init", "--quiet", "--bare", "-b", "main", "."]);
    git(&inner, &["config", "core.fsmonitor", &trap]);
    git(
        &inner,
        &["config", "remote.origin.url", &format!("ext::{trap}")],
    );
    git(&inner, &["config", "remote.origin.promisor", "true"]);
    git(&inner, &["config", "extensions.partialClone", "origin"]);
    git(&inner, &["config", "core.repositoryFormatVersion", "1"]);
    git(&inner, &["config", "protocol.ext.allow", "always"]);
    // A revision whose tree is missing: to read it git would fetch.
    fs::write(
        inner.join("refs/heads/main"),
        "1234567890123456789012345678901234567890\n",
    )
    .expect("a file");
    for path in ["site", "site/site.toml"] {
        for revision in ["HEAD", "main", "1234567890123456789012345678901234567890"] {
            let ran = repository.since(path, revision);
            assert_eq!(ran.code, 2, "{ran:?}");
            assert_eq!(ran.out, "");
        }
    }
    assert!(!mark.exists());
}

/// Objects that are left out on purpose are not fetched, by whatever transport.
#[test]
fn missing_objects_are_not_fetched() {
    for url in [
        "ext::TRAP",
        "TRAP",
        "ssh://example.net/x",
        "http://192.0.2.1/x",
    ] {
        let repository = Repository::new();
        let (trap, mark) = repository.trap();
        let object = repository.git(&["rev-parse", "HEAD:site/site.toml"]);
        let (two, rest) = object.split_at(2);
        for (key, value) in [
            ("core.repositoryFormatVersion", "1"),
            ("extensions.partialClone", "origin"),
            ("remote.origin.promisor", "true"),
            ("remote.origin.url", &url.replace("TRAP", &trap)),
            ("remote.origin.uploadpack", &trap),
            ("core.sshCommand", &trap),
            ("protocol.allow", "always"),
            ("protocol.ext.allow", "always"),
        ] {
            repository.git(&["config", key, value]);
        }
        fs::remove_file(repository.path(&format!(".git/objects/{two}/{rest}"))).expect("an object");
        let ran = repository.since("site/site.toml", "HEAD");
        assert_eq!(ran.code, 2, "{url}: {ran:?}");
        assert!(!mark.exists(), "{url}");
        if url.starts_with("ext::") {
            let _ = Command::new("git")
                .current_dir(repository.folder.path())
                .args(["cat-file", "blob", &object])
                .stdin(Stdio::null())
                .output();
            assert!(mark.exists(), "the trap is set");
        }
    }
}

#[test]
fn replacements_are_not_followed() {
    let repository = Repository::new();
    let own = repository.git(&["rev-parse", "HEAD:site/site.toml"]);
    fs::write(repository.path("other"), "[site]\nname = \"other\"\n").expect("a file");
    let other = repository.git(&["hash-object", "-w", "other"]);
    repository.git(&["replace", &own, &other]);
    alike(&repository.since("site/site.toml", "HEAD"));
}

/// A hook of a linked work tree is run with `GIT_DIR` and its kin set.
#[test]
fn the_environment_of_a_hook_is_left_behind() {
    let repository = Repository::new();
    let (trap, mark) = repository.trap();
    let mut command = program();
    command.current_dir(repository.folder.path());
    command.args(["change", "site", "--since", "HEAD", "--today", "2026-11-25"]);
    for (name, value) in [
        ("GIT_DIR", "/nonexistent"),
        ("GIT_WORK_TREE", "/nonexistent"),
        ("GIT_OBJECT_DIRECTORY", "/nonexistent"),
        ("GIT_ALTERNATE_OBJECT_DIRECTORIES", "/nonexistent"),
        ("GIT_INDEX_FILE", "/nonexistent/index"),
        ("GIT_EXTERNAL_DIFF", trap.as_str()),
        ("GIT_PAGER", trap.as_str()),
        ("GIT_SSH_COMMAND", trap.as_str()),
        ("GIT_CONFIG_COUNT", "1"),
        ("GIT_CONFIG_KEY_0", "core.fsmonitor"),
        ("GIT_CONFIG_VALUE_0", trap.as_str()),
        ("GIT_TRACE", mark.to_str().expect("UTF-8")),
    ] {
        command.env(name, value);
    }
    alike(&ended(&mut command));
    assert!(!mark.exists());
}

/// Of another's objects nothing is shown: a tree that names them ends in an error, not in their text.
#[test]
fn links_and_folders_are_read_as_the_tree_has_them() {
    let repository = Repository::new();
    let site = repository.path("site");
    fs::rename(site.join("site.toml"), site.join("kept.txt")).expect("renamed");
    std::os::unix::fs::symlink("kept.txt", site.join("site.toml")).expect("a link");
    fs::create_dir(site.join("folder.toml")).expect("a folder");
    fs::write(site.join("folder.toml/x"), "not a site").expect("a file");
    fs::write(site.join(".#site.toml"), "not a site").expect("a file");
    repository.commit();
    alike(&repository.since("site", "HEAD"));
    alike(&repository.since("site/site.toml", "HEAD"));
    std::os::unix::fs::symlink("../../../../etc/hostname", site.join("out.toml")).expect("a link");
    repository.commit();
    fs::remove_file(site.join("out.toml")).expect("a link");
    let ran = repository.since("site", "HEAD");
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(
        ran.err.contains("which is not in the same folder"),
        "{ran:?}"
    );
    std::os::unix::fs::symlink("b.toml", site.join("a.toml")).expect("a link");
    std::os::unix::fs::symlink("a.toml", site.join("b.toml")).expect("a link");
    repository.commit();
    let ran = repository.since("site/a.toml", "HEAD");
    assert_eq!(ran.code, 2, "{ran:?}");
}
