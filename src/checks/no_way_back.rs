//! Answers that do not come back the way the question went.

use boundwalk_analysis::{Endpoint, Extent, flows};
use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_forwarding::{
    DeviceId, DeviceIndex, Limit, Outcome, Reply, ReplyPass, ReplyStep, Sender, Trace,
    WalkCoverage, trace,
};
use boundwalk_model::{Family, RouterId};

use super::report::{FindingReport, found};
use super::rule_asked::{Conversation, crossings_of, rule_place, talks};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "no-way-back",
    severity: Severity::Error,
    summary: "something gets through, but its replies do not, or go round a gateway that waits for them",
    why: "A stateful gateway lets a reply pass only where it let the question pass. Where the way back is \
        another one, connections hang, or work until a gateway gives up on those of which it sees one half.",
    fine_when: "Traffic that needs no reply, or gateways that tell each other of their connections.",
    remedy: "Make routes of both sides lead over the same gateways, or remove the shortcut.",
    references: &[
        "seen with Linux 6.1 connection tracking: replies at a gateway that never saw the question are dropped",
    ],
    fires: include_str!("examples/no-way-back.fires.toml"),
    quiet: include_str!("examples/no-way-back.quiet.toml"),
};

/// Hosts that are asked at most, one for each sender: usual sites have few with ways of their own.
const MOST_HOSTS: usize = 2_000;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let mut left = view.network.scaled(MOST_HOSTS);
    for family in Family::ALL {
        for talk in talks(view, family) {
            described_hosts(view, family, &talk, &mut left, report);
            if talk.cell.answered() && comes_straight_back(view, family, &talk) {
                continue;
            }
            for way in talk.ways(view) {
                if let Some((what, router)) = trouble(view, family, talk.cell.answered(), &way) {
                    let draft = found(&CHECK, place(view, &talk, router), talk.name(view), what);
                    report.add(draft.help("let the way back lead over the same gateways"));
                }
            }
        }
    }
}

/// Described hosts on the target's segment that answer by ways of their own: each is held against what it gets from the
/// sender's segment, apart from the plain devices there.
fn described_hosts(
    view: &CheckContext<'_>,
    family: Family,
    talk: &Conversation<'_>,
    left: &mut usize,
    report: &mut FindingReport,
) {
    let Endpoint::Segment(to) = talk.to else {
        return;
    };
    // Where no gateway decides about anything of the pair, it does not about what one host gets.
    if talk.cell.complete() && matches!(talk.cell.filtered, Extent::Nothing | Extent::None) {
        return;
    }
    let plan = view.network.plan(family);
    for &device in plan.hosts_with_own_ways(to) {
        let DeviceId::Host(host) = plan.device(device).id else {
            continue;
        };
        if *left == 0 {
            let limit = Limit::Hosts(view.network.scaled(MOST_HOSTS));
            view.met(&CHECK, WalkCoverage::Cut(limit));
            return;
        }
        *left -= 1;
        let from = Endpoint::Segment(talk.from);
        let (flows, coverage) = flows(view.network, family, from, Endpoint::Host(host), None);
        view.met(&CHECK, coverage);
        // A device that sends by itself, and through a gateway: what else goes round it is `bypass-open`.
        let mut unanswered = flows.iter().filter(|flow| {
            let decided = flow.crossed.iter().any(|crossed| crossed.decided.is_some());
            flow.host.is_none() && decided
        });
        let packet = unanswered.find_map(|flow| flow.unanswered);
        let ways = packet.map(|packet| trace(view.network, Sender::Segment(talk.from), &packet));
        let mut delivered = ways
            .iter()
            .flatten()
            .filter(|way| way.host.is_none() && matches!(way.outcome, Outcome::Delivered(_)));
        let what = delivered.find_map(|way| match way.reply {
            Some(Reply::Lost(_) | Reply::HalfOpen(..)) => trouble(view, family, false, way),
            _ => None,
        });
        if let Some((what, router)) = what {
            let subject = format!(
                "{} -> {}",
                view.site.segment(talk.from).name.value,
                view.site.host(host).name.value
            );
            let draft = found(&CHECK, place(view, talk, router), subject, what);
            report.add(draft.help("let the way back lead over the same gateways"));
        }
    }
}

/// Where the deciding rule stands, of the gateway meant if it is known.
fn place(view: &CheckContext<'_>, talk: &Conversation<'_>, router: Option<RouterId>) -> Span {
    let mut decided = talk.cell.rules.iter().copied();
    let rule = decided.find(|(own, _)| router.is_none_or(|router| router == *own));
    match rule {
        Some((router, rule)) => rule_place(view, router, rule).0,
        None => view.site.segment(talk.from).place(),
    }
}

/// Whether replies begin at the only gateway that the flows of a pair cross.
fn comes_straight_back(view: &CheckContext<'_>, family: Family, talk: &Conversation<'_>) -> bool {
    let (&[router], Endpoint::Segment(to)) = (talk.cell.crossed.as_slice(), talk.to) else {
        return false;
    };
    let plan = view.network.plan(family);
    let only = plan.router_index(router);
    let first_hops = &plan.segment(to).first_hops;
    !view.hosts_route && first_hops.iter().all(|&(device, _)| device == only)
}

/// What goes wrong with a packet's reply, and at which gateway.
fn trouble(
    view: &CheckContext<'_>,
    family: Family,
    others_answered: bool,
    way: &Trace,
) -> Option<(String, Option<RouterId>)> {
    let name = |device: DeviceIndex| match view.network.plan(family).device(device).id {
        DeviceId::Router(router) => view.site.router(router).name.value.clone(),
        DeviceId::Host(host) => view.site.host(host).name.value.clone(),
    };
    match way.reply.as_ref()? {
        Reply::NotExpected => None,
        Reply::Back(back) => {
            let waiting = waiting(view, family, way, back)?;
            let name = &view.site.router(waiting).name.value;
            let what = format!("replies go round {name}, which waits for them");
            Some((what, Some(waiting)))
        }
        Reply::HalfOpen(_, device) => {
            let name = name(*device);
            let what = format!("replies go round {name}, which then stops the TCP connection");
            let router = match view.network.plan(family).device(*device).id {
                DeviceId::Router(router) => Some(router),
                DeviceId::Host(_) => None,
            };
            Some((what, router))
        }
        // Some other packet of the pair may do better.
        Reply::Lost(_) if others_answered => None,
        Reply::Lost(back) => Some((lost(back.last(), name), None)),
    }
}

fn lost(last: Option<&ReplyStep>, name: impl Fn(DeviceIndex) -> String) -> String {
    let Some(last) = last else {
        return "no reply comes back: nobody takes it".to_owned();
    };
    let device = name(last.device);
    let why = match last.pass {
        ReplyPass::NoState => format!("{device} never saw what it answers"),
        ReplyPass::SourceCheck => format!("the source check of {device} refuses it"),
        ReplyPass::Denied(_) => format!("the rules of {device} deny it"),
        ReplyPass::NoRoute => format!("{device} has no route for it"),
        ReplyPass::NotForwarding => format!("{device} forwards nothing"),
        ReplyPass::TooManyWays => format!("from {device} it may take more ways than are followed"),
        ReplyPass::Loop => format!("it comes to {device} twice"),
        ReplyPass::Translated => format!("{device} would translate it as a new flow"),
        ReplyPass::Unfiltered | ReplyPass::State | ReplyPass::Rules(_) | ReplyPass::NewFlow(_) => {
            format!("behind {device} nobody takes it, or it does not look like one")
        }
    };
    format!("no reply comes back: {why}")
}

/// A stateful gateway that let the packet through and does not see its reply.
fn waiting(
    view: &CheckContext<'_>,
    family: Family,
    way: &Trace,
    back: &[ReplyStep],
) -> Option<RouterId> {
    let plan = view.network.plan(family);
    let mut crossings = crossings_of(view, family, way).into_iter();
    let missed = crossings.find(|crossing| {
        let device = plan.router_index(crossing.router);
        let stateful = plan
            .device(device)
            .filter
            .as_ref()
            .is_some_and(|filter| filter.stateful);
        stateful && !back.iter().any(|step| step.device == device)
    });
    missed.map(|crossing| crossing.router)
}
