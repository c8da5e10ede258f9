//! How much findings are about: of permits, and of lines that do not hold.

use boundwalk_analysis::Endpoint;
use boundwalk_analysis::intent::Breach;
use boundwalk_diagnostic::{Magnitude, Span128};
use boundwalk_forwarding::{Arrival, Origin, Place, Sender, Target, reach};
use boundwalk_model::{Family, Service, ServiceMatch};
use boundwalk_packet::{ClassSet, IntervalSet};

use super::permit::PermitRule;
use super::view::CheckContext;

/// What a permit names: from and to which segments, which addresses, which services.
pub(super) fn of_permit(view: &CheckContext<'_>, permit: &PermitRule<'_>) -> Magnitude {
    let mut measure = Magnitude::default();
    let name = |segment| &view.site.segment(segment).name.value;
    for met in &permit.senders {
        measure.add(format!("from {}", name(met.segment)));
    }
    for met in &permit.targets {
        measure.add(format!("to {}", name(met.segment)));
    }
    let sides = [
        ("source", permit.rule.source.as_ref()),
        ("destination", permit.rule.destination.as_ref()),
    ];
    for (side, field) in sides {
        for family in Family::ALL {
            let full = family.full();
            let set = field.map_or(&full, |field| field.set.of(family));
            measure.extend(format!("{side} {}", family.word()), spans(set));
        }
    }
    services(&mut measure, permit.rule.services.as_ref());
    measure
}

/// Some things by name.
pub(super) fn of_things(things: impl IntoIterator<Item = impl std::fmt::Display>) -> Magnitude {
    let mut measure = Magnitude::default();
    for thing in things {
        measure.add(thing.to_string());
    }
    measure
}

fn services(measure: &mut Magnitude, services: Option<&ServiceMatch>) {
    let any = [Service::Any];
    let listed = services.map_or(&any[..], |services| &services.services);
    for family in Family::ALL {
        for packets in listed.iter().filter_map(|service| service.packets(family)) {
            for protocol in packets.protocols.intervals() {
                for number in protocol.low()..=protocol.high() {
                    let ports = spans(&packets.destination_ports);
                    measure.extend(format!("{} protocol {number}", family.word()), ports);
                }
            }
        }
    }
}

/// Which pairs a line fails, with which services, from and to which addresses.
pub(super) fn of_breaches(view: &CheckContext<'_>, breaches: &[Breach]) -> Magnitude {
    let mut measure = Magnitude::default();
    for breach in breaches {
        let families = Family::ALL
            .into_iter()
            .filter(|family| breach.family.is_none_or(|own| own == *family));
        let what = format!(
            "{:?} {} -> {}{}",
            breach.demand,
            view.site.segment(breach.from).name.value,
            boundwalk_analysis::party_name(view.site, breach.to),
            if breach.hostile { ", hostile" } else { "" }
        );
        for family in families {
            let what = format!("{what} {}", family.word());
            measure.add(what.clone());
            if let Some(classes) = &breach.services {
                of_classes(view, &mut measure, &what, classes);
                of_addresses(view, &mut measure, breach, family, classes);
            }
        }
    }
    measure
}

fn of_classes(view: &CheckContext<'_>, measure: &mut Magnitude, what: &str, classes: &ClassSet) {
    for packets in view.network.classes.boxes(classes) {
        for protocol in packets.protocols.intervals() {
            for number in protocol.low()..=protocol.high() {
                let ports = spans(&packets.destination_ports);
                measure.extend(format!("{what} protocol {number}"), ports);
            }
        }
    }
}

/// The addresses between which those services pass.
fn of_addresses(
    view: &CheckContext<'_>,
    measure: &mut Magnitude,
    breach: &Breach,
    family: Family,
    classes: &ClassSet,
) {
    let Endpoint::Segment(to) = breach.to else {
        return;
    };
    let plan = view.network.plan(family);
    let sender = if breach.hostile {
        Sender::Hostile(Origin::Segment(breach.from))
    } else {
        Sender::Segment(breach.from)
    };
    let target = Target {
        addresses: &plan.segment(to).addresses,
        segment: Some(to),
        services: Some(classes),
    };
    let pair = format!(
        "{} -> {} {}",
        view.site.segment(breach.from).name.value,
        view.site.segment(to).name.value,
        family.word()
    );
    // What a limit left out is not measured: the same limit leaves it out the next time.
    let _ = reach(view.network, plan, sender, target, &mut |arrival| {
        if let Arrival::Delivered(place, flow) = arrival
            && place == Place::Segment(to)
        {
            let sent = flow.sent();
            measure.extend(format!("sources {pair}"), spans(&sent.source));
            measure.extend(format!("destinations {pair}"), spans(&sent.destination));
        }
    });
}

fn spans(set: &IntervalSet) -> impl Iterator<Item = Span128> + '_ {
    set.intervals().iter().map(|part| (part.low(), part.high()))
}
