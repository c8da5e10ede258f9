//! Permits of gateways in a row that come to nothing, put into words.

use boundwalk_analysis::{Denial, ServiceLabels, Wasted, party_name};
use boundwalk_diagnostic::Check;
use boundwalk_model::RouterId;

use super::report::{Draft, FindingReport, found};
use super::rule_asked::rule_place;
use super::view::CheckContext;

/// One finding for each rule, the services that come to nothing and the gateways that deny them; its subjects are
/// the pairs of parties.
pub(super) fn find(
    check: &'static Check,
    denial: Denial,
    view: &CheckContext<'_>,
    report: &mut FindingReport,
) {
    for wasted in view.wasted(denial) {
        let what = what(view, wasted);
        for &(from, to) in &wasted.pairs {
            let from = &view.site.segment(from).name.value;
            let pair = format!("{from} -> {}", party_name(view.site, to));
            report.add(draft(check, view, wasted, pair, &what));
        }
    }
}

fn draft(
    check: &'static Check,
    view: &CheckContext<'_>,
    wasted: &Wasted,
    pair: String,
    what: &str,
) -> Draft {
    let (router, rule) = wasted.rule;
    let (span, _) = rule_place(view, router, Some(rule));
    let others = names(view, wasted);
    let take_out = if wasted.whole {
        "remove this rule or narrow it"
    } else {
        "take them out of this rule"
    };
    let mut draft = found(check, span, pair, what);
    draft = draft.help(format!(
        "if it is wanted, permit it at {others} too; if not, {take_out}"
    ));
    for by in &wasted.denied_by {
        let (place, name) = rule_place(view, by.router, by.rule);
        draft = draft.note(place, format!("{name} denies it"));
    }
    draft
}

/// `outer "shells" permits ssh from office to plant, which inner denies further on: tcp ... -> ...`
fn what(view: &CheckContext<'_>, wasted: &Wasted) -> String {
    let naming = ServiceLabels::new(view.network, wasted.family);
    let (router, rule) = wasted.rule;
    let (_, rule) = rule_place(view, router, Some(rule));
    let services = naming.services(&wasted.services);
    let sources = naming.addresses(&wasted.sources);
    let destinations = naming.addresses(&wasted.destinations);
    let others = names(view, wasted);
    let denied = match wasted.denial {
        Denial::Downstream => format!("which {others} denies further on"),
        Denial::Upstream => format!("which {others} denies before it comes so far"),
    };
    let families = if wasted.both_families {
        ", for IPv4 and IPv6"
    } else {
        ""
    };
    let example = wasted.example;
    format!(
        "{rule} permits {services} from {sources} to {destinations}{families}, {denied}, all of it, such as {example}"
    )
}

/// The gateways that deny.
fn names(view: &CheckContext<'_>, wasted: &Wasted) -> String {
    let mut routers: Vec<RouterId> = wasted.denied_by.iter().map(|by| by.router).collect();
    routers.sort_unstable();
    routers.dedup();
    routers
        .iter()
        .map(|&id| view.site.router(id).name.value.as_str())
        .collect::<Vec<_>>()
        .join(" or ")
}
