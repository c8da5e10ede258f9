//! Tables for spreadsheets and for documents.

use crate::json::parsed;
use crate::run::{about, demo, site, starter};

fn records(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let owned = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect();
    let header = owned(reader.headers().expect("a header"));
    // The reader refuses records of other lengths than the header's.
    let records = reader
        .records()
        .map(|record| owned(&record.expect("a record")));
    (header, records.collect())
}

#[test]
fn csv_has_a_line_for_each_pair_that_the_json_document_has() {
    for by in ["segment", "zone", "host"] {
        let (header, records) = records(&demo("matrix", &format!("--by {by} --format csv")).out);
        let value = parsed(&demo("matrix", &format!("--by {by} --format json")));
        let pairs: Vec<_> = value["cells"]
            .as_array()
            .expect("a list")
            .iter()
            .filter(|cell| cell["state"] != "within" && cell["state"] != "no-addresses")
            .map(|cell| {
                [&cell["from"], &cell["to"], &cell["family"]]
                    .map(|text| text.as_str().unwrap_or_default())
            })
            .collect();
        assert_eq!(header[..3], ["from", "to", "family"]);
        assert_eq!(records.len(), pairs.len(), "{by}");
        for (record, pair) in records.iter().zip(pairs) {
            assert_eq!(record[..3], pair);
        }
    }
}

#[test]
fn csv_says_what_the_json_document_says() {
    let (header, records) =
        records(&demo("matrix", "--from coldstore --to internet --format csv").out);
    let field = |name: &str| {
        let at = header.iter().position(|column| column == name);
        records[0][at.expect("such a column")].as_str()
    };
    assert_eq!(records.len(), 1, "the cold store has no IPv6");
    assert_eq!(field("passes"), "logger-reports");
    assert_eq!(field("every address"), "nothing");
    assert_eq!(field("replies"), "all");
    assert_eq!(field("complete"), "yes");
    assert!(field("rules").starts_with("edge: cold store loggers report (line "));
    assert!(field("witness").starts_with("tcp 10.44.80."));
    assert!(field("witness").ends_with(":49152 -> 198.51.100.200:1883"));
}

#[test]
fn no_field_is_a_formula_for_a_spreadsheet() {
    let text = starter()
        .replace("guest-wifi", "-2-3")
        .replace("web for all", "=1+1, \\\"quoted\\\"");
    let (_folder, file) = site(text);
    let ran = about(&file, "matrix", "--format csv");
    assert_eq!(ran.code, 0, "{ran:?}");
    let (_, records) = records(&ran.out);
    let fields: Vec<&String> = records.iter().flatten().collect();
    let formula = |field: &&&String| field.starts_with(['=', '+', '-', '@', '\t', '\r']);
    assert_eq!(fields.iter().find(formula), None);
    assert!(
        fields.iter().any(|field| *field == "'-2-3"),
        "the name is still told"
    );
    assert!(
        fields
            .iter()
            .any(|field| field.contains("=1+1, \"quoted\""))
    );
    assert!(
        ran.out.lines().count() > 1 && ran.out.ends_with("\r\n"),
        "RFC 4180 lines"
    );
}

#[test]
fn markdown_has_a_row_for_each_segment_and_a_cell_for_each_column() {
    let ran = demo("matrix", "--format markdown");
    let value = parsed(&demo("matrix", "--format json"));
    let names = |side: &str| {
        let list = value[side].as_array().expect("a list").clone();
        list.into_iter()
            .map(|side| side["name"].as_str().unwrap_or_default().to_owned())
    };
    let mut lines = ran
        .out
        .lines()
        .skip_while(|line| !line.starts_with("| from"));
    let header = lines.next().expect("a header");
    let columns = names("columns").count();
    for name in names("columns") {
        assert!(header.contains(&name), "{name}: {header}");
    }
    let bars = |line: &str| line.matches('|').count();
    assert_eq!(bars(header), columns + 2);
    assert_eq!(bars(lines.next().expect("a rule")), columns + 2);
    for name in names("rows") {
        let line = lines.next().expect("a row");
        assert!(
            line.starts_with(&format!("| **{name}** |")),
            "{name}: {line}"
        );
        assert_eq!(bars(line), columns + 2);
    }
    assert_eq!(lines.next(), Some(""), "and no row more");
}

#[test]
fn markdown_takes_names_for_nothing_else() {
    let text = starter().replace("My site", "<img src=x> [a](b) | *c* `d`");
    let (_folder, file) = site(text);
    for command in ["matrix", "review"] {
        let ran = about(&file, command, "--format markdown");
        let title = ran.out.lines().next().expect("a title");
        assert!(
            title.ends_with(": &lt;img src=x&gt; \\[a\\](b) \\| \\*c\\* \\`d\\`"),
            "{title}"
        );
    }
}
