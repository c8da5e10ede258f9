//! What some outputs look like, kept to be read: a change of wording or layout shows in a review.
//!
//! With `BOUNDWALK_GOLDEN=write` the files are written anew; read them before they are committed.

use std::fs;
use std::path::Path;

use crate::draw;
use crate::run::{demo, line};

fn golden(name: &str, shown: &str) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/goldens")
        .join(name);
    if std::env::var("BOUNDWALK_GOLDEN").is_ok_and(|word| word == "write") {
        fs::write(&file, shown).expect("a golden can be written");
    }
    let kept = fs::read_to_string(&file).unwrap_or_default();
    assert_eq!(
        shown, kept,
        "{name} looks different; BOUNDWALK_GOLDEN=write takes it over"
    );
}

#[test]
fn the_demo_by_zone() {
    golden("zones.txt", &demo("matrix", "--by zone").out);
}

#[test]
fn the_flows_of_one_cell() {
    golden(
        "flows.txt",
        &demo("matrix", "--from internet --to published --flows").out,
    );
}

#[test]
fn a_packet_that_is_translated() {
    golden(
        "path-translated.txt",
        &demo("path", "198.51.100.9 203.0.113.3 https").out,
    );
}

#[test]
fn a_packet_that_is_denied() {
    golden(
        "path-denied.txt",
        &demo("path", "guest printer tcp/9100 --rules").out,
    );
}

#[test]
fn a_file_with_mistakes() {
    let ran = line("review tests/goldens/mistakes.toml");
    golden("mistakes.txt", &ran.err);
}

#[test]
fn the_worksheets_of_the_demo() {
    golden("ports.txt", &demo("ports", "").out);
}

#[test]
fn the_demo_drawn() {
    golden("draw.txt", &draw::demo("").out);
}
