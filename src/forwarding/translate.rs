//! Address translation of sets of packets under way.

use crate::packet::{IntervalSet, Region};

use super::filter::{FilterPlan, TranslationPlan, Written};
use super::flow::Flow;
use super::network::DeviceIndex;
use super::reach::{Stop, Walk};

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
        device: DeviceIndex,
        egress: usize,
        flow: Flow,
    ) -> Vec<Flow> {
        if filter.departures.is_empty() {
            return vec![flow];
        }
        let (done, mut parts) = self.first_matches(&filter.departures, egress, flow);
        for (translation, part) in done {
            let own = &self.plan.device(device).interfaces[egress].addresses;
            let address = match (translation.written, own.first()) {
                (Written::Address(address), _) | (Written::Interface, Some(&address)) => address,
                (Written::Unchanged, _) => {
                    parts.push(part);
                    continue;
                }
                (Written::Interface, None) => {
                    self.stop(Stop::NoTranslationAddress, part);
                    continue;
                }
            };
            let written = IntervalSet::point(address);
            let kept = Region {
                source: part.now.source.intersection(&written),
                ..part.now.clone()
            };
            let (kept, rest) = self.split_off(&part, kept);
            parts.extend(kept);
            for mut part in rest {
                part.write_source(translation.line, address);
                parts.push(part);
            }
        }
        parts
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
