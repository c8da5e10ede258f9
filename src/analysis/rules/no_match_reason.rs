//! Why no packet that a rule names can get there.

use boundwalk_model::{AddressMatch, Family, Rule};
use boundwalk_packet::IntervalSet;

use super::gateway_review::GatewayReview;
use super::space::{Owner, RuleSpace};

/// What keeps the packets of a rule away from a gateway.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub enum Obstacle {
    /// The gateway has no interface on anything that `from` names.
    NoArrival,
    /// It has none on anything that `to` names.
    NoDeparture,
    /// Its sources can't arrive by what `from` names.
    Source {
        /// One of them, as a number in its family.
        address: u128,
        /// Its family.
        family: Family,
        /// The interface behind which the gateway's routes have it; `None`: nowhere.
        behind: Option<usize>,
    },
    /// Its destinations do not leave by what `to` names.
    Destination {
        /// One of them, as a number in its family.
        address: u128,
        /// Its family.
        family: Family,
        /// Where they leave.
        by: Departure,
    },
    /// Sources, destinations and services have no family in common.
    Families,
    /// Destination translations of these numbers rewrite all of them before the rules see them.
    Translated(Vec<usize>),
}

/// Where a packet leaves a gateway.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub enum Departure {
    /// By this interface.
    Interface(usize),
    /// It is for the gateway itself.
    Gateway,
    /// Nowhere: a route drops it.
    Discarded,
    /// There is no route.
    Nowhere,
}

impl RuleSpace<'_> {
    /// Why an active rule is irrelevant; of several reasons the first, by the order of the fields.
    #[must_use]
    pub fn no_match_reason(&self, rule: usize) -> Obstacle {
        if self.meets(rule) {
            return Obstacle::Translated(self.translations());
        }
        let rule = &self.filter.rules[rule];
        let arrival = self.universe.named(rule.from.as_deref());
        let departure = self.universe.named(rule.to.as_deref());
        if arrival.is_empty() {
            return Obstacle::NoArrival;
        }
        if departure.is_empty() {
            return Obstacle::NoDeparture;
        }
        let mut blocked = Family::ALL
            .into_iter()
            .filter(|&family| speaks(rule, family))
            .filter_map(|family| {
                self.blocked_source(rule, &arrival, family)
                    .or_else(|| self.blocked_destination(rule, &departure, family))
            });
        blocked.next().unwrap_or(Obstacle::Families)
    }

    fn translations(&self) -> Vec<usize> {
        let lines = self.owners.iter().filter_map(|owner| match *owner {
            Owner::Translation(line) => Some(line),
            Owner::Rule(_) => None,
        });
        let mut lines: Vec<usize> = lines.collect();
        lines.sort_unstable();
        lines.dedup();
        lines
    }

    fn blocked_source(&self, rule: &Rule, arrival: &[usize], family: Family) -> Option<Obstacle> {
        let everything = family.full();
        let set = addresses(&rule.source, family).unwrap_or(&everything);
        let universe = &self.universe;
        let wanted = universe.sources.of_addresses(&universe.pieces, family, set);
        let mut places = universe.arriving(arrival).into_iter();
        if places.any(|(_, sources)| sources.overlaps(&wanted)) {
            return None;
        }
        let address = set.lowest()?;
        let route = universe.device(family).routes.lookup(address);
        Some(Obstacle::Source {
            address,
            family,
            behind: route.and_then(|route| route.next_hop.interface()),
        })
    }

    fn blocked_destination(
        &self,
        rule: &Rule,
        departure: &[usize],
        family: Family,
    ) -> Option<Obstacle> {
        let everything = family.full();
        let set = addresses(&rule.destination, family).unwrap_or(&everything);
        let universe = &self.universe;
        let ranks = &universe.destinations;
        let wanted = ranks.of_addresses(&universe.pieces, family, set);
        if universe.leaving(departure).overlaps(&wanted) {
            return None;
        }
        let address = set.lowest()?;
        let device = universe.device(family);
        let route = device.routes.lookup(address);
        let by = match route.map(|route| route.next_hop.interface()) {
            _ if device.own.contains(address) => Departure::Gateway,
            Some(Some(interface)) => Departure::Interface(interface),
            Some(None) => Departure::Discarded,
            None => Departure::Nowhere,
        };
        Some(Obstacle::Destination {
            address,
            family,
            by,
        })
    }
}

fn addresses(field: &Option<AddressMatch>, family: Family) -> Option<&IntervalSet> {
    field.as_ref().map(|field| field.set.of(family))
}

/// Whether each field of a rule has something of a family.
fn speaks(rule: &Rule, family: Family) -> bool {
    let held = |field| addresses(field, family).is_none_or(|set| !set.is_empty());
    let services = rule.services.as_ref().is_none_or(|list| {
        let mut packets = list.services.iter();
        packets.any(|service| service.packets(family).is_some())
    });
    held(&rule.source) && held(&rule.destination) && services
}

impl GatewayReview<'_> {
    /// Why no packet can match a rule, as half a sentence.
    pub fn obstacle_text(&self, rule: usize) -> String {
        let interface = |number: usize| self.router.interfaces[number].name.value.as_str();
        match self.space.no_match_reason(rule) {
            Obstacle::NoArrival => "the gateway has no interface in what `from` names".to_owned(),
            Obstacle::NoDeparture => "the gateway has no interface in what `to` names".to_owned(),
            Obstacle::Source {
                address,
                family,
                behind,
            } => {
                let place = match behind {
                    Some(behind) => format!("lies behind {}", interface(behind)),
                    None => "lies nowhere by the routes".to_owned(),
                };
                let from = match self.rules[rule].from {
                    Some(_) => "what `from` names",
                    None => "any interface",
                };
                let address = family.address(address);
                format!("its source {address} {place} and can't come in by {from}")
            }
            Obstacle::Destination {
                address,
                family,
                by,
            } => {
                let address = format!("its destination {}", family.address(address));
                match by {
                    Departure::Interface(by) => {
                        format!(
                            "{address} leaves by {}, not by what `to` names",
                            interface(by)
                        )
                    }
                    Departure::Gateway => {
                        format!("{address} is the gateway's own, which `to` does not name")
                    }
                    Departure::Discarded => format!("{address} is dropped by a discard route"),
                    Departure::Nowhere => format!("{address} has no route"),
                }
            }
            Obstacle::Families => {
                "its source, destination and services have no address family in common".to_owned()
            }
            Obstacle::Translated(lines) => self.translated_text(&lines),
        }
    }

    /// Which translations rewrite what a rule names.
    fn translated_text(&self, lines: &[usize]) -> String {
        let list = &self.space.filter.destination_translations;
        let names: Vec<String> = lines
            .iter()
            .take(4)
            .map(|&line| format!("\"{}\"", list[line].name.value))
            .collect();
        format!(
            "destination translation ({}) rewrites its packets before the rules see them; name the translated \
             address and port",
            names.join(", ")
        )
    }
}
