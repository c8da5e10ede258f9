//! A host with an interface in several segments.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Forwards, Host};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "several-homes",
    severity: Severity::Warning,
    summary: "a host with interfaces in several segments",
    why: "Whoever takes this host over stands in all its segments at once, and no gateway is asked. One \
        setting (packet forwarding, a bridge, a proxy) makes it a way round every rule.",
    fine_when: "A jump host or backup server that is meant to, is hardened for it and watched.",
    remedy: "Leave it one interface and let the gateway decide what else it reaches.",
    references: &[
        "RFC 1122 section 3.1: a host does not start to forward because it has several interfaces",
        "common practice, no source, for keeping a host in one segment",
    ],
    fires: include_str!("examples/several-homes.fires.toml"),
    quiet: include_str!("examples/several-homes.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for host in &view.site.hosts {
        let homes = homes(view, host);
        // One that forwards is worse: `host-forwards`.
        if homes.len() < 2 || host.forwards.value != Forwards::No {
            continue;
        }
        let what = format!("has an interface in each of {}", homes.join(", "));
        report.add(
            found(&CHECK, host.name.span, &host.name.value, what)
                .measured(of_things(&homes))
                .help("leave it in one segment and let the gateway decide about the others"),
        );
    }
}

/// The segments that a host is on, by name.
pub(super) fn homes<'s>(view: &CheckContext<'s>, host: &Host) -> Vec<&'s str> {
    let mut homes = Vec::new();
    for interface in &host.interfaces {
        let name = view.site.segment(interface.segment).name.value.as_str();
        if !homes.contains(&name) {
            homes.push(name);
        }
    }
    homes
}
