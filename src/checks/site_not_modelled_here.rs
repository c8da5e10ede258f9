//! Interfaces without a cable, in a site that describes cables.

use boundwalk_analysis::interface_name;
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::SegmentId;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "site-not-modelled-here",
    severity: Severity::Note,
    summary: "an interface without a cable, in a site that describes switches",
    why: "Where it is plugged in decides what it can reach. Without a cable the answers take it for granted \
        that it sits where its segment says, and a wrong port stays unseen.",
    fine_when: "The site describes some of its switches and leaves others out on purpose.",
    remedy: "Say where it is plugged in: `port = \"SWITCH:PORT\"` at a host's interface, a `[[links]]` entry \
        for a gateway.",
    references: &["common practice, no source"],
    fires: include_str!("examples/site-not-modelled-here.fires.toml"),
    quiet: include_str!("examples/site-not-modelled-here.quiet.toml"),
};

const WHAT: &str = "no cable: taken to sit on its segment";
const HELP: &str = "describe where it is plugged in";

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    if view.site.switches.is_empty() {
        return;
    }
    let interfaces = view.network.fabric.interfaces.iter();
    for interface in
        interfaces.filter(|interface| interface.assumed && switched(view, interface.segment))
    {
        let subject = interface_name(view.site, interface.of);
        report.add(found(&CHECK, interface.place, subject, WHAT).help(HELP));
    }
}

/// Whether a segment is one that switches of the site carry. The world outside is on none of them.
fn switched(view: &CheckContext<'_>, segment: SegmentId) -> bool {
    let segment = view.site.segment(segment);
    segment.vlan.is_some() && !segment.external
}
