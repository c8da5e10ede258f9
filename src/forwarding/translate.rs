//! Address translation of sets of packets under way.

use boundwalk_packet::{Interval, IntervalSet, Region};

use super::device::DeviceIndex;
use super::filter::{FilterPlan, TranslationPlan, Written};
use super::flow::Flow;
use super::reach::Walk;
use super::routes::NextHop;
use super::stop::Stop;

impl Walk<'_> {
    /// Applies the first destination translation that matches each part of a flow.
    pub(super) fn translate_destination(
        &mut self,
        filter: &FilterPlan,
        ingress: usize,
        flow: Flow,
    ) -> Vec<Flow> {
        let (done, mut parts) = self.first_matches(&filter.arrivals, ingress, flow);
        for (translation, part) in done {
            let Written::Address(address) = translation.written else {
                parts.push(part);
                continue;
            };
            let (kept, rest) = self.written_anyway(&part, address, translation.port);
            parts.extend(kept);
            for mut part in rest {
                part.write_destination(
                    translation.line,
                    address,
                    translation.port,
                    &self.network.classes,
                );
                parts.push(part);
            }
        }
        parts
    }

    /// The part of a flow that has the written destination and port already, so that a translation leaves
    /// it alone and no reply needs it undone; then the other parts.
    fn written_anyway(
        &self,
        flow: &Flow,
        address: u128,
        port: Option<u16>,
    ) -> (Option<Flow>, Vec<Flow>) {
        if !flow.now.destination.contains(address) {
            return (None, vec![flow.clone()]);
        }
        let classes = &self.network.classes;
        let mut services = flow.now.services.clone();
        if let Some(port) = port {
            let port = IntervalSet::point(u128::from(port));
            let has_it = |class: &usize| classes.class_box(*class).destination_ports == port;
            services = classes.none();
            for class in flow.now.services.iter().filter(has_it) {
                services.insert(class);
            }
        }
        let destination = IntervalSet::point(address);
        let kept = Region {
            destination,
            services,
            ..flow.now.clone()
        };
        self.split_off(flow, kept)
    }

    /// A part of a flow, and the rest; `None` where the part is empty.
    fn split_off(&self, flow: &Flow, part: Region) -> (Option<Flow>, Vec<Flow>) {
        if part.is_empty() {
            return (None, vec![flow.clone()]);
        }
        let classes = &self.network.classes;
        let rest = flow.now.difference(&part).into_iter();
        let rest = rest.map(|rest| flow.restricted(rest, classes)).collect();
        (Some(flow.restricted(part, classes)), rest)
    }

    /// Applies the first source translation that matches each part of a flow.
    pub(super) fn translate_source(
        &mut self,
        filter: &FilterPlan,
        (device, egress): (DeviceIndex, usize),
        next_hop: NextHop,
        flow: Flow,
    ) -> Vec<Flow> {
        if filter.departures.is_empty() {
            return vec![flow];
        }
        let (done, mut parts) = self.first_matches(&filter.departures, egress, flow);
        for (translation, part) in done {
            match translation.written {
                Written::Address(address) => {
                    parts.extend(self.write_source(translation.line, address, part));
                }
                Written::Unchanged => parts.push(part),
                Written::Interface => {
                    for (address, part) in self.facing((device, egress), next_hop, part) {
                        parts.extend(self.write_source(translation.line, address, part));
                    }
                }
            }
        }
        parts
    }

    /// Splits a flow by the address that the interface of departure speaks from.
    fn facing(
        &mut self,
        (device, egress): (DeviceIndex, usize),
        next_hop: NextHop,
        flow: Flow,
    ) -> Vec<(u128, Flow)> {
        let here = &self.plan.device(device).interfaces[egress];
        let nobody = &self.plan.nobody;
        let Some(first) = here.facing(0, nobody) else {
            self.stop(Stop::NoTranslationAddress, flow);
            return Vec::new();
        };
        if let NextHop::Address { address, .. } = next_hop {
            return vec![(here.facing(address, nobody).unwrap_or(first), flow)];
        }
        let mut split = Vec::new();
        let mut rest = Some(flow);
        let known = here.subnets.iter().zip(&here.addresses);
        for (subnet, &address) in known.filter(|(_, at)| !nobody.contains(**at)) {
            let Some(flow) = rest.take() else { break };
            let subnet = subnet_set(*subnet);
            let (inside, outside) = self.split_destination(&flow, &subnet);
            split.extend(inside.map(|inside| (address, inside)));
            rest = outside;
        }
        split.extend(rest.map(|rest| (first, rest)));
        split
    }

    /// Writes a source; packets that have it already are left alone.
    fn write_source(&self, line: usize, address: u128, part: Flow) -> Vec<Flow> {
        let written = IntervalSet::point(address);
        let kept = Region {
            source: part.now.source.intersection(&written),
            ..part.now.clone()
        };
        let (kept, rest) = self.split_off(&part, kept);
        let rest = rest.into_iter().map(|mut part| {
            part.write_source(line, address);
            part
        });
        kept.into_iter().chain(rest).collect()
    }

    /// Splits a flow by the first translation that matches; the parts that none matches come second.
    fn first_matches<'t>(
        &self,
        list: &'t [TranslationPlan],
        interface: usize,
        flow: Flow,
    ) -> (Vec<(&'t TranslationPlan, Flow)>, Vec<Flow>) {
        let mut done = Vec::new();
        let mut open = vec![flow];
        for translation in list {
            let mut next = Vec::new();
            for flow in open {
                match translation.matched(interface, &flow.now) {
                    None => next.push(flow),
                    Some(part) => {
                        let rest = flow.now.difference(&part).into_iter();
                        next.extend(rest.map(|rest| flow.restricted(rest, &self.network.classes)));
                        done.push((translation, flow.restricted(part, &self.network.classes)));
                    }
                }
            }
            open = next;
        }
        (done, open)
    }
}

fn subnet_set(subnet: Interval) -> IntervalSet {
    IntervalSet::range(subnet.low(), subnet.high())
}
