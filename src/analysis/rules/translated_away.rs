//! Packets that the rules of a gateway never see, because a destination translation rewrites them first.

use boundwalk_forwarding::{TranslationPlan, Written};
use boundwalk_model::Family;
use boundwalk_packet::{Field, IntervalSet, PacketBox, PacketSet};

use super::universe::PacketUniverse;

/// Boxes from which on the translated_away are given up.
const MOST_BOXES: usize = 2_000;

/// What each translation takes away, by its number, as boxes; and whether that is exact. Where it is not (too many
/// pieces), nothing is taken away.
pub(super) fn translated_away(universe: &PacketUniverse<'_>) -> (Vec<(usize, PacketBox)>, bool) {
    let mut all = Vec::new();
    for family in Family::ALL {
        let filter = universe.filter(family);
        let lines = filter.map_or(&[][..], |filter| &filter.arrivals);
        match of_lines(universe, family, lines) {
            Some(translated_away) => all.extend(translated_away),
            None => return (Vec::new(), false),
        }
    }
    (all, true)
}

fn of_lines(
    universe: &PacketUniverse<'_>,
    family: Family,
    lines: &[TranslationPlan],
) -> Option<Vec<(usize, PacketBox)>> {
    let mut taken = PacketSet::empty();
    let mut translated_away: Vec<(usize, PacketSet)> = Vec::new();
    let mut images = PacketSet::empty();
    for line in lines {
        let matched = matched(universe, family, line);
        let own = matched.difference(&taken);
        taken = taken.union(&matched);
        if let Written::Address(address) = line.written {
            let target = universe.destinations.of_addresses(
                &universe.pieces,
                family,
                &IntervalSet::point(address),
            );
            let rewritten = own.difference(&unchanged(universe, line, &target, &own));
            let image = image(universe, line, &target, &rewritten);
            images = images.union(&image);
            translated_away.push((line.line, rewritten));
        }
        if taken.boxes().len() + images.boxes().len() > MOST_BOXES {
            return None;
        }
    }
    let seen = translated_away
        .into_iter()
        .map(|(line, hole)| (line, hole.difference(&images)));
    Some(
        seen.flat_map(|(line, hole)| {
            let boxes = hole.boxes().to_vec();
            boxes.into_iter().map(move |packets| (line, packets))
        })
        .collect(),
    )
}

/// What a line matches, as far as the rules could see it.
fn matched(universe: &PacketUniverse<'_>, family: Family, line: &TranslationPlan) -> PacketSet {
    let count = universe.router.interfaces.len();
    let on = |at: &usize| {
        let named = line.interfaces.as_ref();
        named.is_none_or(|named| named.contains(*at as u128))
    };
    let interfaces: Vec<usize> = (0..count).filter(on).collect();
    let everything = family.full();
    let wanted = line.source.as_ref().unwrap_or(&everything);
    let wanted = universe
        .sources
        .of_addresses(&universe.pieces, family, wanted);
    let destinations = line.destination.as_ref().unwrap_or(&everything);
    let destinations = universe
        .destinations
        .of_addresses(&universe.pieces, family, destinations)
        .intersection(&universe.any_destination);
    let classes = match &line.services {
        Some(services) => universe.classes(services),
        None => universe.all_classes(),
    };
    universe
        .arriving(&interfaces)
        .into_iter()
        .map(|(entries, sources)| {
            let sources = sources.intersection(&wanted);
            universe.product(entries, sources, destinations.clone(), classes.clone())
        })
        .collect()
}

/// The part that has the written destination and port already.
fn unchanged(
    universe: &PacketUniverse<'_>,
    line: &TranslationPlan,
    target: &IntervalSet,
    own: &PacketSet,
) -> PacketSet {
    let classes = &universe.network.classes;
    let same_port = |class: &usize| {
        let ports = &classes.class_box(*class).destination_ports;
        line.port
            .is_none_or(|port| *ports == IntervalSet::point(u128::from(port)))
    };
    let mut kept = classes.none();
    for class in (0..classes.len()).filter(same_port) {
        kept.insert(class);
    }
    let alike = PacketBox::full(&universe.space)
        .with(Field::Destination, target.clone())
        .with(Field::DestinationPort, universe.classes(&kept));
    own.intersection(&PacketSet::from_box(alike))
}

/// What becomes of the packets that a line rewrites.
fn image(
    universe: &PacketUniverse<'_>,
    line: &TranslationPlan,
    target: &IntervalSet,
    rewritten: &PacketSet,
) -> PacketSet {
    let classes = &universe.network.classes;
    let written = |packets: &PacketBox| {
        let services = match line.port {
            Some(port) => {
                let set = universe.class_set(packets.field(Field::DestinationPort));
                universe.classes(&classes.with_destination_port(&set, port))
            }
            None => packets.field(Field::DestinationPort).clone(),
        };
        packets
            .clone()
            .with(Field::Destination, target.clone())
            .with(Field::DestinationPort, services)
    };
    rewritten.boxes().iter().map(written).collect()
}
