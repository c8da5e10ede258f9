//! Do files, folders and long inputs come through whole?

use std::net::IpAddr;
use std::path::{Path, PathBuf};

use boundwalk::diagnostic::Severity;
use boundwalk::load::{load_path, load_text, load_texts};
use boundwalk::model::Site;

mod load_cases;

use load_cases::BASE;

/// The site of a text that must load without warnings and errors.
fn site(text: &str) -> Site {
    let loaded = load_text("site.toml", text);
    let bad: Vec<_> = loaded
        .problems
        .iter()
        .filter(|problem| problem.severity() > Severity::Note)
        .collect();
    assert!(bad.is_empty(), "{bad:#?}");
    loaded.site.expect("no error was found")
}

fn with(text: &str) -> Site {
    site(&format!("{BASE}{text}"))
}

fn address(text: &str) -> IpAddr {
    text.parse().expect("an address")
}

/// References work across files in both directions; the order is that of the names.
#[test]
fn a_folder_is_one_site() {
    let folder = tempfile::tempdir().expect("a folder");
    let write =
        |name: &str, text: &str| std::fs::write(folder.path().join(name), text).expect("a file");
    write(
        "20-more.toml",
        "[segments.cellar]\nzone = \"deep\"\nprefixes = \"10.44.7.0/24\"\nisolated = true\n",
    );
    write(
        "10-site.toml",
        &format!("{BASE}[[needs]]\nfrom = \"cellar\"\nto = \"office\"\nsource = \"pumps\"\n"),
    );
    write(
        "30-names.toml",
        "[addresses]\npumps = \"10.44.7.9\"\n[zones.deep]\ntrust = 5\n",
    );
    write("notes.md", "not TOML [");
    let loaded = load_path(folder.path());
    assert_eq!(loaded.problems, []);
    let site = loaded.site.expect("a site");
    assert_eq!(
        site.segments
            .last()
            .map(|segment| segment.name.value.as_str()),
        Some("cellar")
    );
    let names: Vec<String> = loaded
        .sources
        .files()
        .iter()
        .map(|source| source.name().to_owned())
        .collect();
    let expected = ["10-site.toml", "20-more.toml", "30-names.toml"]
        .map(|name| folder.path().join(name).display().to_string());
    assert_eq!(names, expected);
    assert_eq!(
        loaded.sources.place(site.zones[2].name.span),
        format!("{}:3:8", expected[2])
    );
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_change_nothing() {
    let plain = with("");
    let text = format!("\u{feff}{}", BASE.replace('\n', "\r\n"));
    assert_eq!(site(&text), plain);
    let loaded = load_text("a.toml", &text.replace("vlan = 60", "vlan = 0"));
    assert_eq!(loaded.problems.len(), 1);
    let span = loaded.problems[0].span.expect("a place");
    assert_eq!(loaded.sources.place(span), "a.toml:8:8");
}

#[test]
fn several_texts_are_one_site() {
    let (first, second) = BASE.split_at(BASE.find("[gateways").expect("a gateway"));
    let loaded = load_texts(vec![
        ("a.toml".to_owned(), first.to_owned()),
        ("b.toml".to_owned(), second.to_owned()),
    ]);
    assert_eq!(loaded.problems, []);
    assert_eq!(loaded.site.expect("a site"), with(""));
}

/// Long chains of groups neither overflow the stack nor take long.
#[test]
fn a_long_chain_of_groups() {
    let mut text = format!("{BASE}[addresses]\ng0 = \"10.44.20.9\"\n");
    for number in 1..20_000 {
        text.push_str(&format!("g{number} = \"g{}\"\n", number - 1));
    }
    text.push_str("[[needs]]\nfrom = \"office\"\nto = \"brewhouse\"\nsource = \"g19999\"\n");
    let need = &site(&text).needs[0];
    assert!(
        need.source
            .as_ref()
            .expect("a source")
            .set
            .contains(address("10.44.20.9"))
    );
}

/// Site files of the examples and the demo, by folder.
fn shipped(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            shipped(&path, found);
        } else if path.file_name().is_some_and(|name| name == "site.toml") {
            found.push(path);
        }
    }
}

/// No false alarm on good files.
#[test]
fn the_sites_that_come_with_the_program_have_no_problem_at_all() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut paths = Vec::new();
    shipped(&root.join("examples"), &mut paths);
    shipped(&root.join("policies/kettle-lane"), &mut paths);
    assert!(paths.len() > 4, "{paths:?}");
    for path in paths {
        let loaded = load_path(&path);
        assert_eq!(loaded.problems, [], "{}", path.display());
        assert!(loaded.site.is_some());
    }
}
