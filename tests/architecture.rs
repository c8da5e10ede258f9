//! Does each module import only from floors below its own?
//!
//! The floors are listed lowest first in DEVELOPERS.md; this test is what makes the list true.

use std::fs;
use std::path::{Path, PathBuf};

/// Modules by floor.
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

/// Crates that a floor must not know of, beyond what its neighbours say: no serde or I/O at the bottom.
const FORBIDDEN: &[(&str, &[&str])] = &[
    (
        "packet",
        &["serde", "std::fs", "std::io", "std::net", "toml", "ipnet"],
    ),
    (
        "diagnostic",
        &["serde", "std::fs", "std::io", "std::net", "toml", "ipnet"],
    ),
    ("model", &["serde", "std::fs", "std::io", "toml::"]),
    ("forwarding", &["serde", "std::fs", "std::io", "toml::"]),
    ("analysis", &["serde", "std::fs", "std::io", "toml::"]),
];

fn source_folder() -> PathBuf {
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

/// Lines of a file without comments.
fn code_lines(file: &Path) -> Vec<(usize, String)> {
    let text = fs::read_to_string(file).expect("a readable source file");
    let lines = text.lines().enumerate();
    lines
        .map(|(number, line)| {
            (
                number + 1,
                line.split("//").next().unwrap_or_default().to_owned(),
            )
        })
        .collect()
}

/// Names of our modules that a line refers to by `crate::name`.
fn imports(line: &str) -> Vec<&str> {
    let after = line
        .match_indices("crate::")
        .map(|(at, found)| &line[at + found.len()..]);
    after
        .map(|rest| {
            rest.split(|c: char| !c.is_ascii_lowercase() && c != '_')
                .next()
                .unwrap_or_default()
        })
        .collect()
}

#[test]
fn every_module_stands_on_a_floor() {
    for entry in fs::read_dir(source_folder()).expect("the source folder") {
        let path = entry.expect("an entry").path();
        let name = path
            .file_stem()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        let known = FLOORS.iter().any(|(floor, _)| *floor == name);
        assert!(
            known || name == "lib" || name == "main",
            "src/{name} stands on no floor"
        );
    }
}

#[test]
fn imports_point_downwards() {
    let mut looked_at = 0;
    for (module, floor) in FLOORS {
        let folder = source_folder().join(module);
        if !folder.exists() {
            continue;
        }
        for file in rust_files(&folder) {
            for (number, line) in code_lines(&file) {
                for import in imports(&line) {
                    let Some((_, below)) = FLOORS.iter().find(|(name, _)| *name == import) else {
                        continue;
                    };
                    looked_at += 1;
                    let fine = below < floor || import == *module;
                    assert!(
                        fine,
                        "{}:{number}: {module} must not know {import}",
                        file.display()
                    );
                }
            }
        }
    }
    assert!(looked_at > 50, "the imports were not found: {looked_at}");
}

#[test]
fn low_floors_know_no_files_and_no_formats() {
    for (module, forbidden) in FORBIDDEN {
        for file in rust_files(&source_folder().join(module)) {
            let own_tests = code_lines(&file)
                .into_iter()
                .take_while(|(_, line)| line.trim() != "mod tests {");
            for (number, line) in own_tests {
                for name in *forbidden {
                    // Addresses are values of the model; sockets are not.
                    assert!(
                        !line.contains(name),
                        "{}:{number}: {module} must not know {name}",
                        file.display()
                    );
                }
            }
        }
    }
}

/// House numbers: a file that one can hold in mind.
#[test]
fn files_stay_small() {
    for file in rust_files(&source_folder()) {
        let lines = code_lines(&file);
        let own = lines
            .iter()
            .take_while(|(_, line)| line.trim() != "mod tests {")
            .count();
        assert!(
            own <= 600,
            "{} has {own} lines before its tests",
            file.display()
        );
    }
}

#[test]
fn every_file_says_what_it_is_for() {
    for file in rust_files(&source_folder()) {
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
    let mut named = Vec::new();
    let (mut inside, mut reason) = (false, false);
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line == "[dependencies]" || line.ends_with(".dependencies]");
        } else if let Some((name, _)) = line.split_once(" = ").filter(|_| inside) {
            // A row of several stands under one reason.
            assert!(reason, "no reason beside {name}");
            named.push(name.to_owned());
        }
        reason = line.starts_with('#') || (reason && !line.is_empty());
    }
    let guide = read("DEVELOPERS.md");
    let table = guide
        .split("## What it is built on")
        .nth(1)
        .expect("the table");
    let table = table.split("\n## ").next().unwrap_or(table);
    let rows = table.lines().filter_map(|line| line.strip_prefix("| "));
    let rows = rows.filter_map(|line| line.split(" | ").next());
    let mut listed: Vec<&str> = rows.flat_map(|names| names.split(", ")).collect();
    listed.retain(|name| *name != "crate");
    listed.sort_unstable();
    named.sort_unstable();
    assert_eq!(listed, named);
}
