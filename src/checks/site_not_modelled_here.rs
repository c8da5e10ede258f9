//! Interfaces without a cable, in a site that describes cables.

use rustc_hash::FxHashSet;

use crate::diagnostic::{Check, Severity};
use crate::model::{HostId, LinkEnd, RouterId, SegmentId};

use super::report::{Report, found};
use super::view::View;

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

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    if view.site.switches.is_empty() {
        return;
    }
    let ends = view.site.links.iter().flat_map(|link| &link.ends);
    let used: FxHashSet<&LinkEnd> = ends.map(|end| &end.value).collect();
    for (number, router) in view.site.routers.iter().enumerate() {
        for interface in &router.interfaces {
            let cabled = interface.port.as_ref().is_some_and(|port| {
                let plugged =
                    |name: &str| used.contains(&LinkEnd::Router(RouterId(number), name.to_owned()));
                let lag = router.lags.iter().find(|lag| lag.name.value == port.value);
                let members = lag.iter().flat_map(|lag| &lag.ports);
                plugged(&port.value) || members.into_iter().any(|member| plugged(&member.value))
            });
            if !cabled && switched(view, interface.segment) {
                let subject = format!("{}:{}", router.name.value, interface.name.value);
                report.add(found(&CHECK, interface.name.span, subject, WHAT).help(HELP));
            }
        }
    }
    for (number, host) in view.site.hosts.iter().enumerate() {
        for interface in &host.interfaces {
            let end = LinkEnd::Host(HostId(number), interface.name.value.clone());
            if !used.contains(&end) && switched(view, interface.segment) {
                let subject = format!("{}:{}", host.name.value, interface.name.value);
                report.add(found(&CHECK, interface.name.span, subject, WHAT).help(HELP));
            }
        }
    }
}

/// Whether a segment is one that switches of the site carry. The world outside is on none of them.
fn switched(view: &View<'_>, segment: SegmentId) -> bool {
    let segment = view.site.segment(segment);
    segment.vlan.is_some() && !segment.external
}
