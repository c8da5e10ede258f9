//! One probe of a plan, against the naive simulator.

use boundwalk::analysis::probes::{Expect, Obligation, Prediction, Probe as Planned};
use boundwalk::forwarding::{Packet, Place, Sender};
use boundwalk::model::{Action, RouterId, SegmentId, Site};

use crate::simulator::{Decision, Outcome, Probe, Simulator, Spot, Stance};

fn sent(packet: &Packet) -> Probe {
    Probe {
        source: packet.source,
        destination: packet.destination,
        protocol: packet.protocol.0,
        source_port: packet.source_port,
        destination_port: packet.destination_port,
    }
}

/// Every way in which a probe arrives, as the simulator has it.
fn outcomes(simulator: &Simulator<'_>, probe: &Planned) -> Vec<Outcome> {
    let packet = sent(&probe.packet);
    let send_point = probe.predicted.send_point;
    match probe.predicted.sender {
        Sender::Host(host) => {
            assert!(simulator.host_owns(host.0, packet.source), "{probe:?}");
            simulator.send_from_host(host.0, packet)
        }
        Sender::Segment(_) => {
            assert!(
                simulator.may_send(send_point, packet, Stance::Configured),
                "{probe:?}"
            );
            simulator.send(send_point, packet, Stance::Configured)
        }
        Sender::Hostile(_) => panic!("only honest devices send: {probe:?}"),
    }
}

fn spot(place: Place) -> Spot {
    match place {
        Place::Segment(segment) => Spot::Segment(segment.0),
        Place::Router(router) => Spot::Router(router.0),
    }
}

/// Whether a receiver answers such a packet of its own accord.
fn asks(packet: &Packet) -> bool {
    match packet.protocol.0 {
        6 | 17 => true,
        1 => packet.destination_port >> 8 == 8,
        58 => packet.destination_port >> 8 == 128,
        _ => false,
    }
}

/// What a probe expects and says that it shows, against every way in which it arrives.
pub fn wrong(simulator: &Simulator<'_>, site: &Site, probe: &Planned) -> Option<String> {
    let ways = outcomes(simulator, probe);
    let predicted = &probe.predicted;
    if !predicted.expect.arrives() {
        return (!ways.is_empty()).then(|| format!("{probe:#?} arrives: {ways:#?}"));
    }
    let place = predicted.place.map(spot);
    let arrived = predicted.arrives_as.as_ref().map(sent);
    let fits = |way: &Outcome| {
        let back = way.came_back == (predicted.expect == Expect::Answered);
        let by = |(router, rule): &(RouterId, Option<usize>)| {
            let decision = rule.map_or(Decision::Default, Decision::Rule);
            let mut hops = way.hops.iter();
            hops.any(|hop| hop.device == router.0 && hop.decided == Some(decision))
        };
        Some(way.place) == place
            && Some(way.arrived) == arrived
            && (back || !asks(&probe.packet))
            && predicted.deciders.iter().all(by)
    };
    let good = !ways.is_empty() && ways.iter().all(fits);
    let named = probe
        .covers
        .iter()
        .all(|one| passes_by(site, predicted, *one));
    (!(good && named)).then(|| format!("{probe:#?}: {ways:#?}"))
}

/// Whether what an arriving probe claims to show is a permitting rule that decides it or its answer.
fn passes_by(site: &Site, predicted: &Prediction, obligation: Obligation) -> bool {
    let Obligation::Permits { router, rule, .. } = obligation else {
        return false;
    };
    let filter = site.router(router).filter().expect("rules");
    let decides = predicted.deciders.contains(&(router, Some(rule)));
    let permits = filter.rules[rule].action.value == Action::Permit;
    permits && (decides || predicted.reply_rules.contains(&(router, rule)))
}

/// Whether an address is that of a plain device on a segment, gateways' own left out.
pub fn lives(simulator: &Simulator<'_>, site: &Site, segment: SegmentId, packet: &Probe) -> bool {
    let mut routers = 0..site.routers.len();
    simulator.may_send(
        segment,
        Probe {
            source: packet.destination,
            ..*packet
        },
        Stance::Configured,
    ) && !routers.any(|router| simulator.router_owns(router, packet.destination))
}
