//! 0 nothing found, 1 findings, 2 could not run: scripts hang on it.

use std::fs;

use crate::run::{Ran, about, demo, line, run, site, starter, with_warning};

fn code(ran: &Ran, wanted: i32) {
    assert_eq!(ran.code, wanted, "{ran:?}");
}

/// It could not run: it says why, and nothing that could be taken for a result.
fn refused(ran: &Ran, why: &str) {
    code(ran, 2);
    assert!(ran.err.contains(why), "{why}: {ran:?}");
    assert_eq!(ran.out, "");
}

#[test]
fn a_review_finds_something_in_the_demo_and_nothing_in_the_starter() {
    code(&demo("review", ""), 1);
    code(&demo("review", "--fail-on note"), 1);
    code(&demo("review", "--fail-on error"), 1);
    code(&demo("review", "--fail-on never"), 0);
    let (_folder, file) = site(starter());
    code(&about(&file, "review", "--fail-on note"), 0);
}

#[test]
fn a_review_with_warnings_counts_as_findings_unless_told_otherwise() {
    let (_folder, file) = site(with_warning());
    for (option, wanted) in [
        ("", 1),
        ("--fail-on note", 1),
        ("--fail-on warning", 1),
        ("--fail-on error", 0),
        ("--fail-on never", 0),
    ] {
        for format in ["text", "json", "markdown"] {
            let ran = about(&file, "review", &format!("{option} --format {format}"));
            assert_eq!(ran.code, wanted, "{option} {format}");
        }
    }
}

#[test]
fn a_review_with_notes_alone_fails_only_on_notes() {
    let lonely =
        "[zones.a]\ntrust = 1\n[segments.b]\nzone = \"a\"\nprefixes = [\"10.44.1.0/24\"]\n";
    let (_folder, file) = site(lonely);
    code(&about(&file, "review", ""), 0);
    code(&about(&file, "review", "--fail-on note"), 1);
}

#[test]
fn a_site_that_does_not_load_stops_every_command() {
    let (_folder, file) = site(starter().replace("\"deny\"", "\"denied\""));
    for (command, rest) in [
        ("review", ""),
        ("review", "--fail-on never"),
        ("matrix", ""),
        ("path", "desks internet https"),
    ] {
        let ran = about(&file, command, rest);
        refused(&ran, "error[bad-word]");
        assert!(
            ran.err.contains("site.toml:") && ran.err.contains("1 error"),
            "{ran:?}"
        );
    }
}

#[test]
fn a_matrix_is_no_verdict() {
    code(&demo("matrix", ""), 0);
    let (_folder, file) = site(with_warning());
    code(&about(&file, "matrix", ""), 0);
}

#[test]
fn a_path_tells_by_its_code_whether_the_packet_arrives() {
    code(&demo("path", "office shop https"), 0);
    code(&demo("path", "guest office ssh"), 1);
    for format in ["text", "json"] {
        let rest = format!("guest office ssh --format {format}");
        code(&demo("path", &rest), 1);
    }
    refused(&demo("path", "guest office"), "SERVICE");
}

#[test]
fn new_writes_a_starter_and_never_over_another_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("site.toml");
    let ran = run(["new".as_ref(), file.as_os_str()]);
    code(&ran, 0);
    assert_eq!(ran.out, "");
    assert_eq!(fs::read_to_string(&file).expect("written"), starter());

    fs::write(&file, "mine").expect("writable");
    refused(&run(["new".as_ref(), file.as_os_str()]), "left alone");
    assert_eq!(fs::read_to_string(&file).expect("still there"), "mine");

    refused(
        &run(["new".as_ref(), folder.path().as_os_str()]),
        "left alone",
    );
    let nowhere = folder.path().join("no/such/folder.toml");
    refused(&run(["new".as_ref(), nowhere.as_os_str()]), "can't write");
    let ran = line("new");
    code(&ran, 0);
    assert_eq!(ran.out, starter());
}

#[test]
fn the_schema_is_json_and_the_program_knows_its_version() {
    let ran = line("schema");
    code(&ran, 0);
    let schema: serde_json::Value = serde_json::from_str(&ran.out).expect("JSON");
    assert_eq!(
        schema["$schema"],
        "https://json-schema.org/draft/2020-12/schema"
    );
    let ran = line("--version");
    code(&ran, 0);
    assert_eq!(
        ran.out.trim(),
        concat!("boundwalk ", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn command_lines_that_make_no_sense_are_refused_with_a_reason() {
    for (words, why) in [
        ("", "Usage"),
        ("matix site.toml", "matrix"),
        ("matrix", "SITE"),
        ("matrix policies/kettle-lane --ipv4 --ipv6", "--ipv6"),
        ("matrix policies/kettle-lane --by floor", "segment"),
        ("matrix policies/kettle-lane --today tomorrow", "tomorrow"),
        ("matrix policies/kettle-lane --form guest", "--from"),
        (
            "path policies/kettle-lane office shop https --source-port 65536",
            "65535",
        ),
    ] {
        refused(&line(words), why);
    }
}

#[test]
fn a_site_that_can_not_be_read_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    refused(&about(&path("missing.toml"), "review", ""), "missing.toml");
    refused(&about(folder.path(), "review", ""), "no file in");

    // A folder that looks like a file, alone and among the files of a site.
    fs::create_dir(path("site.toml")).expect("a folder");
    refused(&about(&path("site.toml"), "review", ""), "no file in");
    fs::write(path("rest.toml"), starter()).expect("a file");
    // Folders within a folder are no part of the site, whatever they are called.
    code(&about(folder.path(), "review", ""), 0);
    refused(&about(&path("rest.toml/below"), "review", ""), "below");
}

#[test]
fn a_file_that_is_not_utf_8_is_refused_with_the_place_of_the_byte() {
    let (_folder, file) = site(b"[site]\nname = \"caf\xe9\"\n");
    let ran = about(&file, "review", "");
    refused(&ran, "error[not-utf8]");
    assert!(ran.err.contains("site.toml:2:12"), "{ran:?}");
}

#[cfg(unix)]
#[test]
fn a_path_that_is_not_utf_8_works_like_any_other() {
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder
        .path()
        .join(std::ffi::OsStr::from_bytes(b"br\xfcwery.toml"));
    if fs::write(&file, starter()).is_err() {
        // Some file systems take no such name.
        return;
    }
    code(&run(["review".as_ref(), file.as_os_str()]), 0);
}

#[test]
fn a_site_without_a_name_gets_no_empty_title() {
    let (_folder, file) = site(starter().replace("name = \"My site\"", ""));
    let ran = about(&file, "review", "");
    code(&ran, 0);
    assert!(ran.out.starts_with("from \\ to"), "{ran:?}");
    for (command, title) in [
        ("review", "# Review\n"),
        ("matrix", "# Who can reach what\n"),
    ] {
        let ran = about(&file, command, "--format markdown");
        assert!(ran.out.starts_with(title), "{ran:?}");
    }
}
