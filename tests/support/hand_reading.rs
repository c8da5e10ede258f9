//! What a reading by hand means: names and words turned into sets of packets. Addresses come from the file's
//! own words, not from what the engine makes of them.

use boundwalk::analysis::Endpoint;
use boundwalk::forwarding::Network;
use boundwalk::model::{Family, Prefix, SegmentId, Site, Via};
use boundwalk::packet::{ClassSet, Interval, IntervalSet, Region};

use crate::hand_table::{Entry, Services, Written};

/// Packets that pass for one reason.
#[derive(Clone, Debug)]
pub struct Passing {
    /// Number of the deciding rule.
    pub rule: usize,
    /// Destination and services on arrival, where a translation changes them.
    pub arrives: Option<(IntervalSet, ClassSet)>,
    pub parts: Vec<Region>,
}

pub struct Reader<'n> {
    pub network: &'n Network<'n>,
    site: &'n Site,
    family: Family,
}

impl<'n> Reader<'n> {
    pub fn new(network: &'n Network<'n>, family: Family) -> Self {
        let site = network.site;
        Self {
            network,
            site,
            family,
        }
    }

    /// What the entries of a cell permit; where two meet, the first holds.
    pub fn read(&self, from: Endpoint, to: Endpoint, written: &Written) -> Vec<Passing> {
        let mut before: Vec<Region> = Vec::new();
        let mut out = Vec::new();
        for entry in &written.entries {
            let one = self.entry(from, to, entry);
            let parts: Vec<Region> = one
                .parts
                .iter()
                .flat_map(|part| without(part, &before))
                .collect();
            assert!(
                !parts.is_empty(),
                "line {}: {entry:?} permits nothing",
                written.line
            );
            before.extend(one.parts.iter().cloned());
            out.push(Passing { parts, ..one });
        }
        out
    }

    fn entry(&self, from: Endpoint, to: Endpoint, entry: &Entry) -> Passing {
        let (from, to) = (self.own(from), self.own(to));
        let source = match &entry.sender {
            Some(name) => self.named(name).intersection(&from),
            None => from,
        };
        let destination = match (&entry.receiver, &entry.arrives) {
            (Some(name), Some(_)) => self.named(name),
            (Some(name), None) => self.named(name).intersection(&to),
            (None, _) => to,
        };
        let services = self.services(&entry.services);
        let arrives = entry.arrives.as_ref().map(|(name, other)| {
            let other = other.as_ref().map(|other| self.services(other));
            (self.named(name), other.unwrap_or_else(|| services.clone()))
        });
        let whole = Region {
            source: source.clone(),
            destination,
            services,
        };
        let except = entry.except.as_ref().map(|(name, services)| Region {
            source,
            destination: self.named(name),
            services: self.services(services),
        });
        let filter = self.site.routers[0].filter().expect("a gateway filters");
        let mut rules = filter.rules.iter();
        Passing {
            rule: rules
                .position(|rule| rule.name.value == entry.rule)
                .expect("a rule of the site"),
            arrives,
            parts: without(&whole, except.as_slice()),
        }
    }

    fn services(&self, services: &Services) -> ClassSet {
        let services = services.of(self.site);
        let boxes: Vec<_> = services
            .iter()
            .filter_map(|service| service.packets(self.family))
            .collect();
        self.network.classes.of(&boxes)
    }

    /// Addresses of a host by name, or of an address, a prefix or a range.
    fn named(&self, text: &str) -> IntervalSet {
        if let Some(host) = self.site.hosts.iter().find(|host| host.name.value == text) {
            return host
                .interfaces
                .iter()
                .flat_map(|interface| &interface.addresses)
                .filter(|address| address.value.family() == self.family)
                .map(|address| Interval::point(Family::value(address.value.address())))
                .collect();
        }
        if let Ok(net) = text.parse() {
            return [Prefix::truncated(net).interval()].into_iter().collect();
        }
        let point = |text: &str| {
            let address = text
                .parse()
                .unwrap_or_else(|_| panic!("neither host nor address: {text}"));
            Family::value(address)
        };
        if let Some((low, high)) = text.split_once('-') {
            // The short form of a range counts in the last number: 10.44.60.10-14.
            let short = low.rsplit_once('.').filter(|_| !high.contains('.'));
            let high =
                short.map_or_else(|| high.to_owned(), |(start, _)| format!("{start}.{high}"));
            return IntervalSet::range(point(low), point(&high));
        }
        IntervalSet::point(point(text))
    }

    /// The addresses of a row or column: those of the prefixes, without the gateway's; of an external segment
    /// those to which the default route leads besides; of the gateway its own.
    pub fn own(&self, party: Endpoint) -> IntervalSet {
        match party {
            Endpoint::Segment(segment) => self.segment(segment),
            Endpoint::Device(_) => self.gateway(),
            Endpoint::Zone(_) | Endpoint::Host(_) | Endpoint::Unclaimed(..) => {
                panic!("the reading is by segment")
            }
        }
    }

    fn segment(&self, id: SegmentId) -> IntervalSet {
        let prefixes = |id: SegmentId| self.site.segment(id).addresses().of(self.family).clone();
        let mut own = prefixes(id);
        if self.site.segment(id).external {
            let elsewhere = self
                .site
                .segment_ids()
                .filter(|&other| other != id)
                .fold(self.discarded(), |all, other| all.union(&prefixes(other)));
            // RFC 1918, RFC 4193, RFC 6598: nobody out there routes private addresses.
            let public = self.family.full().difference(&elsewhere);
            own = own.union(&public.difference(&self.family.private()));
        }
        own.difference(&self.gateway())
            .difference(&self.family.never_forwarded())
    }

    /// Destinations of routes that lead nowhere.
    fn discarded(&self) -> IntervalSet {
        self.site
            .routers
            .iter()
            .flat_map(|router| &router.routes)
            .filter(|route| matches!(route.via, Via::Discard))
            .filter(|route| route.destination.family() == self.family)
            .map(|route| route.destination.interval())
            .collect()
    }

    fn gateway(&self) -> IntervalSet {
        self.site
            .routers
            .iter()
            .flat_map(|router| &router.interfaces)
            .flat_map(|interface| &interface.addresses)
            .filter(|address| address.value.family() == self.family)
            .map(|address| Interval::point(Family::value(address.value.address())))
            .collect()
    }

    /// A part in words, for a message.
    pub fn show(&self, passing: &Passing, part: &Region) -> String {
        let naming = boundwalk::analysis::ServiceLabels::new(self.network, self.family);
        let filter = self.site.routers[0].filter().expect("a gateway filters");
        format!(
            "{} from {} to {}{} by \"{}\"",
            naming.services(&part.services),
            naming.addresses(&part.source),
            naming.addresses(&part.destination),
            passing
                .arrives
                .as_ref()
                .map_or_else(String::new, |(at, services)| {
                    format!(
                        ", arriving at {} as {}",
                        naming.addresses(at),
                        naming.services(services)
                    )
                }),
            filter.rules[passing.rule].name.value,
        )
    }
}

/// A region without others.
pub fn without(region: &Region, others: &[Region]) -> Vec<Region> {
    others.iter().fold(vec![region.clone()], |left, other| {
        left.iter()
            .flat_map(|part| part.difference(other))
            .collect()
    })
}
