//! Keys on the demo and on an own site, without a terminal; and what is drawn, on a terminal in memory.

use std::fs;
use std::path::Path;

use clap::Parser;
use ratatui::Terminal;
use ratatui::backend::TestBackend;

use super::*;
use crate::browse::screen;
use crate::site::SiteArguments;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    site: SiteArguments,
}

fn load(path: &Path) -> Result<Data, Broken> {
    let path = path.to_str().expect("UTF-8");
    let line = Line::parse_from(["browse", path, "--today", "2026-11-25"]);
    Data::load(&line.site)
}

fn demo() -> Data {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../policies/kettle-lane/site.toml");
    load(&file).unwrap_or_else(|_| panic!("the demo loads"))
}

fn press(state: &mut State, data: &Data, keys: &[KeyCode]) -> Next {
    let mut next = Next::Stay;
    for &code in keys {
        next = state.key(KeyEvent::new(code, KeyModifiers::NONE), data);
    }
    next
}

fn letters(text: &str) -> Vec<KeyCode> {
    text.chars().map(KeyCode::Char).collect()
}

/// What stands on a window of a size.
fn drawn(state: &mut State, data: &Data, size: (u16, u16)) -> String {
    let backend = TestBackend::new(size.0, size.1);
    let mut terminal = Terminal::new(backend).expect("a terminal in memory");
    terminal
        .draw(|frame| screen::draw(frame, state, data, false))
        .expect("it draws");
    terminal.backend().to_string()
}

#[test]
fn a_cell_opens_its_flows_and_a_witness_its_path() {
    let data = demo();
    let mut state = State::new(&data);
    press(&mut state, &data, &[KeyCode::Down]);
    let page = drawn(&mut state, &data, (80, 24));
    assert!(page.contains("office to 1 internet: d"), "{page}");
    press(&mut state, &data, &[KeyCode::Enter]);
    let page = drawn(&mut state, &data, (80, 24));
    assert!(page.contains("office to internet"), "{page}");
    assert!(page.contains("business on the web"), "{page}");
    press(&mut state, &data, &letters("/witness"));
    press(&mut state, &data, &[KeyCode::Enter, KeyCode::Enter]);
    let page = drawn(&mut state, &data, (80, 24));
    assert!(page.contains("Path of tcp 10.44.10."), "{page}");
    assert!(page.contains("2. core (switch)"), "{page}");
    // Along the path, stop by stop.
    let at = |state: &mut State| state.view().expect("a view").cursor;
    let start = at(&mut state);
    press(&mut state, &data, &[KeyCode::Down]);
    let line = state.view().expect("a view").current().cloned();
    assert!(at(&mut state) > start);
    assert!(line.is_some_and(|line| line.text.starts_with("2. core")));
    press(&mut state, &data, &[KeyCode::Esc, KeyCode::Esc]);
    assert!(state.view().is_none(), "back at the matrix");
}

#[test]
fn a_finding_leads_to_its_place_in_the_file() {
    let data = demo();
    let mut state = State::new(&data);
    press(&mut state, &data, &letters("2"));
    let first = data.findings[0].span.and_then(|span| data.place(span));
    let place = first.expect("the first finding of the demo has a place");
    assert_eq!(
        press(&mut state, &data, &letters("e")),
        Next::Edit(place.clone())
    );
    press(&mut state, &data, &[KeyCode::Enter, KeyCode::Enter]);
    let view = state.view().expect("the file");
    assert_eq!(view.cursor as u32 + 1, place.line);
    let own = data.text(&place.file).expect("the file");
    let text = &view.lines[view.cursor].text;
    assert!(
        text.ends_with(&own[view.cursor]) && text.starts_with('>'),
        "{text}"
    );
    assert_eq!(press(&mut state, &data, &letters("e")), Next::Edit(place));
}

#[test]
fn ports_isolation_and_ways_are_a_key_away() {
    let data = demo();
    let mut state = State::new(&data);
    press(&mut state, &data, &letters("3/17"));
    press(&mut state, &data, &[KeyCode::Enter, KeyCode::Enter]);
    let page = drawn(&mut state, &data, (80, 24));
    assert!(
        page.contains("core:17") && page.contains("cameras"),
        "{page}"
    );
    press(&mut state, &data, &letters("4"));
    press(&mut state, &data, &[KeyCode::Enter]);
    let page = drawn(&mut state, &data, (80, 24));
    assert!(page.contains("Isolation of management"), "{page}");
    press(&mut state, &data, &[KeyCode::Tab]);
    let page = drawn(&mut state, &data, (80, 24));
    assert!(page.contains("No path goes round the gateway."), "{page}");
    assert_eq!(press(&mut state, &data, &letters("q")), Next::Quit);
}

#[test]
fn windows_of_any_size_are_drawn() {
    let data = demo();
    let mut state = State::new(&data);
    for keys in ["", "z", "2", "3", "4", "5", "?"] {
        press(&mut state, &data, &letters(keys));
        for size in [(1, 1), (39, 9), (40, 10), (60, 20), (80, 24), (200, 60)] {
            let page = drawn(&mut state, &data, size);
            let small = size.0 < 40;
            assert!(small || page.contains("q quit") || size.0 < 80, "{page}");
        }
    }
}

#[test]
fn a_save_keeps_the_place_and_a_broken_one_the_answers() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("site.toml");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../policies/kettle-lane/site.toml");
    let text = fs::read_to_string(demo).expect("the demo");
    fs::write(&file, &text).expect("a site");
    let old = load(&file).unwrap_or_else(|_| panic!("it loads"));
    let mut state = State::new(&old);
    press(&mut state, &old, &letters("3/17"));
    press(&mut state, &old, &[KeyCode::Enter, KeyCode::Enter]);
    let leak = "{ untagged = \"cameras\", tagged = [\"management\"] }";
    let leaking = text.replacen(
        "\"17-18\"  = { access = \"cameras\" }",
        &format!("\"17-18\"  = {leak}"),
        1,
    );
    assert_ne!(leaking, text);
    fs::write(&file, &leaking).expect("a site");
    let new = load(&file).unwrap_or_else(|_| panic!("it loads"));
    let told = new.since(&old);
    assert!(told.contains("new") && !told.contains(": 0 new"), "{told}");
    state.renew(&new, told);
    let page = drawn(&mut state, &new, (80, 24));
    assert!(page.contains("core:17"), "the same port: {page}");
    assert!(page.contains("management"), "as it is now: {page}");
    fs::write(&file, "[site").expect("a site");
    let Err(broken) = load(&file) else {
        panic!("that is no site");
    };
    state.broken(&broken);
    let page = drawn(&mut state, &new, (80, 24));
    assert!(page.contains("does not load (1 error"), "{page}");
    assert!(page.contains("core:17"), "the answers stay: {page}");
    press(&mut state, &new, &letters("p"));
    let page = drawn(&mut state, &new, (80, 24));
    assert!(page.contains("toml-syntax"), "{page}");
}
