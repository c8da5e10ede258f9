//! Logs of flows, read by the program.

use std::fmt::Write;
use std::fs;

use boundwalk::analysis::{By, Matrix, Question};
use boundwalk::forwarding::Network;
use boundwalk::load::load_path;
use boundwalk::model::{Date, Family};
use serde_json::Value;

use crate::run::{DEMO, about, demo, site, starter};

const HEADING: &str = "sourceIPv4Address,destinationIPv4Address,protocolIdentifier,sourceTransportPort,destinationTransportPort\n";

/// A log of which nothing can be read proves nothing: neither what is used nor what is not.
#[test]
fn a_log_without_a_readable_record_ends_with_2_and_changes_nothing() {
    let (folder, file) = site(starter());
    let before = fs::read_to_string(&file).expect("a site file");
    let log = folder.path().join("flows.csv");
    let name = log.to_str().expect("a path in UTF-8").to_owned();
    for text in ["", HEADING, &format!("{HEADING}x,y,z,1,2\nx,y,z,1,2\n")] {
        fs::write(&log, text).expect("a file of our own");
        for rest in ["", " --tighten --write", " --format json"] {
            let ran = about(&file, "privilege", &format!("--flows {name}{rest}"));
            assert_eq!(ran.code, 2, "{text}{rest}: {ran:?}");
            assert!(
                ran.err.contains("is a record that could be read"),
                "{ran:?}"
            );
            assert_eq!(ran.out, "");
        }
        assert_eq!(fs::read_to_string(&file).expect("a site file"), before);
    }
}

/// Each service that the model delivers and answers at the demo, as two records that nobody marked; in both orders.
#[test]
fn what_the_model_answers_is_possible_in_both_directions() {
    let loaded = load_path(std::path::Path::new(DEMO));
    let site = loaded.site.expect("the demo loads");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let question = Question::all(By::Segment, Family::V4, false);
    let matrix = Matrix::new(&network, &question, &mut |_, _| {});
    let plan = network.plan(Family::V4);
    let mut rows: Vec<String> = Vec::new();
    for (number, cell) in matrix.cells.iter().flatten().enumerate() {
        // What is translated on the way comes back from another address than it was sent to.
        let Some(packet) = cell
            .witness
            .filter(|packet| cell.answered() && packet.protocol.has_ports())
        else {
            continue;
        };
        let traces = boundwalk::forwarding::trace(
            &network,
            boundwalk::forwarding::Sender::Segment(
                site.segment_ids()
                    .find(|&id| {
                        plan.segment(id)
                            .addresses
                            .contains(Family::value(packet.source))
                    })
                    .expect("its segment"),
            ),
            &packet,
        );
        if traces.iter().any(|trace| trace.packet != packet) {
            continue;
        }
        let (from, to, protocol) = (packet.source, packet.destination, packet.protocol.0);
        let (client, port) = (50_000 + number, packet.destination_port);
        rows.push(format!("{from},{to},{protocol},{client},{port}\n"));
        rows.push(format!("{to},{from},{protocol},{port},{client}\n"));
    }
    assert!(20 < rows.len(), "{rows:?}");
    let folder = tempfile::tempdir().expect("a folder of our own");
    let log = folder.path().join("flows.csv");
    for reversed in [false, true] {
        if reversed {
            rows.reverse();
        }
        let mut text = HEADING.to_owned();
        write!(text, "{}", rows.concat()).expect("a string");
        fs::write(&log, text).expect("a file of our own");
        let ran = demo(
            "privilege",
            &format!("--format json --flows {}", log.display()),
        );
        let value: Value = serde_json::from_str(&ran.out).expect("JSON");
        assert_eq!(value["impossible"], Value::Array(Vec::new()), "{ran:?}");
        // As the records stand, answers are no flows of their own.
        let kept = format!("--format json --keep-direction --flows {}", log.display());
        let value: Value = serde_json::from_str(&demo("privilege", &kept).out).expect("JSON");
        assert_ne!(value["impossible"], Value::Array(Vec::new()));
    }
}
