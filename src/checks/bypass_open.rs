//! A way round the gateway.

use boundwalk_analysis::{Bypass, bypasses, origin_name};
use boundwalk_diagnostic::{Check, Magnitude, Severity};
use boundwalk_forwarding::Origin;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "bypass-open",
    severity: Severity::Error,
    summary: "segments of different zones that a device crosses without a filtering gateway deciding",
    why: "Rules protect only what has to pass them. Where frames or packets get round the gateway, the zones are \
        one, whatever its rules say.",
    fine_when: "Never between zones that are meant to be apart; if the two may be joined, make them one zone.",
    remedy: "Change the setting named; `boundwalk bypass` shows each way, cable by cable, and the smallest set of \
        settings that closes all of them.",
    references: &[
        "NIST SP 800-53 Rev. 5, SC-7: connect to other networks only through managed interfaces",
        "PCI DSS v4.0.1, 1.4.1: security controls between trusted and untrusted networks",
    ],
    fires: include_str!("examples/bypass-open.fires.toml"),
    quiet: include_str!("examples/bypass-open.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for pair in bypasses(view.network, &|_, _| true) {
        let name = |origin| origin_name(view.site, &view.network.fabric, origin);
        let subject = format!("{} -> {}", name(pair.from), name(pair.to));
        let place = place(view, &pair);
        let fact = pair.opened_by.map(|setting| setting.fact(view.site));
        let what = match fact {
            Some(fact) => format!("has a way round the gateway: {fact}"),
            None => "has a way round the gateway: the wiring joins the two".to_owned(),
        };
        let help = pair.opened_by.map_or_else(
            || "part the two with a switch that knows VLANs".to_owned(),
            |setting| setting.remedy(view.site),
        );
        let mut measure = Magnitude::default();
        measure.add("frames or packets of a hostile device");
        if pair.configured {
            measure.add("of a device as configured");
        }
        if pair.two_way != Some(false) {
            measure.add("answers come back");
        }
        let draft = found(&CHECK, place, subject, what);
        report.add(draft.help(help).measured(measure));
    }
}

fn place(view: &CheckContext<'_>, pair: &Bypass) -> boundwalk_diagnostic::Span {
    let segment = || match pair.from {
        Origin::Segment(segment) => view.site.segment(segment).place(),
        Origin::Unclaimed(group) => {
            let group = view.network.fabric.unclaimed(group);
            let first = group.ports.first();
            first
                .map(|&port| view.network.fabric.port(port).place)
                .unwrap_or(view.site.switches[group.switch.0].name.span)
        }
    };
    pair.opened_by
        .map_or_else(segment, |setting| setting.place(view.site))
}
