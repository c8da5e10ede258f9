//! What a stranger found who was asked to do harm, each with what should happen instead.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::run::{DAY, DEMO, Ran, about, ended, program, site, starter};

/// The demo as a text.
fn demo() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    fs::read_to_string(root.join(DEMO).join("site.toml")).expect("the demo")
}

fn utf8(path: &Path) -> &str {
    path.to_str().expect("a path in UTF-8")
}

/// Longer texts were counted by a pass of its own, which followed brackets as deep as they went.
#[test]
fn deep_brackets_in_a_large_file_are_refused() {
    for opening in ["[", "{a="] {
        let (_folder, file) = site(format!(
            "#{}\na={}",
            "#".repeat(5 << 20),
            opening.repeat(20_000)
        ));
        let ran = about(&file, "review", "");
        assert_eq!(ran.code, 2, "{}", ran.err.len());
        assert!(
            ran.err.contains("nested too deep"),
            "{}",
            &ran.err[..400.min(ran.err.len())]
        );
    }
}

#[test]
fn broken_files_are_not_listed_to_their_end() {
    let (_folder, file) = site("x\n".repeat(20_000));
    let ran = about(&file, "review", "");
    assert_eq!(ran.code, 2);
    assert!(ran.err.len() < 40_000, "{} bytes", ran.err.len());
    assert!(ran.err.contains("more are not shown here"));
    let (folder, file) = site(starter());
    let plan = about(&file, "probes", "--format csv").out;
    let results = folder.path().join("results.csv");
    let heading = plan.lines().next().expect("a heading");
    fs::write(&results, format!("{heading}\n{}", "g\n".repeat(10_000))).expect("a file");
    let ran = ended(
        program()
            .args(["verify", utf8(&file), utf8(&results)])
            .args(DAY),
    );
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.lines().count() < 60,
        "{} lines",
        ran.err.lines().count()
    );
    assert!(ran.err.contains("more lines can't be read"));
}

#[test]
fn text_in_utf_16_is_named_as_such() {
    let wide = |text: &str| {
        text.encode_utf16()
            .flat_map(u16::to_le_bytes)
            .collect::<Vec<u8>>()
    };
    let (folder, file) = site(wide(starter()));
    let ran = about(&file, "review", "");
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("UTF-16") && ran.err.lines().count() < 8,
        "{}",
        ran.err
    );
    let log = folder.path().join("flows.csv");
    fs::write(
        &log,
        wide("sourceIPv4Address,destinationIPv4Address,protocolIdentifier\n"),
    )
    .expect("a file");
    let (_folder, file) = site(starter());
    let ran = about(&file, "privilege", &format!("--flows {}", utf8(&log)));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("UTF-16"), "{}", ran.err);
}

#[test]
fn a_line_without_end_is_given_up() {
    let (_folder, file) = site(starter());
    let mut command = program();
    command
        .args(["privilege", utf8(&file), "--flows", "-"])
        .args(DAY);
    let ran = ended(command.stdin(File::open("/dev/zero").expect("zeros")));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("no log of flows"), "{}", ran.err);
}

#[test]
fn a_heading_that_names_a_column_twice_is_refused() {
    let (folder, file) = site(starter());
    let log = folder.path().join("flows.csv");
    let heading =
        "sourceIPv4Address,destinationIPv4Address,protocolIdentifier,protocolIdentifier\n";
    fs::write(&log, format!("{heading}10.20.10.2,10.20.20.2,6,17\n")).expect("a file");
    let ran = about(&file, "privilege", &format!("--flows {}", utf8(&log)));
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("names protocolIdentifier twice"),
        "{}",
        ran.err
    );
}

/// A part of the site that is left out without a word makes every answer wrong.
#[test]
fn endings_in_capitals_are_read() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("site.toml"), starter()).expect("a file");
    let more = "[segments.lab]\nzone = \"guests\"\nprefixes = [\"10.99.0.0/24\"]\n";
    fs::write(folder.path().join("MORE.TOML"), more).expect("a file");
    let ran = about(folder.path(), "matrix", "--format csv");
    assert!(ran.out.contains("desks,lab,"), "{}{}", ran.out, ran.err);
}

#[test]
fn a_repository_can_neither_hold_the_program_nor_run_its_own_git() {
    let folder = tempfile::tempdir().expect("a folder");
    let git = |arguments: &[&str]| {
        let mut command = Command::new("git");
        command.current_dir(folder.path()).args([
            "-c",
            "user.name=x",
            "-c",
            "user.email=x@example",
        ]);
        assert!(
            command
                .args(arguments)
                .output()
                .expect("git")
                .status
                .success(),
            "{arguments:?}"
        );
    };
    let file = folder.path().join("site.toml");
    fs::write(&file, starter()).expect("a file");
    git(&["init", "-q"]);
    git(&["add", "-A"]);
    git(&["commit", "-q", "-m", "x"]);
    // A program of that name in the folder where somebody stands.
    let canary = folder.path().join("canary");
    let own = folder.path().join("git");
    fs::write(
        &own,
        format!(
            "#!/bin/sh\ntouch {}\nexec /usr/bin/git \"$@\"\n",
            utf8(&canary)
        ),
    )
    .expect("a file");
    fs::set_permissions(&own, std::os::unix::fs::PermissionsExt::from_mode(0o755))
        .expect("a program");
    let path = std::env::var("PATH").expect("PATH");
    for path in [format!(".:{path}"), format!(":{path}")] {
        let mut command = program();
        command.current_dir(folder.path()).env("PATH", path);
        let ran = ended(
            command
                .args(["change", "--since", "HEAD", "site.toml"])
                .args(DAY),
        );
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(!canary.exists(), "the repository's own program ran");
    }
    // A pipe that nobody writes to, where git reads its settings.
    let pipe = folder.path().join("pipe");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo")
            .success()
    );
    let config = folder.path().join(".git/config");
    let mut open = File::options().append(true).open(config).expect("settings");
    writeln!(open, "[include]\n\tpath = {}", utf8(&pipe)).expect("settings");
    let start = Instant::now();
    let mut command = program();
    let ran = ended(
        command
            .args(["change", "--since", "HEAD", utf8(&file)])
            .args(DAY),
    );
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("no answer within"), "{}", ran.err);
    assert!(start.elapsed() < Duration::from_secs(60));
}

#[test]
fn what_cannot_be_written_is_said_whatever_its_length() {
    let (_folder, file) = site(starter());
    let full = || {
        File::options()
            .write(true)
            .open("/dev/full")
            .expect("a full device")
    };
    for line in [
        format!("matrix {}", utf8(&file)),
        format!("draw {}", utf8(&file)),
        format!("path {} desks internet https", utf8(&file)),
        "explain rule-dead".to_owned(),
        "--help".to_owned(),
        "--version".to_owned(),
    ] {
        let mut command = program();
        command
            .args(line.split(' '))
            .stdout(full())
            .stderr(Stdio::piped());
        let ran = command
            .spawn()
            .expect("it starts")
            .wait_with_output()
            .expect("it ends");
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2), "{line}: {said}");
        let help = line.starts_with('-');
        assert!(help || said.contains("No space left"), "{line}: {said}");
    }
}

#[test]
fn watching_ends_when_nobody_reads() {
    let (_folder, file) = site(starter());
    let mut command = program();
    command.args(["review", utf8(&file), "--watch"]).args(DAY);
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    drop(child.stdout.take());
    let start = Instant::now();
    let mut round = 0;
    let mut ended = false;
    while !ended && start.elapsed() < Duration::from_secs(30) {
        // What a save changes is printed, and shows that nobody reads.
        round += 1;
        let text = starter().replace("443", &(1_000 + round).to_string());
        fs::write(&file, text).expect("a save");
        std::thread::sleep(Duration::from_millis(200));
        ended = child.try_wait().expect("a child").is_some();
    }
    // Whatever came of it, nothing is left running.
    let _ = child.kill();
    child.wait().expect("a child");
    assert!(ended, "it goes on for nobody");
}

/// Joiners and soft hyphens join letters in prose; in a name they make two that look the same.
#[test]
fn what_nobody_sees_is_shown_in_names_messages_and_documents() {
    let (_folder, file) = site(starter());
    for hidden in ["\u{200d}", "\u{ad}", "\u{fe0f}"] {
        let ran = about(&file, "matrix", &format!("--from de{hidden}sks"));
        assert_eq!(ran.code, 2);
        assert!(
            !ran.err.contains(hidden) && ran.err.contains("\\u{"),
            "{}",
            ran.err
        );
        let (_other, named) = site(starter().replace("My site", &format!("My{hidden} site")));
        let ran = about(&named, "review", "");
        assert_eq!(ran.code, 2, "{}", ran.out);
        assert!(
            !ran.err.contains(hidden) && ran.err.contains("invisible character"),
            "{}",
            ran.err
        );
    }
    let (_other, broken) =
        site(starter().replace("[zones.guests]", "[zones.\"gue\u{202e}\u{e0041}sts\"]"));
    let ran = about(&broken, "review", "--format json");
    assert!(!ran.out.contains(['\u{202e}', '\u{e0041}']), "{}", ran.out);
    assert!(
        ran.out.contains("\\u202e") || ran.out.contains("U+202E"),
        "{}",
        ran.out
    );
    let _: serde_json::Value = serde_json::from_str(&ran.out).expect("JSON");
}

/// What somebody wrote beside a result comes through, so that a program reads it and a terminal is not steered by it.
#[test]
fn documents_escape_what_nobody_sees() {
    let (folder, file) = site(starter());
    let plan = about(&file, "probes", "--format csv").out;
    let mut rows = plan.lines().map(str::to_owned).collect::<Vec<_>>();
    let first = rows[1].strip_suffix(",,").expect("an open row");
    rows[1] = format!("{first},refused,late\u{202e}\u{e0041}");
    let results = folder.path().join("results.csv");
    fs::write(&results, rows.join("\n")).expect("a file");
    let mut command = program();
    command.args(["verify", utf8(&file), utf8(&results), "--format", "json"]);
    let ran = ended(command.args(DAY));
    assert!(ran.out.contains("late\\u202e\\udb40\\udc41"), "{}", ran.out);
    let value: serde_json::Value = serde_json::from_str(&ran.out).expect("JSON");
    assert!(value.to_string().contains("late\u{202e}\u{e0041}"));
}

#[test]
fn long_names_are_cut_in_messages() {
    let long = "\u{1f468}\u{200d}".repeat(100_000);
    let (_folder, file) = site(starter().replace("web for all", &long));
    let Ran { code, err, .. } = about(&file, "review", "");
    assert_eq!(code, 2);
    assert!(err.len() < 8_000, "{} bytes", err.len());
    let (_folder, file) = site(starter().replace("My site", &"e\u{301}".repeat(500_000)));
    let Ran { code, err, .. } = about(&file, "review", "");
    assert_eq!(code, 2);
    assert!(err.len() < 8_000, "{} bytes", err.len());
    let (_folder, file) = site(starter());
    let ran = about(&file, "matrix", &format!("--from {}", "x".repeat(50_000)));
    assert!(
        ran.code == 2 && ran.err.len() < 4_000,
        "{} bytes",
        ran.err.len()
    );
}

#[test]
fn a_hyphen_is_no_file_by_accident() {
    let (folder, file) = site(demo());
    for line in [
        "report SITE -o -",
        "draw SITE -o -",
        "review SITE --write-baseline -",
    ] {
        let mut command = program();
        command.current_dir(folder.path());
        command.args(
            line.split(' ')
                .map(|word| if word == "SITE" { utf8(&file) } else { word }),
        );
        let ran = ended(command.args(DAY));
        assert_eq!(ran.code, 2, "{line}: {}", ran.err);
        assert!(ran.err.contains("/dev/stdout"), "{line}: {}", ran.err);
        assert!(!folder.path().join("-").exists(), "{line}");
    }
}

#[test]
fn advice_can_be_pasted() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["a b.toml", "$(touch pwned).toml", "it's.toml"] {
        let mut command = program();
        let ran = ended(command.current_dir(folder.path()).args(["new", "--", name]));
        let advice = ran
            .err
            .split("next: boundwalk ")
            .nth(1)
            .expect("an advice")
            .trim();
        let mut shell = Command::new("sh");
        shell
            .current_dir(folder.path())
            .arg("-c")
            .arg(format!("printf '%s\\n' {advice}"));
        let said = String::from_utf8(shell.output().expect("a shell").stdout).expect("UTF-8");
        assert_eq!(said, format!("review\n{name}\n"));
        assert!(!folder.path().join("pwned").exists());
    }
}

/// A name in letters of another script: the name that was meant looks the same.
#[test]
fn a_name_that_looks_like_another_is_told_apart() {
    let other = starter().replace("zone = \"office\"", "zone = \"\u{43e}ffice\"");
    assert_ne!(other, starter(), "the starter has that zone");
    let (_folder, file) = site(other);
    let ran = about(&file, "review", "");
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("U+043E here, U+006F there"), "{}", ran.err);
    let (_folder, file) = site(starter());
    let ran = about(&file, "matrix", "--from d\u{435}sks");
    assert!(ran.err.contains("U+0435 here, U+0065 there"), "{}", ran.err);
}

#[test]
fn the_line_that_is_no_text_is_named() {
    let (folder, file) = site(starter());
    let plan = about(&file, "probes", "--format csv").out;
    let results = folder.path().join("results.csv");
    let lines = plan.lines().count();
    fs::write(&results, [plan.as_bytes(), b"\xff\n"].concat()).expect("a file");
    let ran = ended(
        program()
            .args(["verify", utf8(&file), utf8(&results)])
            .args(DAY),
    );
    assert_eq!(ran.code, 2);
    let place = format!("results.csv:{}:", lines + 1);
    assert!(ran.err.contains(&place), "{}", ran.err);
}
