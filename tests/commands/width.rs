//! Does text fit where it is shown?

use std::collections::BTreeSet;

use unicode_width::UnicodeWidthStr;

use crate::run::{DAY, DEMO, demo, ended, line, program, site};
use crate::sites::{Size, large_site};

fn fits(text: &str, columns: usize) {
    for line in text.lines() {
        assert!(line.width() <= columns, "{} columns: {line}", line.width());
    }
}

#[test]
fn the_demo_fits_eighty_columns() {
    for (command, rest) in [
        ("review", ""),
        ("matrix", ""),
        ("matrix", "--by zone"),
        ("matrix", "--by host"),
        ("matrix", "--flows"),
        ("ports", ""),
        ("expectations", ""),
        ("change", "policies/kettle-lane/proposed"),
        ("privilege", "--flows policies/kettle-lane/flows.csv --all"),
        ("draw", "--ascii"),
        ("probes", ""),
        ("matrix", "--from guest,office --to internet"),
        ("path", "198.51.100.9 203.0.113.3 https --rules"),
        ("path", "brewmaster-laptop hmi recipe-transfer --rules"),
        ("path", "10.44.20.7 10.44.10.20 tcp/9100 --from guest"),
    ] {
        let ran = demo(command, rest);
        assert!(ran.code < 2 && !ran.out.is_empty(), "{ran:?}");
        fits(&ran.out, 80);
    }
    for command in [
        "",
        "review",
        "matrix",
        "path",
        "ports",
        "draw",
        "expectations",
        "change",
        "privilege",
        "probes",
        "verify",
        "new",
        "schema",
    ] {
        fits(&line(&format!("{command} --help")).out, 80);
    }
}

#[test]
fn a_wide_terminal_is_used_and_a_narrow_one_respected() {
    let lines = |columns: usize| {
        let mut command = program();
        command.args(["matrix", DEMO, "--by", "host"]).args(DAY);
        let ran = ended(command.env("COLUMNS", columns.to_string()));
        fits(&ran.out, columns);
        ran.out.lines().count()
    };
    assert!(lines(200) < lines(80), "fewer blocks");
    assert!(lines(80) < lines(60), "fewer blocks");
}

/// Numbers of the columns in the order of their blocks, and the rows of each block.
fn blocks(text: &str) -> (Vec<usize>, Vec<usize>) {
    let (mut columns, mut rows) = (Vec::new(), Vec::new());
    for line in text
        .lines()
        .take_while(|line| !line.starts_with("What passes"))
    {
        if let Some(numbers) = line.strip_prefix("from \\ to") {
            columns.extend(
                numbers
                    .split_whitespace()
                    .map(|word| word.parse::<usize>().expect("a number")),
            );
            rows.push(0);
        } else if line.starts_with("columns: ") || line.starts_with("         ") {
            // The names of the columns.
        } else if !line.is_empty() && !line.contains(" itself)") {
            *rows.last_mut().expect("a block") += 1;
        }
    }
    (columns, rows)
}

#[test]
fn two_hundred_segments_are_shown_in_blocks_of_columns() {
    let text = large_site(Size {
        rules: 300,
        segments: 200,
        dual: false,
        seed: 7,
    });
    let (_folder, file) = site(text);
    for (columns, most) in [(80, 14), (200, 6)] {
        let mut command = program();
        command
            .arg("matrix")
            .arg(&file)
            .args(["--by", "segment", "--no-hostile", "--ipv4"]);
        let ran = ended(command.env("COLUMNS", columns.to_string()));
        fits(&ran.out, columns);
        let (numbers, rows) = blocks(&ran.out);
        // The internet, 200 segments and the gateway itself.
        assert_eq!(numbers, Vec::from_iter(1..=202));
        assert!(
            rows.len() > 1 && rows.len() <= most,
            "{} blocks",
            rows.len()
        );
        assert!(rows.iter().all(|&rows| rows == 201), "{rows:?}");
    }
}

#[test]
fn many_segments_are_shown_by_zone_unless_asked_otherwise() {
    for (segments, rows) in [(39, 40), (40, 11)] {
        let text = large_site(Size {
            rules: 40,
            segments,
            dual: false,
            seed: 7,
        });
        let (_folder, file) = site(text);
        let file = file.to_str().expect("UTF-8");
        let ran = line(&format!("matrix {file}"));
        let (_, shown) = blocks(&ran.out);
        assert_eq!(
            shown.first(),
            Some(&rows),
            "{segments} segments and the internet"
        );
        assert_eq!(ran.out.contains("--by segment shows all"), rows == 11);
        // Whoever names segments, or reads by program, gets segments.
        let ran = line(&format!("matrix {file} --from net3"));
        assert_eq!(blocks(&ran.out).1.first(), Some(&1));
        let ran = line(&format!("matrix {file} --format csv --no-hostile"));
        assert!(ran.out.contains("net3,net4,IPv4"));
    }
}

#[test]
fn columns_that_are_not_the_rows_are_named() {
    let ran = demo("matrix", "--from guest --to published,office,edge");
    let key = ran.out.lines().next().expect("a line");
    assert_eq!(
        key,
        "columns: 1 office, 2 published, 3 edge (gateway itself)"
    );
    let names: BTreeSet<&str> = ran
        .out
        .lines()
        .filter(|line| line.starts_with("guest"))
        .collect();
    assert_eq!(
        names.len(),
        1,
        "the row has no number of its own: {}",
        ran.out
    );
}
