//! Packets that the rules of a gateway never see, because a destination translation rewrites them first.

use boundwalk_forwarding::{TranslationPlan, Written};
use boundwalk_model::Family;
use boundwalk_packet::{Field, IntervalSet, PacketBox, PacketSet};

use super::universe::PacketUniverse;

/// Boxes from which on the translated_away are given up.
const MOST_BOXES: usize = 2_000;

/// What each translation takes away, by its number, as boxes; and whether that is exact. Where it is not (too many
/// pieces), nothing is taken away.
pub(super) fn translated_away(grounds: &PacketUniverse<'_>) -> (Vec<(usize, PacketBox)>, bool) {
    let mut all = Vec::new();
    for family in Family::ALL {
        let filter = grounds.filter(family);
        let lines = filter.map_or(&[][..], |filter| &filter.arrivals);
        match of_lines(grounds, family, lines) {
            Some(translated_away) => all.extend(translated_away),
            None => return (Vec::new(), false),
        }
    }
    (all, true)
}

fn of_lines(
    grounds: &PacketUniverse<'_>,
    family: Family,
    lines: &[TranslationPlan],
) -> Option<Vec<(usize, PacketBox)>> {
    let mut taken = PacketSet::empty();
    let mut translated_away: Vec<(usize, PacketSet)> = Vec::new();
    let mut images = PacketSet::empty();
    for line in lines {
        let matched = matched(grounds, family, line);
        let own = matched.difference(&taken);
        taken = taken.union(&matched);
        if let Written::Address(address) = line.written {
            let target = grounds.destinations.of_addresses(
                &grounds.pieces,
                family,
                &IntervalSet::point(address),
            );
            let rewritten = own.difference(&unchanged(grounds, line, &target, &own));
            let image = image(grounds, line, &target, &rewritten);
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
fn matched(grounds: &PacketUniverse<'_>, family: Family, line: &TranslationPlan) -> PacketSet {
    let count = grounds.router.interfaces.len();
    let on = |at: &usize| {
        let named = line.interfaces.as_ref();
        named.is_none_or(|named| named.contains(*at as u128))
    };
    let interfaces: Vec<usize> = (0..count).filter(on).collect();
    let everything = family.full();
    let wanted = line.source.as_ref().unwrap_or(&everything);
    let wanted = grounds
        .sources
        .of_addresses(&grounds.pieces, family, wanted);
    let destinations = line.destination.as_ref().unwrap_or(&everything);
    let destinations = grounds
        .destinations
        .of_addresses(&grounds.pieces, family, destinations)
        .intersection(&grounds.any_destination);
    let classes = match &line.services {
        Some(services) => grounds.classes(services),
        None => grounds.all_classes(),
    };
    let places = grounds.arriving(&interfaces).into_iter();
    places
        .map(|(entries, sources)| {
            let sources = sources.intersection(&wanted);
            grounds.product(entries, sources, destinations.clone(), classes.clone())
        })
        .collect()
}

/// The part that has the written destination and port already.
fn unchanged(
    grounds: &PacketUniverse<'_>,
    line: &TranslationPlan,
    target: &IntervalSet,
    own: &PacketSet,
) -> PacketSet {
    let classes = &grounds.network.classes;
    let same_port = |class: &usize| {
        let ports = &classes.class_box(*class).destination_ports;
        line.port
            .is_none_or(|port| *ports == IntervalSet::point(u128::from(port)))
    };
    let mut kept = classes.none();
    for class in (0..classes.len()).filter(same_port) {
        kept.insert(class);
    }
    let alike = PacketBox::full(&grounds.space)
        .with(Field::Destination, target.clone())
        .with(Field::DestinationPort, grounds.classes(&kept));
    own.intersection(&PacketSet::from_box(alike))
}

/// What becomes of the packets that a line rewrites.
fn image(
    grounds: &PacketUniverse<'_>,
    line: &TranslationPlan,
    target: &IntervalSet,
    rewritten: &PacketSet,
) -> PacketSet {
    let classes = &grounds.network.classes;
    let written = |packets: &PacketBox| {
        let services = match line.port {
            Some(port) => {
                let set = grounds.class_set(packets.field(Field::DestinationPort));
                grounds.classes(&classes.with_destination_port(&set, port))
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
