//! What a reader of the page does, one test for each.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::client::{Browser, Page};
use crate::contrast;
use crate::hostile_site::{HOSTILE, with_text};
use crate::made::{demo, leaking, made};
use crate::sites::{Size, large_site};

/// The report of a site, in a file that a browser takes for a page.
fn report(site: &str) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("report.html");
    fs::write(&file, made(site).written("report")).expect("a page");
    (folder, file)
}

/// A site of two hundred segments.
fn two_hundred() -> String {
    large_site(Size {
        rules: 600,
        segments: 200,
        dual: false,
        seed: 1,
    })
}

/// What is written beside the colour in a cell, for those who hear it.
fn cells(page: &mut Page<'_>) -> Vec<String> {
    let tree = page.call("Accessibility.getFullAXTree", &json!({}));
    let nodes = tree["nodes"].as_array().expect("a tree");
    let named = nodes.iter().filter(|node| {
        let role = node["role"]["value"].as_str().unwrap_or("");
        ["cell", "gridcell", "link"].contains(&role)
    });
    named
        .filter_map(|node| node["name"]["value"].as_str())
        .filter(|name| name.contains(" to "))
        .map(str::to_owned)
        .collect()
}

/// Every pair of the matrix is in the tree that screen readers walk, with what it means.
fn every_cell_is_named(page: &mut Page<'_>) {
    let table = "document.getElementById('matrix-table')";
    let row = page.number(&format!("{table}.tBodies[0].rows.length"));
    let all = page.number(&format!("{table}.querySelectorAll('tbody td').length"));
    assert!(row > 5 && all >= row * row, "{row} rows, {all} cells");
    let names: BTreeSet<String> = cells(page).into_iter().collect();
    let rows: Vec<String> = (0..row)
        .map(|at| page.text(&format!("{table}.tBodies[0].rows[{at}].dataset.name")))
        .collect();
    for from in &rows {
        for to in &rows {
            let start = format!("{from} to {to}: ");
            let found = names.iter().find_map(|name| name.strip_prefix(&start));
            assert!(found.is_some_and(|meaning| !meaning.is_empty()), "{start}");
        }
    }
}

fn nothing_to_complain_of(page: &mut Page<'_>) {
    let complaints = page.complaints();
    assert!(complaints.is_empty(), "{complaints:#?}");
    assert_eq!(page.requests(), 1, "the page itself");
}

fn printed(page: &mut Page<'_>) -> Vec<u8> {
    use base64::Engine;
    let told = page.call("Page.printToPDF", &json!({ "preferCSSPageSize": true }));
    let data = told["data"].as_str().expect("a document");
    let decoder = base64::engine::general_purpose::STANDARD;
    decoder.decode(data).expect("Base64")
}

#[test]
fn the_report_of_the_demo_is_quiet_named_and_printable() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let (_folder, file) = report(&demo());
    let mut page = browser.open(&file, true);
    every_cell_is_named(&mut page);
    let pdf = printed(&mut page);
    assert!(
        pdf.starts_with(b"%PDF-") && pdf.len() > 100_000,
        "{}",
        pdf.len()
    );
    contrast::check(&mut page);
    nothing_to_complain_of(&mut page);
}

#[test]
fn nothing_is_wider_than_a_phone() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    for site in [demo(), leaking()] {
        let (_folder, file) = report(&site);
        let mut page = browser.open(&file, true);
        let phone = json!({ "width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": true });
        page.call("Emulation.setDeviceMetricsOverride", &phone);
        assert_eq!(page.number("document.documentElement.scrollWidth"), 390);
        assert_eq!(page.number("innerWidth"), 390);
    }
}

/// Lit cells by what they say to those who hear it.
const LIT: &str = "[...document.querySelectorAll('#matrix-table tbody td')].filter((one) => \
    !one.parentElement.hidden && !one.classList.contains('off')).map((one) => (one.querySelector('a') || one)\
    .getAttribute('aria-label'))";

fn lit(page: &mut Page<'_>) -> Vec<String> {
    let told = page.value(LIT);
    told.as_array()
        .expect("a list")
        .iter()
        .map(|one| one.as_str().expect("text").to_owned())
        .collect()
}

fn choose(page: &mut Page<'_>, list: &str, label: &str) {
    let script = format!(
        "(() => {{ const one = document.getElementById({list:?}); one.selectedIndex = [...one.options].findIndex(\
         (option) => option.text === {label:?}); one.dispatchEvent(new Event('change')); return one.selectedIndex; }})()"
    );
    assert!(
        page.value(&script).as_i64().is_some_and(|at| at >= 0),
        "{label}"
    );
}

#[test]
fn the_matrix_is_filtered_and_sorted() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let (_folder, file) = report(&demo());
    let mut page = browser.open(&file, true);
    let all = lit(&mut page);
    choose(&mut page, "by-service", "dns");
    let dns = lit(&mut page);
    // What a cell says names its services; where everything passes, so does DNS.
    let says = |name: &&String| {
        let (_, meaning) = name.split_once(": ").expect("a meaning");
        let words: Vec<&str> = meaning.split([' ', ',', ';', ':']).collect();
        words.contains(&"dns") || words.contains(&"everything")
    };
    let expected: Vec<String> = all.iter().filter(says).cloned().collect();
    assert_eq!(dns, expected);
    assert!(dns.len() > 5 && dns.len() < all.len() / 2, "{dns:?}");
    let told = page.text("document.getElementById('matrix-told').textContent");
    assert_eq!(told, format!("{} cells where dns passes", dns.len()));
    choose(&mut page, "by-zone", "production");
    let of_zone = lit(&mut page);
    assert!(
        of_zone
            .iter()
            .all(|one| one.starts_with("brewhouse ") || one.starts_with("coldstore "))
    );
    assert!(!of_zone.is_empty());
    page.click("#by-all");
    assert_eq!(lit(&mut page), all);
    choose(&mut page, "by-order", "trust of the zone");
    let sorted = lit(&mut page);
    assert!(
        sorted[0].starts_with("management to management: "),
        "{sorted:?}"
    );
    let sets = [&all, &sorted].map(|list| list.iter().collect::<BTreeSet<_>>());
    assert_eq!(sets[0], sets[1], "sorting loses nothing");
    page.click("#by-all");
    assert_eq!(lit(&mut page), all);
    nothing_to_complain_of(&mut page);
}

#[test]
fn a_cell_opens_what_passes_why_and_by_which_way() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let (_folder, file) = report(&demo());
    let mut page = browser.open(&file, true);
    let link = "#matrix-table a[aria-label^='office to internet: ']";
    let open = "document.getElementById('cell').open";
    for by_key in [false, true] {
        assert_eq!(page.value(open), Value::Bool(false));
        if by_key {
            page.value(&format!("document.querySelector({link:?}).focus()"));
            let enter = json!({ "type": "keyDown", "key": "Enter", "windowsVirtualKeyCode": 13, "text": "\r" });
            page.call("Input.dispatchKeyEvent", &enter);
        } else {
            page.click(link);
        }
        assert_eq!(page.value(open), Value::Bool(true), "by key: {by_key}");
        let text = page.text("document.getElementById('cell').innerText");
        for part in [
            "office",
            "internet",
            "business on the web",
            "10.44.10.",
            "core",
            "edge",
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
        page.press("Escape", 27);
    }
    // Arrow keys go on to the next cell that says something.
    page.value(&format!("document.querySelector({link:?}).focus()"));
    page.press("ArrowRight", 39);
    let next = page.text("document.activeElement.getAttribute('aria-label')");
    assert!(next.starts_with("office to guest: "), "{next}");
    nothing_to_complain_of(&mut page);
}

#[test]
fn without_scripts_all_facts_are_there() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let (_folder, file) = report(&leaking());
    let words = "document.body.textContent.replace(/\\s+/g, ' ')";
    let seen = "document.body.innerText";
    let mut page = browser.open(&file, true);
    let with = page.text(words);
    drop(page);
    let mut page = browser.open(&file, false);
    let without = page.text(words);
    assert_eq!(with, without, "the script adds no fact");
    assert!(without.len() > 20_000);
    // What a newcomer has to find is not folded up.
    let text = page.text(seen);
    for fact in [
        "not isolated as claimed",
        "cameras to management",
        "take VLAN 90 (management) off core:17, core:18",
        "Rule to fix first",
        "guests on the web",
    ] {
        assert!(text.contains(fact), "{fact}");
    }
    // Choices that only the script could act on are not offered.
    assert!(!text.contains("Senders of zone"), "{text}");
    // A cell leads to its pair by itself.
    let target = "document.querySelector(document.querySelector('#matrix-table a').getAttribute('href')).tagName";
    assert_eq!(page.text(target), "DETAILS");
}

/// Some rows of a matrix too large to be asked for as a whole, as they are in the tree that screen readers walk.
fn heard(page: &mut Page<'_>) {
    let document = page.call("DOM.getDocument", &json!({}))["root"]["nodeId"].clone();
    for row in [1, 100, 201] {
        let select = format!("#matrix-table tbody tr:nth-child({row})");
        let asked = json!({ "nodeId": document, "selector": select });
        let node = page.call("DOM.querySelector", &asked)["nodeId"].clone();
        let name = page.text(&format!("document.querySelector({select:?}).dataset.name"));
        let told = page.call("Accessibility.queryAXTree", &json!({ "nodeId": node }));
        let names = told["nodes"]
            .as_array()
            .expect("nodes")
            .iter()
            .filter_map(|node| node["name"]["value"].as_str());
        let start = format!("{name} to ");
        let heard: BTreeSet<&str> = names.filter(|name| name.starts_with(&start)).collect();
        assert!(
            heard.len() >= 201,
            "row {row}: {} of the cells",
            heard.len()
        );
    }
}

#[test]
fn a_report_of_two_hundred_segments_opens_and_works() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let (_folder, file) = report(&two_hundred());
    let mut page = browser.open(&file, true);
    let cells = page.number("document.querySelectorAll('#matrix-table tbody td').length");
    assert!(cells >= 201 * 201, "{cells}");
    let folded = page.value("document.querySelector('#matrix details').open");
    assert_eq!(folded, Value::Bool(false), "it is folded up");
    let named = "[...document.querySelectorAll('#matrix-table tbody td')].filter((one) => \
        ((one.querySelector('a') || one).getAttribute('aria-label') || '').includes(' to ')).length";
    assert_eq!(page.number(named), cells, "every cell says what it means");
    page.click("#matrix summary");
    heard(&mut page);
    let before = lit(&mut page).len();
    choose(&mut page, "by-service", "browsing");
    let after = lit(&mut page).len();
    assert!(after > 0 && after < before, "{after} of {before}");
    page.click("#matrix-table a");
    assert_eq!(
        page.value("document.getElementById('cell').open"),
        Value::Bool(true)
    );
    page.press("Escape", 27);
    let pdf = printed(&mut page);
    assert!(pdf.starts_with(b"%PDF-"));
    nothing_to_complain_of(&mut page);
}

#[test]
fn texts_of_a_site_are_only_texts() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    for text in HOSTILE {
        let (site, _) = with_text(&leaking(), text);
        let (_folder, file) = report(&site);
        let mut page = browser.open(&file, true);
        assert_eq!(page.number("document.scripts.length"), 1, "{text}");
        assert_eq!(page.number("document.images.length"), 0, "{text}");
        let words = page.text("document.body.textContent");
        let shown = boundwalk::render::escape_control(text);
        assert!(words.matches(&shown).count() > 100, "{text}");
        nothing_to_complain_of(&mut page);
        page.close();
    }
}

/// The page of a change between two versions.
fn change(old: &str, new: &str) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let [before, after, page] =
        ["old.toml", "new.toml", "change.html"].map(|name| folder.path().join(name));
    fs::write(&before, old).expect("a site");
    fs::write(&after, new).expect("a site");
    let told = std::process::Command::new(env!("CARGO_BIN_EXE_boundwalk"))
        .arg("change")
        .args([&before, &after])
        .args(["--format", "html", "--fail-on", "never"])
        .output()
        .expect("the program starts");
    fs::write(&page, told.stdout).expect("a page");
    (folder, page)
}

#[test]
fn a_change_has_the_same_look() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let (_folder, file) = change(&demo(), &leaking());
    let mut page = browser.open(&file, true);
    let marked = "document.querySelectorAll('.opened, .closed').length";
    assert!(page.number(marked) > 0);
    assert_eq!(page.number("document.scripts.length"), 1);
    let folded = "document.querySelectorAll('#matrix details').length";
    assert_eq!(page.number(folded), 0, "it is small enough to see");
    contrast::check(&mut page);
    nothing_to_complain_of(&mut page);
}

#[test]
fn a_change_of_a_large_site_shows_first_what_changes() {
    let Some(mut browser) = Browser::start() else {
        return;
    };
    let old = two_hundred();
    let new = old.replacen("action = \"permit\"", "action = \"deny\"", 1);
    let (_folder, file) = change(&old, &new);
    let mut page = browser.open(&file, true);
    let cells = |folded| format!("document.querySelectorAll('#matrix {folded} td').length");
    let (all, inside) = (
        page.number(&cells("")),
        page.number(&cells("details.bulk:not([open])")),
    );
    assert!(inside >= 201 * 201, "{inside}");
    assert!((1..400).contains(&(all - inside)), "{all}, {inside}");
    page.click("#matrix a[aria-label$=': closes something']");
    assert_eq!(
        page.value("document.getElementById('cell').open"),
        Value::Bool(true)
    );
    let told = page.text("document.getElementById('cell').textContent");
    assert!(told.contains("witness"), "{told}");
    nothing_to_complain_of(&mut page);
}
