//! Does each floor import only from floors below its own, and do files of a floor form no circle?
//!
//! The floors are crates, so the compiler refuses circles of floors; which floor may know which stands here, and in
//! DEVELOPERS.md. Source is read with a parser, not searched as text.

#[path = "architecture/modules.rs"]
mod modules;
#[path = "architecture/one_line.rs"]
mod one_line;
#[path = "architecture/surface.rs"]
mod surface;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use petgraph::algo::tarjan_scc;
use petgraph::graphmap::DiGraphMap;

use modules::{Floor, Imports};

/// Floors and their numbers.
const FLOORS: &[(&str, u32)] = &[
    ("packet", 0),
    ("diagnostic", 0),
    ("model", 1),
    ("load", 2),
    ("forwarding", 3),
    ("analysis", 4),
    ("checks", 5),
    ("render", 6),
    ("cli", 7),
];

/// Crates of others that a floor must not take: no formats at the bottom, no terminal but at the top.
const FORBIDDEN: &[(&str, &[&str])] = &[
    ("packet", &["serde", "serde_json", "toml", "ipnet"]),
    ("diagnostic", &["serde", "serde_json", "toml", "ipnet"]),
    ("model", &["serde", "serde_json", "toml"]),
    ("forwarding", &["serde", "serde_json", "toml"]),
    ("analysis", &["serde", "serde_json", "toml"]),
    ("checks", &["serde", "serde_json", "toml", "clap"]),
    ("render", &["toml", "clap", "tempfile", "ratatui"]),
];

/// Floors whose files may open files.
const OPENS_FILES: &[&str] = &["load", "cli"];

/// Lines that a file may have before its tests, and the files that may have more, with the reason.
const LINES: usize = 400;
const LONGER: &[(&str, &str)] = &[
    (
        "analysis/isolation.rs",
        "one verdict and its proof, read from top to bottom",
    ),
    (
        "analysis/link_mismatch.rs",
        "each way in which two ends can differ, one after the other",
    ),
    (
        "analysis/rules/universe.rs",
        "the numbering of packets is one algorithm",
    ),
    (
        "forwarding/layer2/wiring.rs",
        "closure over the fabric and its answers share their state",
    ),
    (
        "forwarding/network.rs",
        "the assembly of both families, step by step",
    ),
    ("forwarding/reach.rs", "one walk of packet sets"),
    (
        "forwarding/returns.rs",
        "the walk of replies, the mirror of `reach`",
    ),
    ("forwarding/routes.rs", "lookup and its nesting of prefixes"),
    (
        "forwarding/trace_reply.rs",
        "the reply of one packet, the mirror of `trace_walk`",
    ),
    (
        "forwarding/wires.rs",
        "everything that may be found on a wire",
    ),
    (
        "render/path.rs",
        "one page, in the order in which it is printed",
    ),
    (
        "render/rule_sheet.rs",
        "one table, in the order in which it is printed",
    ),
];

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).expect("a source folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            files.extend(rust_files(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
    files.sort();
    files
}

/// A file as DEVELOPERS.md names it.
fn shown(file: &Path) -> String {
    let short = file.strip_prefix(source()).unwrap_or(file);
    short.display().to_string()
}

fn manifest(path: &Path) -> toml::Table {
    let text = fs::read_to_string(path).expect("a manifest");
    text.parse().expect("a manifest in TOML")
}

/// Names under `[dependencies]`, also those of one system alone.
fn dependencies(manifest: &toml::Table) -> BTreeSet<String> {
    let names = |table: &toml::Table| {
        let table = table.get("dependencies").and_then(toml::Value::as_table);
        table
            .into_iter()
            .flat_map(toml::Table::keys)
            .cloned()
            .collect::<Vec<_>>()
    };
    let targets = manifest.get("target").and_then(toml::Value::as_table);
    let targets = targets.into_iter().flat_map(|table| table.values());
    let mut all: BTreeSet<String> = names(manifest).into_iter().collect();
    all.extend(targets.filter_map(toml::Value::as_table).flat_map(names));
    all
}

#[test]
fn every_folder_is_a_floor() {
    let mut found: Vec<String> = Vec::new();
    for entry in fs::read_dir(source()).expect("the source folder") {
        let path = entry.expect("an entry").path();
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        if path.is_dir() {
            found.push(name);
        } else {
            assert!(
                ["lib.rs", "main.rs"].contains(&name.as_str()),
                "src/{name} belongs to a floor"
            );
        }
    }
    found.sort();
    let mut floors: Vec<&str> = FLOORS.iter().map(|(name, _)| *name).collect();
    floors.sort_unstable();
    assert_eq!(found, floors);
}

#[test]
fn floors_know_only_what_is_below_them() {
    let floor = |name: &str| {
        FLOORS
            .iter()
            .find(|(floor, _)| *floor == name)
            .map(|(_, number)| *number)
    };
    for (name, number) in FLOORS {
        let known = dependencies(&manifest(&source().join(name).join("Cargo.toml")));
        for below in known
            .iter()
            .filter_map(|name| name.strip_prefix("boundwalk-"))
        {
            assert!(
                floor(below).is_some_and(|below| below < *number),
                "{name} must not know {below}"
            );
        }
        let forbidden = FORBIDDEN.iter().filter(|(floor, _)| floor == name);
        for other in forbidden.flat_map(|(_, others)| *others) {
            assert!(!known.contains(*other), "{name} must not take {other}");
        }
    }
}

#[test]
fn files_are_opened_where_files_belong() {
    for (name, _) in FLOORS
        .iter()
        .filter(|(name, _)| !OPENS_FILES.contains(name))
    {
        for (file, path) in Floor::read(&source().join(name)).paths() {
            let opens = path.len() > 1
                && path[0] == "std"
                && ["fs", "net", "process", "env"].contains(&path[1].as_str());
            // Addresses are values.
            let address = path
                .get(2)
                .is_some_and(|name| name.starts_with("Ip") || name.starts_with("SocketAddr"));
            assert!(
                !opens || address,
                "{} names {}",
                shown(file),
                path.join("::")
            );
        }
    }
}

#[test]
fn files_form_no_circle() {
    let (mut files, mut circles) = (0, Vec::new());
    for (name, _) in FLOORS {
        let floor = Floor::read(&source().join(name));
        let imports = floor.imports();
        files += imports.len();
        let mut graph: DiGraphMap<&Path, ()> = DiGraphMap::new();
        for (file, others) in &imports {
            for other in others.keys() {
                graph.add_edge(*file, *other, ());
            }
        }
        let round = tarjan_scc(&graph)
            .into_iter()
            .filter(|files| files.len() > 1);
        circles.extend(round.map(|files| taken(&files, &imports)));
    }
    assert!(
        circles.is_empty(),
        "circles of files:\n{}",
        circles.join("\n")
    );
    assert!(files > 350, "only {files} files were read");
}

/// Who takes what from whom in a circle.
fn taken(files: &[&Path], imports: &BTreeMap<&Path, Imports<'_>>) -> String {
    let mut lines = vec![format!("{} files:", files.len())];
    for file in files {
        for (other, names) in imports[file]
            .iter()
            .filter(|(other, _)| files.contains(other))
        {
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            lines.push(format!(
                "  {} takes {} from {}",
                shown(file),
                names.join(", "),
                shown(other)
            ));
        }
    }
    lines.join("\n")
}

/// What the test above sees: an import through each form of path, a name that a file in between hands on.
#[test]
fn circles_are_seen_whatever_way_they_are_written() {
    let parts = [
        ("a.rs", "use super::b::B; pub struct A;"),
        ("a.rs", "use crate::handed::B; pub struct A;"),
        ("a.rs", "pub struct A; fn f() -> crate::B { crate::B }"),
        (
            "a.rs",
            "pub struct A; fn f() { let _ = format!(\"{:?}\", crate::b::B); }",
        ),
        ("a.rs", "use crate::{b::{B as Other}}; pub struct A;"),
        ("a.rs", "use super::*; pub struct A; fn f(_: B) {}"),
    ];
    for (file, text) in parts {
        let folder = tempfile::tempdir().expect("a folder");
        let write =
            |name: &str, text: &str| fs::write(folder.path().join(name), text).expect("a file");
        write(
            "lib.rs",
            "mod a; mod b; pub mod handed { pub use super::b::B; } pub use b::B;",
        );
        write("b.rs", "use super::a::A; pub struct B;");
        write(file, text);
        let floor = Floor::read(folder.path());
        let imports = floor.imports();
        let has = |from: &str, to: &str| {
            let [from, to] = [from, to].map(|name| folder.path().join(name));
            imports[from.as_path()].contains_key(to.as_path())
        };
        assert!(
            has("a.rs", "b.rs") && has("b.rs", "a.rs"),
            "{text}: {imports:?}"
        );
    }
}

/// A file that can be held in mind.
#[test]
fn files_stay_small() {
    let mut long: Vec<String> = Vec::new();
    for file in rust_files(&source()) {
        let text = fs::read_to_string(&file).expect("a source file");
        let own = text
            .split("#[cfg(test)]\nmod tests {")
            .next()
            .unwrap_or_default();
        let lines = own.lines().count();
        let allowed = LONGER.iter().any(|(name, _)| *name == shown(&file));
        if (lines > LINES) != allowed {
            long.push(format!(
                "{} has {lines} lines before its tests",
                shown(&file)
            ));
        }
    }
    assert!(
        long.is_empty(),
        "the list of longer files does not fit:\n{}",
        long.join("\n")
    );
}

#[test]
fn every_file_says_what_it_is_for() {
    for file in rust_files(&source()) {
        let text = fs::read_to_string(&file).expect("a readable source file");
        assert!(
            text.starts_with("//!"),
            "{} has no module documentation",
            file.display()
        );
    }
}

/// Each dependency has a reason beside it in `Cargo.toml` and a row in the guide for contributors, and no row is left
/// behind.
#[test]
fn dependencies_have_a_reason_and_a_row() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| fs::read_to_string(root.join(name)).expect("a file of the project");
    let manifest = read("Cargo.toml");
    let built_in: BTreeSet<String> = FLOORS
        .iter()
        .map(|(name, _)| root.join("src").join(name).join("Cargo.toml"))
        .flat_map(|path| dependencies(&self::manifest(&path)))
        .collect();
    let mut named = Vec::new();
    let (mut inside, mut reason) = (false, false);
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line == "[workspace.dependencies]";
        } else if let Some((name, _)) = line.split_once(" = ").filter(|_| inside) {
            // A row of several stands under one reason.
            assert!(reason, "no reason beside {name}");
            if built_in.contains(name) {
                named.push(name.to_owned());
            }
        }
        reason = line.starts_with('#') || (reason && !line.is_empty());
    }
    let guide = read("DEVELOPERS.md");
    let table = guide
        .split("## What it is built on")
        .nth(1)
        .expect("the table");
    let table = table.split("\n## ").next().unwrap_or(table);
    let mut listed: Vec<&str> = table
        .lines()
        .filter_map(|line| line.strip_prefix("| "))
        .filter_map(|line| line.split(" | ").next())
        .flat_map(|names| names.split(", "))
        .collect();
    listed.retain(|name| *name != "crate");
    listed.sort_unstable();
    named.sort_unstable();
    assert_eq!(listed, named);
}
