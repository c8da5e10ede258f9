//! Random rule lists that look like those of a segmented network: few hundred
//! addresses and prefixes, some sixty services, used over and over.
// Each program includes this file and uses its own part of it.
#![allow(dead_code)]

use std::sync::Arc;

use boundwalk::packet::{
    Field, IntervalSet, Line, PacketBox, Point, ServiceBox, ServiceClasses, Space,
};

/// A small generator of equal numbers everywhere (splitmix64).
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }

    fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }

    fn within(&mut self, set: &IntervalSet) -> u128 {
        let interval = *self.pick(set.intervals());
        let width = interval.high() - interval.low();
        interval.low() + u128::from(self.next()) % (width + 1)
    }
}

/// What rules are made of.
pub struct Palette {
    pub space: Space,
    pub addresses: Vec<IntervalSet>,
    pub services: Vec<ServiceBox>,
}

/// One rule, in the two forms the packet floor knows.
pub struct Rules {
    pub boxes: Vec<PacketBox>,
    pub services: Vec<Option<ServiceBox>>,
}

impl Palette {
    /// `prefixes` segments of 10.0.0.0/8 and `hosts` in them, `services` ports
    /// and port ranges, between `interfaces` interfaces.
    pub fn new(
        random: &mut Random,
        interfaces: u32,
        prefixes: usize,
        hosts: usize,
        services: usize,
    ) -> Self {
        let mut addresses: Vec<IntervalSet> = (0..prefixes)
            .map(|_| {
                let length = *random.pick(&[16, 20, 22, 23, 24, 24, 24, 24, 26, 28]);
                let base = 0x0a00_0000 | (random.next() as u128 & 0x00ff_ffff);
                let mask = (1u128 << (32 - length)) - 1;
                IntervalSet::range(base & !mask, base | mask)
            })
            .collect();
        for _ in 0..hosts {
            let segment = random.pick(&addresses[..prefixes]).clone();
            addresses.push(IntervalSet::point(random.within(&segment)));
        }
        Self {
            space: Space::ipv4(interfaces),
            addresses,
            services: (0..services).map(|n| service(random, n)).collect(),
        }
    }

    /// `count` rules, the last of which holds everything.
    pub fn rules(&self, random: &mut Random, count: usize) -> Rules {
        let mut rules = Rules {
            boxes: Vec::with_capacity(count),
            services: Vec::with_capacity(count),
        };
        for _ in 1..count {
            // One part in ten is any, but no two of a rule: else a handful of
            // rules would hold all the others.
            let any = random.below(10);
            let service = (any != 0).then(|| random.pick(&self.services).clone());
            let mut packets = PacketBox::full(&self.space);
            for field in [Field::Ingress, Field::Egress] {
                if random.below(10) < 3 {
                    let interface = random.within(&self.space.full(field));
                    packets = packets.with(field, IntervalSet::point(interface));
                }
            }
            for (part, field) in [(1, Field::Source), (2, Field::Destination)] {
                if any != part {
                    packets = packets.with(field, random.pick(&self.addresses).clone());
                }
            }
            if let Some(service) = &service {
                packets = packets
                    .with(Field::Protocol, service.protocols.clone())
                    .with(Field::SourcePort, service.source_ports.clone())
                    .with(Field::DestinationPort, service.destination_ports.clone());
            }
            rules.boxes.push(packets);
            rules.services.push(service);
        }
        rules.boxes.push(PacketBox::full(&self.space));
        rules.services.push(None);
        rules
    }

    /// The rules as lines, with the classes of this palette's services.
    pub fn lines(&self, rules: &Rules, classes: &ServiceClasses) -> Vec<Line> {
        let some = |packets: &PacketBox, field: Field| {
            let set = packets.field(field);
            (*set != self.space.full(field)).then(|| set.clone())
        };
        let both = rules.boxes.iter().zip(&rules.services);
        let classes_of = |service: &ServiceBox| classes.of(std::slice::from_ref(service));
        both.map(|(packets, service)| Line {
            ingress: some(packets, Field::Ingress).map(Arc::new),
            egress: some(packets, Field::Egress).map(Arc::new),
            source: some(packets, Field::Source),
            destination: some(packets, Field::Destination),
            services: service.as_ref().map(classes_of).map(Arc::new),
        })
        .collect()
    }
}

impl Rules {
    /// Points inside rules.
    pub fn points(&self, random: &mut Random, count: usize) -> Vec<Point> {
        let mut points = Vec::with_capacity(count);
        for _ in 0..count {
            let packets = random.pick(&self.boxes);
            let values = Field::ALL.map(|field| random.within(packets.field(field)));
            points.push(Point::new(values));
        }
        points
    }

    /// Points whose every field is taken from a rule of its own: most are held
    /// by few rules or by the last only, so that look-ups go deep.
    pub fn mixtures(&self, random: &mut Random, count: usize) -> Vec<Point> {
        let mut points = Vec::with_capacity(count);
        for _ in 0..count {
            let values = Field::ALL.map(|field| {
                let packets = random.pick(&self.boxes);
                random.within(packets.field(field))
            });
            points.push(Point::new(values));
        }
        points
    }
}

/// Mostly one port, at times a range; tcp, udp or both; at times an echo.
fn service(random: &mut Random, number: usize) -> ServiceBox {
    if number == 0 {
        return ServiceBox {
            protocols: IntervalSet::point(1),
            destination_ports: IntervalSet::range(8 << 8, (8 << 8) + 255),
            ..ServiceBox::any()
        };
    }
    let low = random.below(9000) as u128 + 1;
    let high = low + if number.is_multiple_of(6) { 100 } else { 0 };
    let tcp_and_udp = IntervalSet::point(6).union(&IntervalSet::point(17));
    ServiceBox {
        protocols: match number % 5 {
            0 => tcp_and_udp,
            1 => IntervalSet::point(17),
            _ => IntervalSet::point(6),
        },
        destination_ports: IntervalSet::range(low, high),
        ..ServiceBox::any()
    }
}
