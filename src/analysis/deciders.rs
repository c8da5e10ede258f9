//! Who decides: the gateways on a way, each with its rule, and how they are called.

use boundwalk_diagnostic::Span;
use boundwalk_forwarding::{
    DeviceId, Flow, Network, Outcome, Packet, Plan, Sender, Stop, Trace, trace,
};
use boundwalk_model::{RouterId, Site};

/// A gateway with the rule that decided there, by number (`None`: its default).
pub type DecidedBy = (RouterId, Option<usize>);

/// The gateways that decided a flow, in order.
pub(super) fn deciders_of_flow(plan: &Plan, flow: &Flow) -> Vec<DecidedBy> {
    let named = flow
        .hops
        .iter()
        .filter(|hop| hop.filtered)
        .filter_map(|hop| match plan.device(hop.device).id {
            DeviceId::Router(router) => Some((router, hop.rule)),
            DeviceId::Host(_) => None,
        });
    named.collect()
}

/// The gateways that decided a packet, in order.
pub(super) fn deciders_of_trace(plan: &Plan, trace: &Trace) -> Vec<DecidedBy> {
    let decided = trace.steps.iter().filter_map(|step| {
        let decision = step.decision.as_ref()?;
        match plan.device(step.device).id {
            DeviceId::Router(router) => Some((router, decision.rule)),
            DeviceId::Host(_) => None,
        }
    });
    decided.collect()
}

/// Why a packet stops, on the first way on which it does, and who decided before; `None`: it stops on none.
pub(super) fn where_it_stops(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    packet: &Packet,
) -> Option<(Stop, Vec<DecidedBy>)> {
    let traces = trace(network, sender, packet);
    traces.iter().find_map(|trace| match trace.outcome {
        Outcome::Stopped(stop) => Some((stop, deciders_of_trace(plan, trace))),
        Outcome::Delivered(_) | Outcome::NotForwardable => None,
    })
}

/// A rule of a gateway by name, or its default.
pub fn rule_name(network: &Network<'_>, router: RouterId, rule: Option<usize>) -> String {
    let router = network.site.router(router);
    let gateway = &router.name.value;
    let rules = router.filter().map(|filter| filter.rules.as_slice());
    let rule = rule.and_then(|number| Some((number, rules?.get(number)?)));
    match rule {
        Some((number, rule)) => format!("{gateway} rule {} \"{}\"", number + 1, rule.name.value),
        None => format!("the default of {gateway}"),
    }
}

/// Where a rule of a gateway is named, or its default said; `None` for a router without rules.
pub fn rule_span(site: &Site, router: RouterId, rule: Option<usize>) -> Option<Span> {
    let filter = site.router(router).filter()?;
    let rule = rule.and_then(|number| filter.rules.get(number));
    Some(rule.map_or(filter.default.span, |rule| rule.name.span))
}
