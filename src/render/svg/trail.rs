//! A way on the picture of a site: which cables it takes, and what to note at which device.

use boundwalk_analysis::{CableEnd, Cabling, Equipment};
use boundwalk_model::Site;

use super::stops::Chain;

/// What is marked on the picture of a site.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Trail<'s> {
    /// What the picture shows then.
    pub title: String,
    /// Cables by their ends, LAGs as a whole, with what is on them.
    cables: Vec<([CableEnd<'s>; 2], String)>,
    /// Devices with a line for each thing that happens there.
    notes: Vec<(Equipment, String)>,
}

impl<'s> Trail<'s> {
    /// The way of a chain; `cuts` are devices with what to change there.
    pub fn new(
        site: &'s Site,
        cabling: &Cabling<'s>,
        chain: &Chain<'s>,
        cuts: &[(Equipment, String)],
    ) -> Self {
        let mut trail = Self {
            title: chain.title.clone(),
            ..Self::default()
        };
        for (number, stop) in chain.stops.iter().enumerate() {
            let hop = chain.hops.get(number);
            let next = chain.stops.get(number + 1);
            if let (Some(hop), Some(next)) = (hop, next) {
                let ends = stop
                    .out_of
                    .zip(next.into)
                    .map(|(near, far)| [cabling.whole(near), cabling.whole(far)]);
                let text = format!("{}: {}", number + 1, hop.tags);
                trail.cables.extend(ends.map(|ends| (ends, text)));
            }
            trail.stop(site, cabling, (number, stop), chain);
        }
        for (device, text) in cuts {
            let drawn = drawn_at(site, cabling, *device);
            trail.notes.push((drawn, format!("CUT: {text}")));
        }
        trail
    }

    fn stop(
        &mut self,
        site: &'s Site,
        cabling: &Cabling<'s>,
        (number, stop): (usize, &super::stops::PictureStop<'s>),
        chain: &Chain<'s>,
    ) {
        let lines = stop.lines.first().map_or("", String::as_str);
        match stop.device {
            // A host is a name in the box of what it is plugged into.
            Some(Equipment::Host(host)) => {
                let name = &site.host(host).name.value;
                let text = format!("{}. {name}: {lines}", number + 1);
                let far = stop
                    .into
                    .into_iter()
                    .chain(stop.out_of)
                    .flat_map(|end| cabling.plugged(end))
                    .map(|(_, far)| far.device)
                    .chain(
                        chain
                            .stops
                            .get(number.wrapping_sub(1))
                            .and_then(|before| before.device),
                    );
                if let Some(device) = far
                    .into_iter()
                    .find(|device| !matches!(device, Equipment::Host(_)))
                {
                    self.notes.push((device, text));
                }
            }
            Some(device) => self
                .notes
                .push((device, format!("{}. {lines}", number + 1))),
            None => {
                let next = chain
                    .stops
                    .get(number + 1)
                    .or(chain.stops.get(number.wrapping_sub(1)));
                if let Some(device) = next.and_then(|stop| stop.device) {
                    let text = format!("{}. {} {}: {lines}", number + 1, stop.name, stop.what);
                    self.notes.push((device, text));
                }
            }
        }
    }

    /// What is on a cable, if the way takes it.
    pub(super) fn on_cable(&self, ends: [CableEnd<'_>; 2]) -> Option<&str> {
        let same = |known: &[CableEnd<'_>; 2]| {
            *known == ends || (known[0] == ends[1] && known[1] == ends[0])
        };
        let found = self.cables.iter().find(|(known, _)| same(known))?;
        Some(&found.1)
    }

    /// What to note at a device.
    pub(super) fn notes_of(&self, device: Equipment) -> Vec<String> {
        self.notes
            .iter()
            .filter(|(known, _)| *known == device)
            .map(|(_, text)| text.clone())
            .collect()
    }
}

/// Where a device is drawn: a host stands in the box of what it is plugged into.
fn drawn_at(site: &Site, cabling: &Cabling<'_>, device: Equipment) -> Equipment {
    let Equipment::Host(host) = device else {
        return device;
    };
    let ends = site.host(host).interfaces.iter().map(|on| CableEnd {
        device,
        port: on.name.value.as_str(),
    });
    for end in ends {
        if let Some((_, far)) = cabling.plugged(end).next() {
            return far.device;
        }
    }
    device
}
