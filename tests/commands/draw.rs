//! Drawings of a site and of front panels.

use unicode_width::UnicodeWidthStr;

use crate::json::parsed;
use crate::ports::ODD;
use crate::run::{DAY, DEMO, Ran, ended, program, site, starter};

/// `draw` in a locale, in so many columns.
fn draw(file: &std::path::Path, rest: &str, locale: &str, columns: usize) -> Ran {
    let mut command = program();
    command.arg("draw").arg(file).args(rest.split_whitespace());
    command.args(DAY).env_remove("LC_CTYPE").env_remove("LANG");
    command.env("LC_ALL", locale);
    ended(command.env("COLUMNS", columns.to_string()))
}

/// The demo as it is drawn by default in a locale of today.
pub fn demo(rest: &str) -> Ran {
    draw(DEMO.as_ref(), rest, "C.UTF-8", 80)
}

fn chain(length: usize) -> String {
    let mut text = ODD.to_owned();
    for number in 0..length {
        text += &format!("[switches.c{number}.ports]\n\"1-2\" = {{ tagged = [61, 62] }}\n");
    }
    for number in 1..length {
        text += &format!(
            "[[links]]\nends = [\"c{}:2\", \"c{number}:1\"]\n",
            number - 1
        );
    }
    text
}

#[test]
fn drawings_fit_terminals_of_any_width() {
    let (_folder, odd) = site(ODD);
    let many = "[switches.big.ports]\n\"1-500\" = { access = \"cellar\" }\n";
    let (_other, big) = site(format!("{}{many}", chain(40)));
    let (_plain, none) = site(starter());
    for file in [DEMO.as_ref(), odd.as_path(), &big, &none] {
        for columns in [40, 80, 120, 200] {
            for rest in ["", "--ascii", "--what site", "--color always"] {
                let ran = draw(file, rest, "C.UTF-8", columns);
                assert_eq!(ran.code, 0, "{ran:?}");
                let escapes = rest.contains("color");
                for line in ran.out.lines().filter(|_| !escapes) {
                    assert!(line.width() <= columns, "{columns}: {line}");
                }
            }
        }
    }
}

#[test]
fn plain_drawings_are_ascii_by_option_or_by_locale() {
    let (_folder, file) = site(ODD);
    let asked = draw(&file, "--ascii", "C.UTF-8", 80);
    let locale = draw(&file, "", "C", 80);
    assert!(asked.out.is_ascii(), "{}", asked.out);
    assert_eq!(asked.out, locale.out);
    assert!(asked.out.contains("gr\\u{f6}\\u{df}e"), "{}", asked.out);
    assert!(draw(&file, "", "de_DE.utf8", 80).out.contains('┌'));
}

#[test]
fn every_switch_is_drawn_once_however_cables_run() {
    let mut text = chain(40);
    text += "[[links]]\nends = [\"c0:1\", \"c39:2\"]\n";
    let (_folder, file) = site(text);
    let out = draw(&file, "--what site", "C.UTF-8", 80).out;
    for number in 0..40 {
        let title = format!("c{number}  switch, 2 ports");
        assert_eq!(out.matches(&title).count(), 1, "{title}");
    }
    let (_, beside) = out.split_once("Besides the tree").expect("a loop");
    assert!(
        beside.contains("p1/0/9 ── @loop ── core:p1/0/10"),
        "{beside}"
    );
    assert!(beside.contains("core:p1/0/4 ── -plain:2"), "{beside}");
    let ring = beside.lines().filter(|line| line.trim().starts_with('c'));
    assert_eq!(ring.count(), 3, "the ring is cut once: {beside}");
}

#[test]
fn colour_is_only_an_addition() {
    let plain = demo("");
    let coloured = demo("--color always");
    assert!(coloured.out.contains("\u{1b}["));
    let mut bare = String::new();
    for (number, part) in coloured.out.split('\u{1b}').enumerate() {
        match number {
            0 => bare.push_str(part),
            _ => bare.push_str(part.split_once('m').expect("an escape sequence").1),
        }
    }
    assert_eq!(bare, plain.out);
}

#[test]
fn panels_need_switches_and_drawings_do_not() {
    let (_folder, file) = site(starter());
    let ran = draw(&file, "--what panels", "C.UTF-8", 80);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.contains("no switch"), "{}", ran.err);
    let ran = draw(&file, "", "C.UTF-8", 80);
    assert_eq!(ran.code, 0);
    assert!(ran.out.contains("gateway"), "{}", ran.out);
    assert!(!ran.out.contains("Cells:"), "{}", ran.out);
}

/// Port numbers of one panel as its upper and lower rows have them.
#[test]
fn a_front_has_two_rows_where_there_are_many_ports() {
    let out = demo("--what panels").out;
    let first = |start: &str| {
        let found = out.lines().find(|line| line.starts_with(start));
        found.unwrap_or_else(|| panic!("no {start}: {out}"))
    };
    assert!(first("│1  │3  │").ends_with("│25 │27 │"), "{out}");
    assert!(first("│2  │4  │").ends_with("│26 │28 │"), "{out}");
    assert!(
        first("│1  │2  │3  │").ends_with("│8  │"),
        "eight in a row: {out}"
    );
}

/// The same cables as a graph for programs, a flowchart, and a table.
#[test]
fn every_form_of_a_map_has_every_cable() {
    let value = parsed(&demo("--format json"));
    assert_eq!(value["document"], "boundwalk-map");
    let links = value["links"].as_array().expect("a list");
    let nodes = value["nodes"].as_array().expect("a list");
    let named = |end: &serde_json::Value| nodes.iter().any(|node| node["name"] == end["node"]);
    for end in links
        .iter()
        .flat_map(|link| link["ends"].as_array().expect("two"))
    {
        assert!(named(end), "{end}");
    }
    let uplink = links
        .iter()
        .find(|link| link["ends"][0]["node"] == "edge" || link["ends"][1]["node"] == "edge");
    assert!(uplink.is_some(), "{links:?}");
    let page = demo("--format markdown").out;
    let rows = page.lines().filter(|line| line.starts_with("| "));
    assert_eq!(rows.count(), links.len() + 1, "{page}");
    let chart = demo("--format mermaid").out;
    assert!(page.contains(chart.trim_end()), "{page}");
    let drawn = chart
        .lines()
        .filter(|line| line.contains("---") || line.contains("==="));
    assert_eq!(drawn.count(), links.len(), "{chart}");
}
