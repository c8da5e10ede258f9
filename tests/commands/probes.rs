//! `probes` and `verify`: what people read, fill in and get back.

use std::fs;
use std::path::{Path, PathBuf};

use crate::json::parsed;
use crate::run::{Ran, about, demo, ended, program, site, starter};
use crate::skipped::skip;

const COLUMNS: &str = "probe,family,from,source,to,destination,protocol,port,expect,rule,gateway,covers,result,remark";

/// The starter site in a folder, with results beside it.
fn with_results(results: impl AsRef<[u8]>) -> (tempfile::TempDir, PathBuf) {
    let (folder, file) = site(starter());
    fs::write(folder.path().join("results.csv"), results).expect("a file");
    (folder, file)
}

fn verified(site: &Path, rest: &[&str]) -> Ran {
    let results = site.with_file_name("results.csv");
    ended(program().arg("verify").arg(site).arg(results).args(rest))
}

/// The plan of the starter site, a list of fields a row, without the line of names.
fn plan() -> Vec<Vec<String>> {
    let (_folder, file) = site(starter());
    rows(&about(&file, "probes", "--format csv").out)
}

/// That plan with a result for each row.
fn fill(result: impl Fn(usize, &[String]) -> String) -> Vec<u8> {
    fill_in(plan(), result)
}

fn rows(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader
        .records()
        .map(|record| record.expect("a record"))
        .map(|record| record.iter().map(str::to_owned).collect())
        .collect()
}

/// A plan with a result for each row.
fn fill_in(plan: Vec<Vec<String>>, result: impl Fn(usize, &[String]) -> String) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer
        .write_record(COLUMNS.split(','))
        .expect("memory takes it");
    for (at, mut row) in plan.into_iter().enumerate() {
        row[12] = result(at, &row);
        writer.write_record(&row).expect("memory takes it");
    }
    writer.into_inner().expect("memory takes it")
}

/// The usual result of an expectation.
fn usual(row: &[String]) -> String {
    match row[8].as_str() {
        "arrives" => "arrived".to_owned(),
        other => other.to_owned(),
    }
}

#[test]
fn a_plan_says_what_to_take_care_of_where_to_stand_and_what_to_type() {
    let ran = demo("probes", "--from office --ipv4");
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    for wanted in [
        "Send probes only on networks that you may test",
        "Stand in office",
        "with host office-manager-desk (10.44.10.32)",
        "tcp 445 to 10.44.30.10 (files in servers): arrives and is answered",
        "by edge rule 23 \"accounts\"",
        "$ nc -z -v -w 2 -s 10.44.10.32 10.44.30.10 445",
        "result: ____",
        "listen_tcp 10.44.30.10 445  (files in servers)",
    ] {
        assert!(ran.out.contains(wanted), "{wanted}: {}", ran.out);
    }
    assert!(!ran.out.contains("Stand in guest"), "{}", ran.out);
    let all = demo("probes", "");
    assert!(all.out.contains("Touched by no probe"), "{}", all.out);
    // A port forward: what the sender types and what the listener sees.
    let forwarded = about(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/port-forward/site.toml"),
        "probes",
        "",
    );
    assert!(
        forwarded.out.contains("arrives as tcp"),
        "{}",
        forwarded.out
    );
}

#[test]
fn every_form_holds_the_same_probes() {
    let csv = demo("probes", "--format csv");
    assert!(
        csv.out.starts_with(&format!("{COLUMNS}\r\n")),
        "{}",
        csv.out
    );
    let rows = rows(&csv.out);
    let json = parsed(&demo("probes", "--format json"));
    let probes = json["probes"].as_array().expect("a list");
    assert!(100 < rows.len());
    assert_eq!(rows.len(), probes.len());
    for (row, probe) in rows.iter().zip(probes) {
        assert_eq!(row[0], probe["number"].to_string());
        assert_eq!(row[3], probe["packet"]["source"]);
        assert_eq!(row[8], probe["expect"]);
        assert_eq!((row[12].as_str(), row[13].as_str()), ("", ""));
    }
    let markdown = demo("probes", "--format markdown").out;
    let lines = markdown.lines().filter(|line| {
        let cell = line
            .strip_prefix("| ")
            .and_then(|rest| rest.split(' ').next());
        cell.is_some_and(|cell| cell.parse::<usize>().is_ok())
    });
    assert_eq!(lines.count(), rows.len());
    let (touched, all) = (&json["touched"], &json["obligations"]);
    let text = demo("probes", "").out.replace('\n', " ");
    let said = format!("{} probes touch {touched} of {all} obligations", rows.len());
    assert!(text.contains(&said), "{said}");
}

#[test]
fn results_as_expected_end_with_0_and_others_are_named_with_their_line() {
    let (_folder, file) = with_results(fill(|_, _| String::new()));
    let ran = verified(&file, &[]);
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(
        ran.out.contains("0 results") && ran.out.contains("not done"),
        "{}",
        ran.out
    );

    let (_folder, file) = with_results(fill(|_, row| usual(row)));
    let ran = verified(&file, &[]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);

    let stopped = plan().iter().position(|row| row[8] == "nothing");
    let stopped = stopped.expect("a probe that should not arrive");
    let (_folder, file) = with_results(fill(|at, row| {
        if at == stopped {
            "Connected".to_owned()
        } else {
            usual(row)
        }
    }));
    let ran = verified(&file, &[]);
    assert_eq!(ran.code, 1, "{}", ran.out);
    let line = stopped + 2;
    assert!(
        ran.out.contains(&format!("results.csv:{line}:")),
        "{}",
        ran.out
    );
    assert!(
        ran.out.contains("expected nothing, seen answered"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("1 differs"), "{}", ran.out);
    let json = parsed(&verified(&file, &["--format", "json"]));
    assert_eq!(json["clean"], false);
    let row = &json["rows"][stopped];
    assert_eq!(row["judgement"], "arrived though stopped");
    assert!(!row["explanations"].as_array().expect("a list").is_empty());
    let markdown = verified(&file, &["--format", "markdown"]);
    assert!(
        markdown.out.contains(&format!(":{line}: ")),
        "{}",
        markdown.out
    );
}

#[test]
fn what_rows_have_in_common_is_named() {
    let plan = rows(&demo("probes", "--format csv").out);
    let results = fill_in(plan, |_, row| match row[2].as_str() {
        "cameras" | "office" => "nothing".to_owned(),
        _ => usual(row),
    });
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("results.csv");
    fs::write(&file, results).expect("a file");
    let ran = demo("verify", file.to_str().expect("UTF-8"));
    assert_eq!(ran.code, 1, "{}", ran.out);
    let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, shared) = text.split_once("In common").expect("a heading");
    assert!(shared.contains("from office"), "{shared}");
    let look = "the port, VLAN and default gateway of the sender";
    assert!(shared.contains(look), "{shared}");
    // Whoever else sends gets through, so no receiver and no family is named alone.
    assert!(!shared.contains("by IPv"), "{shared}");
}

#[test]
fn rows_of_other_spreadsheets_and_of_no_plan_are_read() {
    // Semicolons, a byte order mark, other columns, another order, spaces, capitals, an empty line.
    let text = "\u{feff}Result;Note;Destination;Protocol;Port;Source\r\n\
                Nothing ;x;10.20.10.7; TCP;22;10.20.20.7\r\n\
                ;;;;;\r\n\
                -;;10.20.10.200;tcp;631;10.20.20.7\r\n\
                answered;;10.20.10.200;6;631 from 50000;10.20.20.7\r\n";
    let (_folder, file) = with_results(text);
    let ran = verified(&file, &[]);
    assert!(ran.code < 2 && ran.err.is_empty(), "{ran:?}");
    assert!(
        ran.out.contains("2 results") && ran.out.contains("1 not done"),
        "{}",
        ran.out
    );
}

#[test]
fn rows_that_cannot_be_read_are_named_with_line_and_fix() {
    let head = "from,source,destination,protocol,port,result\n";
    for (row, wanted) in [
        (
            "desks,10.20.10.300,10.20.20.7,tcp,22,nothing",
            "is no address",
        ),
        (
            "desks,10.20.10.7,fd00::1,tcp,22,nothing",
            "two address families",
        ),
        (
            "desks,10.20.10.7,10.20.20.7,quic,22,nothing",
            "protocol `quic` is not known",
        ),
        (
            "desks,10.20.10.7,10.20.20.7,icmpv6,type 8,nothing",
            "write icmp",
        ),
        (
            "desks,10.20.10.7,10.20.20.7,tcp,,nothing",
            "port `` is not known",
        ),
        (
            "desks,10.20.10.7,10.20.20.7,icmp,8/0,nothing",
            "write `type 8 code 0`",
        ),
        (
            "offise,10.20.10.7,10.20.20.7,tcp,22,nothing",
            "no segment `offise`",
        ),
        (
            "desks,10.20.10.7,10.20.20.7,tcp,22,perhaps",
            "write answered, arrived",
        ),
        (
            "desks,10.20.20.7,10.20.10.7,tcp,22,nothing",
            "an address of no device there",
        ),
        ("desks,10.20.10.7", "is no address"),
    ] {
        let (_folder, file) = with_results(format!("{head}{row}\n"));
        let ran = verified(&file, &[]);
        assert_eq!(ran.code, 2, "{row}: {ran:?}");
        assert!(
            ran.out.is_empty() && ran.err.contains(wanted),
            "{row}: {}",
            ran.err
        );
        assert!(ran.err.contains("results.csv:2: "), "{row}: {}", ran.err);
    }
    // Lines are counted whatever ends them, and within quotes.
    for end in ["\n", "\r\n", "\r"] {
        let good = "desks,10.20.10.7,10.20.20.7,tcp,22,nothing".to_owned() + end;
        let bad = good.replace("nothing", "\"a\nb\"");
        let text = head.replace('\n', end) + &good + end + &good + &bad + &bad;
        let (_folder, file) = with_results(text);
        let err = verified(&file, &[]).err;
        let named = err.contains("results.csv:5: ") && err.contains("results.csv:7: ");
        assert!(named, "{end:?}: {err}");
    }
    for (file, wanted) in [
        (b"".as_slice(), "no column `source`"),
        (b"source,destination,protocol,port\n", "no column `result`"),
        (b"source,\xff\n", "not UTF-8"),
    ] {
        let (_folder, site) = with_results(file);
        let ran = verified(&site, &[]);
        assert_eq!(ran.code, 2, "{ran:?}");
        assert!(
            ran.err.contains("results.csv:1: ") && ran.err.contains(wanted),
            "{}",
            ran.err
        );
    }
    let (_folder, file) = site(starter());
    let ran = verified(&file, &[]);
    assert!(ran.code == 2 && ran.err.contains("can't read"), "{ran:?}");
}

#[test]
fn names_that_stand_nowhere_are_refused() {
    for (rest, wanted) in [
        ("--from offise", "no zone, segment"),
        ("--from hmi", "name its segment"),
        ("--from edge", "forwards"),
    ] {
        let ran = demo("probes", rest);
        assert!(ran.code == 2 && ran.err.contains(wanted), "{rest}: {ran:?}");
    }
}

/// The functions for the far side, as a plan prints them.
#[cfg(unix)]
fn functions() -> String {
    let text = demo("probes", "").out;
    let start = text.find("listen_tcp() {").expect("a function");
    let (functions, _) = text[start..].split_once("\n\n").expect("an end");
    functions.to_owned()
}

/// They are no more than text to us: does a shell take them, and do they listen?
#[cfg(unix)]
#[test]
fn the_listeners_listen_and_the_second_answers() {
    use std::io::{BufRead, BufReader};
    use std::net::{TcpListener, TcpStream, UdpSocket};
    use std::os::unix::process::CommandExt;
    use std::process::{Command, Stdio};
    use std::time::Duration;

    let functions = functions();
    let check = Command::new("sh").args(["-n", "-c", &functions]).output();
    assert!(check.expect("a shell").status.success(), "{functions}");
    if let Err(error) = Command::new("python3").arg("-V").output() {
        return skip("python3", &error);
    }
    let free = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = free.local_addr().expect("an address").port();
    drop(free);
    for name in ["listen_tcp", "listen_udp"] {
        let mut child = Command::new("sh")
            .args(["-c", &format!("{functions}\n{name} 127.0.0.1 {port}")])
            .stdout(Stdio::piped())
            .process_group(0)
            .spawn()
            .expect("a shell");
        let udp = UdpSocket::bind("127.0.0.1:0").expect("a port");
        udp.set_read_timeout(Some(Duration::from_millis(200)))
            .expect("a time");
        let mut back = [0; 16];
        let reached = (0..100).any(|_| {
            std::thread::sleep(Duration::from_millis(50));
            match name {
                "listen_tcp" => TcpStream::connect(("127.0.0.1", port)).is_ok(),
                _ => {
                    let sent = udp.send_to(b"probe", ("127.0.0.1", port));
                    sent.is_ok()
                        && udp
                            .recv(&mut back)
                            .is_ok_and(|size| &back[..size] == b"probe")
                }
            }
        });
        let mut said = String::new();
        if reached {
            let out = child.stdout.take().expect("a pipe");
            BufReader::new(out).read_line(&mut said).expect("a line");
        }
        let group = format!("-{}", child.id());
        let killed = Command::new("kill").args(["--", &group]).status();
        assert!(killed.expect("kill").success());
        child.wait().expect("a child");
        assert!(reached && said.contains("127.0.0.1"), "{name}: {said}");
    }
}
