//! Asks from a program that makes its site: three workshops on one gateway, each with its VLAN, and which of them reach
//! each other. `cargo run --example generated_site`.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "an example prints"
)]

use std::error::Error;
use std::fmt::Write;

use boundwalk::analysis::{By, Matrix, Question, Reading, party_name};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family};
use boundwalk::render::problem_text;

fn main() -> Result<(), Box<dyn Error>> {
    let text = site(&["malting", "milling", "bottling"]);
    let loaded = load_text("generated.toml", &text);
    for problem in &loaded.problems {
        eprint!("{}", problem_text(&loaded.sources, problem, false, 80));
    }
    let site = loaded.site.ok_or("the generated text is no site")?;
    let today = Date::constant(2026, 11, 25);
    let network = Network::new(&site, today);
    let question = Question::all(By::Segment, Family::V4, false);
    let matrix = Matrix::new(&network, &question, &mut |_done, _total| {});
    for (from, cells) in matrix.rows.iter().zip(&matrix.cells) {
        for (to, cell) in matrix.columns.iter().zip(cells) {
            if cell.reading == Reading::Pair {
                let passes = if cell.some.is_empty() {
                    "nothing"
                } else {
                    "something"
                };
                let (from, to) = (party_name(&site, *from), party_name(&site, *to));
                println!("{from} -> {to}: {passes}");
            }
        }
    }
    Ok(())
}

/// A site in which each workshop may use the web service of the next one.
fn site(workshops: &[&str]) -> String {
    let mut text = String::from("[gateways.edge]\ndefault = \"deny\"\n");
    for (number, name) in workshops.iter().enumerate() {
        let vlan = 10 * (number + 1);
        let _ = write!(
            text,
            "[zones.{name}]\ntrust = 50\n[segments.{name}]\nzone = \"{name}\"\nvlan = {vlan}\n\
             prefixes = [\"10.44.{vlan}.0/24\"]\n[gateways.edge.interfaces.{name}]\nsegment = \"{name}\"\n\
             addresses = [\"10.44.{vlan}.1/24\"]\n"
        );
    }
    for pair in workshops.windows(2) {
        let _ = write!(
            text,
            "[[gateways.edge.rules]]\nname = \"{0} to {1}\"\nfrom = [\"{0}\"]\nto = [\"{1}\"]\n\
             services = [\"https\"]\naction = \"permit\"\nreason = \"orders\"\n",
            pair[0], pair[1]
        );
    }
    text
}
