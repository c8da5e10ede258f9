//! The hook and the build steps of the read-me file, as they stand there, in a scratch repository.
#![cfg(unix)]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

use crate::run::{Ran, ended, starter};
use crate::sites::{Folder, accepted, shown, with_wide_rule};

/// The day of a run that is not about days.
const DAY: &str = "2026-11-25";

/// The block of shell that holds a text.
fn block(holds: &str) -> &'static str {
    let read_me = include_str!("../../README.md");
    let mut blocks = read_me
        .split("```sh\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next());
    blocks
        .find(|block| block.contains(holds))
        .expect("a block of the read-me file")
}

/// A repository with a site, and the program on the path, told which day it is.
struct Repository {
    folder: Folder,
}

impl Repository {
    fn new(text: &str) -> Self {
        let repository = Self {
            folder: Folder::new(text),
        };
        let bin = repository.folder.path("bin");
        fs::create_dir(&bin).expect("a folder");
        let program = env!("CARGO_BIN_EXE_boundwalk");
        let script = format!("#!/bin/sh\nexec \"{program}\" \"$@\" --today \"$DAY\"\n");
        executable(&bin.join("boundwalk"), &script);
        for words in [
            "git init -q",
            "git config user.name tester",
            "git config user.email tester@example.invalid",
            "git config commit.gpgsign false",
        ] {
            assert_eq!(repository.shell(words, DAY).code, 0, "{words}");
        }
        repository
    }

    /// A script in the folder of the repository, on a day.
    fn shell(&self, script: &str, day: &str) -> Ran {
        let search = std::env::var("PATH").unwrap_or_default();
        let mut command = Command::new("sh");
        command
            .args(["-c", script])
            .current_dir(self.folder.folder.path())
            .env(
                "PATH",
                format!("{}:{search}", shown(&self.folder.path("bin"))),
            )
            .env("DAY", day)
            .env("GIT_CONFIG_GLOBAL", "/dev/null")
            .env("GIT_CONFIG_NOSYSTEM", "1");
        for variable in ["GIT_DIR", "GIT_INDEX_FILE", "GIT_WORK_TREE"] {
            command.env_remove(variable);
        }
        ended(&mut command)
    }

    fn write_baseline(&self) {
        let ran = self.shell(
            "boundwalk review site.toml --write-baseline baseline.json",
            DAY,
        );
        assert_eq!(ran.code, 0, "{ran:?}");
    }

    /// Stages the site and the baseline and commits them, on a day; true where the hook lets it.
    fn commits(&self, day: &str) -> bool {
        let staged = self.shell("git add site.toml baseline.json", day);
        assert_eq!(staged.code, 0, "{staged:?}");
        let ran = self.shell("git commit -q --allow-empty -m change", day);
        assert!(ran.code < 2, "{ran:?}");
        ran.code == 0
    }

    fn count(&self) -> usize {
        self.shell("git log --oneline", DAY).out.lines().count()
    }
}

fn executable(path: &Path, text: &str) {
    fs::write(path, text).expect("a script");
    fs::set_permissions(path, fs::Permissions::from_mode(0o755)).expect("a mode");
}

/// The site with the wide rule, each of its findings accepted until a day.
fn accepted_until(repository: &Repository, day: &str) -> String {
    let site = with_wide_rule("scanner");
    repository.folder.rewrite(&site);
    let ran = repository.folder.review("--format json");
    let value: serde_json::Value = serde_json::from_str(&ran.out).expect("JSON");
    let entries = value["findings"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| {
            let word = |value: &serde_json::Value| value.as_str().expect("text").to_owned();
            accepted(&word(&one["check"]), &word(&one["subjects"][0]), day)
        });
    format!("{site}{}", entries.collect::<String>())
}

#[test]
fn the_hook_refuses_what_is_new_and_lets_through_what_is_known_or_accepted() {
    let repository = Repository::new(starter());
    executable(
        &repository.folder.path(".git/hooks/pre-commit"),
        block("git checkout-index"),
    );
    repository.write_baseline();
    assert!(repository.commits(DAY), "a site without findings");

    repository.folder.rewrite(&with_wide_rule("scanner"));
    assert!(!repository.commits(DAY), "a new finding");
    assert_eq!(repository.count(), 1);

    // What lies in the folder does not count, only what is staged.
    let staged = repository.shell("git add site.toml", DAY);
    assert_eq!(staged.code, 0, "{staged:?}");
    repository.folder.rewrite(starter());
    assert_eq!(repository.shell("git commit -q -m sly", DAY).code, 1);

    repository.folder.rewrite(&with_wide_rule("scanner"));
    repository.write_baseline();
    assert!(repository.commits(DAY), "known from the baseline");

    repository.folder.rewrite(starter());
    repository.write_baseline();
    assert!(repository.commits(DAY), "clean again");
    let text = accepted_until(&repository, "2026-12-31");
    repository.folder.rewrite(&text);
    assert!(
        repository.commits("2026-12-31"),
        "accepted, on the last day"
    );
    assert!(!repository.commits("2027-01-01"), "a day later");
}

#[test]
fn the_build_steps_end_as_the_review_does_and_leave_two_reports() {
    let repository = Repository::new(starter());
    let steps = block("boundwalk.sarif");
    repository.write_baseline();
    assert_eq!(repository.shell(steps, DAY).code, 0);

    repository.folder.rewrite(&with_wide_rule("scanner"));
    let ran = repository.shell(steps, DAY);
    assert_eq!(ran.code, 1, "{ran:?}");
    let report = |name: &str| fs::read_to_string(repository.folder.path(name)).expect("a report");
    assert!(report("boundwalk.sarif").contains("\"permit-any-service\""));
    assert!(report("boundwalk.xml").contains("<failure "));

    let text = accepted_until(&repository, "2026-12-31");
    repository.folder.rewrite(&text);
    assert_eq!(repository.shell(steps, "2026-12-31").code, 0, "accepted");
    assert!(!report("boundwalk.xml").contains("<failure "));
    assert_eq!(
        repository.shell(steps, "2027-01-01").code,
        1,
        "its day has passed"
    );

    repository.folder.rewrite("nonsense");
    assert_eq!(repository.shell(steps, DAY).code, 2, "no site at all");
    assert!(report("boundwalk.xml").contains("<failure "));
}
