//! A rule that no packet can match, because of interfaces, routes or translations.

use crate::analysis::rules::{Departure, Obstacle, Standing};
use crate::diagnostic::{Check, Severity};

use super::report::{Report, found};
use super::reviewed::Reviewed;
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "rule-irrelevant",
    severity: Severity::Warning,
    summary: "a rule that no packet can match, because of interfaces, routes or translations",
    why: "Nothing that it names can arrive at this gateway and leave it so that the rule sees it. Mostly a network moved and the rule did not; whoever reads the list believes that it does something.",
    fine_when: "It is prepared for a network that does not exist yet, and says so in its reason.",
    remedy: "Correct the addresses, `from` or `to`; or remove the rule.",
    references: &[
        "Al-Shaer and Hamed 2004: irrelevance (definitions from memory)",
        "NIST SP 800-41 rev. 1: remove rules that are not used (from memory)",
    ],
    fires: include_str!("examples/rule-irrelevant.fires.toml"),
    quiet: include_str!("examples/rule-irrelevant.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for gateway in view.reviewed() {
        for (rule, standing) in gateway.review.rules.iter().enumerate() {
            if !matches!(standing, Standing::Irrelevant) {
                continue;
            }
            let obstacle = gateway.space.obstacle(rule);
            let what = format!(
                "no packet can match it: {}",
                reason(gateway, rule, &obstacle)
            );
            let mut draft = found(&CHECK, gateway.place(rule), gateway.name(rule), what)
                .help("correct its addresses, `from` or `to`, or remove it");
            if let Some(counted) = gateway.counted(rule) {
                draft = draft.note(gateway.place(rule), counted);
            }
            report.add(draft);
        }
    }
}

fn reason(gateway: &Reviewed<'_>, rule: usize, obstacle: &Obstacle) -> String {
    let interface = |number: usize| gateway.router.interfaces[number].name.value.as_str();
    match obstacle {
        Obstacle::NoArrival => "the gateway has no interface in what `from` names".to_owned(),
        Obstacle::NoDeparture => "the gateway has no interface in what `to` names".to_owned(),
        Obstacle::Source {
            address,
            family,
            behind,
        } => {
            let address = family.address(*address);
            let place = match behind {
                Some(behind) => format!("lies behind {}", interface(*behind)),
                None => "lies nowhere by the routes".to_owned(),
            };
            let from = match gateway.rules[rule].from {
                Some(_) => "what `from` names",
                None => "any interface",
            };
            format!("its source {address} {place} and can't come in by {from}")
        }
        Obstacle::Destination {
            address,
            family,
            by,
        } => {
            let address = family.address(*address);
            match by {
                Departure::Interface(by) => {
                    format!(
                        "its destination {address} leaves by {}, not by what `to` names",
                        interface(*by)
                    )
                }
                Departure::Gateway => format!(
                    "its destination {address} is the gateway's own, which `to` does not name"
                ),
                Departure::Discarded => {
                    format!("its destination {address} is dropped by a discard route")
                }
                Departure::Nowhere => format!("there is no route to its destination {address}"),
            }
        }
        Obstacle::Families => {
            "its source, destination and services have no address family in common".to_owned()
        }
        Obstacle::Translated(lines) => translated(gateway, lines),
    }
}

/// Which translations rewrite what a rule names.
fn translated(gateway: &Reviewed<'_>, lines: &[usize]) -> String {
    let filter = gateway.router.filter();
    let list = filter.map_or(&[][..], |filter| &filter.destination_translations);
    let names = lines.iter().filter_map(|&line| list.get(line));
    let names: Vec<String> = names
        .take(4)
        .map(|line| format!("\"{}\"", line.name.value))
        .collect();
    format!(
        "destination translation ({}) rewrites its packets before the rules see them; name the translated address and port",
        names.join(", ")
    )
}
