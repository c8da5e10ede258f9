//! A segment that claims to be isolated and is not.

use boundwalk_analysis::{Counterpart, IsolationVerdict, Opening, isolations, origin_name};
use boundwalk_diagnostic::{Check, Magnitude, Severity, Span};
use boundwalk_forwarding::Origin;
use boundwalk_model::SegmentId;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "isolation-broken",
    severity: Severity::Error,
    summary: "a segment that claims `isolated = true` and has a path to or from another",
    why: "Somebody relies on the claim. A path that only rules close is one mistake in a rule away from being open, \
        and one that is open is no isolation at all.",
    fine_when: "The claim is older than the network: then take it out.",
    remedy: "Close the path; `boundwalk isolation` shows it, and what would prove the claim.",
    references: &[
        "NIST SP 800-53 Rev. 5, SC-7(21): isolation of system components",
        "IEC 62443-3-3, SR 5.1: network segmentation",
    ],
    fires: include_str!("examples/isolation-broken.fires.toml"),
    quiet: include_str!("examples/isolation-broken.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let claim = |id: SegmentId| Some((id, view.site.segment(id).claims_isolation()?));
    let (ids, claims): (Vec<SegmentId>, Vec<Span>) =
        view.site.segment_ids().filter_map(claim).unzip();
    let verdicts = isolations(view.network, &ids);
    for ((id, claim), verdict) in ids.into_iter().zip(claims).zip(verdicts) {
        let segment = view.site.segment(id);
        let measure = measured(&verdict);
        let what = match verdict {
            IsolationVerdict::ByDesign(_) => continue,
            IsolationVerdict::ByRule { contacts, .. } => {
                let met = contacts
                    .first()
                    .map(|contact| met(view, contact.met))
                    .unwrap_or_else(|| "a gateway".to_owned());
                format!("is closed by rules only: its frames meet {met}")
            }
            IsolationVerdict::Reachable { out, into, .. } => {
                open(view, out.as_ref(), into.as_ref())
            }
            IsolationVerdict::Unknown { limit, .. } => {
                format!("is not isolated by design, and whether rules close it is unknown: {limit}")
            }
        };
        let help = format!(
            "`boundwalk isolation` shows the path: `{}`",
            segment.name.value
        );
        let draft = found(&CHECK, claim, &segment.name.value, what).help(help);
        report.add(draft.measured(measure));
    }
}

/// What is open: by rules only, out of the segment, into it.
fn measured(verdict: &IsolationVerdict) -> Magnitude {
    let mut measure = Magnitude::default();
    measure.add("frames get out or in");
    match verdict {
        IsolationVerdict::Reachable { out, into, .. } => {
            if out.is_some() {
                measure.add("something is reached from it");
            }
            if into.is_some() {
                measure.add("something reaches it");
            }
        }
        IsolationVerdict::Unknown { .. } => measure.add("not all was looked at"),
        IsolationVerdict::ByDesign(_) | IsolationVerdict::ByRule { .. } => {}
    }
    measure
}

fn met(view: &CheckContext<'_>, met: Counterpart) -> String {
    let site = view.site;
    match met {
        Counterpart::Home(host) => {
            let name = &site.host(host).name.value;
            format!("{name}, which is on another segment as well")
        }
        Counterpart::Unclaimed(group) => {
            origin_name(site, &view.network.fabric, Origin::Unclaimed(group)).into_owned()
        }
        Counterpart::Segment(segment) => format!("devices of {}", site.segment(segment).name.value),
        Counterpart::Router(router) => site.router(router).name.value.clone(),
        Counterpart::Forwarder(host) => site.host(host).name.value.clone(),
    }
}

fn open(view: &CheckContext<'_>, out: Option<&Opening>, into: Option<&Opening>) -> String {
    let name = |other: Origin| origin_name(view.site, &view.network.fabric, other);
    let how = |opening: &Opening| match opening {
        Opening::Around { other, .. } => (name(*other), "round the gateway"),
        Opening::Through { other, .. } => (name(*other), "through the rules"),
    };
    let reaches = out
        .map(how)
        .map(|(other, how)| format!("reaches {other} {how}"));
    let reached = into
        .map(how)
        .map(|(other, how)| format!("is reached from {other} {how}"));
    let parts: Vec<String> = reaches.into_iter().chain(reached).collect();
    parts.join(" and ")
}
