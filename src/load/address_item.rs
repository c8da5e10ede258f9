//! One item of a list of addresses.

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{AddressSet, Family};
use boundwalk_packet::{Interval, IntervalSet};

use super::context::Context;
use super::kinds;
use super::literal;
use super::names::some_of;
use super::quote::shown;

/// What an item names.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Item {
    Any,
    Interval(Family, Interval),
    Group(usize),
    Host(usize),
    Segment(usize),
}

/// Intervals of both families, put together once at the end: adding one by one to a set would cost the
/// square of their number.
#[derive(Default)]
pub(super) struct Gatherer {
    v4: Vec<Interval>,
    v6: Vec<Interval>,
}

impl Gatherer {
    /// Adds an interval.
    pub fn add(&mut self, family: Family, interval: Interval) {
        match family {
            Family::V4 => self.v4.push(interval),
            Family::V6 => self.v6.push(interval),
        }
    }

    /// Adds a set.
    pub fn extend(&mut self, set: &AddressSet) {
        self.v4.extend_from_slice(set.v4.intervals());
        self.v6.extend_from_slice(set.v6.intervals());
    }

    /// The union.
    pub fn finish(self) -> AddressSet {
        AddressSet {
            v4: union(self.v4),
            v6: union(self.v6),
        }
    }
}

fn union(intervals: Vec<Interval>) -> IntervalSet {
    intervals.into_iter().collect()
}

/// Reads an item; `None` once its mistake is reported.
pub(super) fn read(cx: &mut Context<'_>, text: Spanned<&str>) -> Option<Item> {
    if text.value == "any" {
        return Some(Item::Any);
    }
    if let Some((kind, name)) = text.value.split_once(':')
        && let Some(item) = qualified(cx, text, kind, name)
    {
        return item;
    }
    if literal::is_address_like(text.value) {
        return match literal::interval(text.value) {
            Ok((family, interval)) => Some(Item::Interval(family, interval)),
            Err(complaint) => {
                cx.report(complaint.at(text.span));
                None
            }
        };
    }
    named(cx, text)
}

/// `group:x` and the like; `None` where the word before the colon is none of ours.
fn qualified(
    cx: &mut Context<'_>,
    text: Spanned<&str>,
    kind: &str,
    name: &str,
) -> Option<Option<Item>> {
    let name = Spanned::new(name, text.span);
    match kind {
        "group" => Some(cx.groups.require(&mut cx.report, name).map(Item::Group)),
        "segment" => Some(cx.segments.require(&mut cx.report, name).map(Item::Segment)),
        "host" => match host(cx, name.value) {
            Some(host) => Some(Some(Item::Host(host))),
            None => {
                unknown(cx, name, "host");
                Some(None)
            }
        },
        "zone" => {
            cx.report(zone_is_no_address(name));
            Some(None)
        }
        _ => None,
    }
}

fn named(cx: &mut Context<'_>, name: Spanned<&str>) -> Option<Item> {
    let group = cx.groups.find(name.value).map(Item::Group);
    let host = host(cx, name.value).map(Item::Host);
    let segment = cx.segments.find(name.value).map(Item::Segment);
    let found: Vec<Item> = [group, host, segment].into_iter().flatten().collect();
    match found.as_slice() {
        [item] => Some(*item),
        [] => {
            if cx.zones.find(name.value).is_some() {
                cx.report(zone_is_no_address(name));
            } else {
                unknown(cx, name, "address group, host or segment");
            }
            None
        }
        several => {
            let ways: Vec<String> = several
                .iter()
                .map(|item| format!("`{}:{}`", word(*item), name.value))
                .collect();
            let message = format!("`{}` names {} things", shown(name.value), several.len());
            let problem =
                Problem::at(&kinds::AMBIGUOUS_NAME, name.span, message).label("which one?");
            cx.report(problem.help(format!("write {}", ways.join(" or "))));
            None
        }
    }
}

fn word(item: Item) -> &'static str {
    match item {
        Item::Group(_) => "group",
        Item::Host(_) => "host",
        Item::Segment(_) => "segment",
        Item::Any | Item::Interval(..) => "",
    }
}

fn host(cx: &Context<'_>, name: &str) -> Option<usize> {
    match cx.device(name)? {
        super::context::Device::Host(id) => Some(id.0),
        _ => None,
    }
}

fn zone_is_no_address(name: Spanned<&str>) -> Problem {
    let message = format!("the zone `{}` is no list of addresses", shown(name.value));
    let problem = Problem::at(&kinds::UNKNOWN_NAME, name.span, message);
    problem.help("name its segments here, or put the zone into `from` or `to`")
}

fn unknown(cx: &mut Context<'_>, name: Spanned<&str>, what: &str) {
    let is_host =
        |device: &super::context::Device| matches!(device, super::context::Device::Host(_));
    let hosts = cx
        .devices
        .iter()
        .zip(&cx.kinds_of_devices)
        .filter(|(_, device)| is_host(device))
        .map(|(name, _)| name);
    let candidates: Vec<&str> = cx
        .groups
        .iter()
        .chain(hosts)
        .chain(cx.segments.iter())
        .collect();
    let help = cx
        .report
        .did_you_mean(name.value, candidates.iter().copied(), || {
            some_of("address group, host or segment", candidates.iter().copied())
        });
    let message = format!("no {what} is called `{}`", shown(name.value));
    cx.report(
        Problem::at(&kinds::UNKNOWN_NAME, name.span, message)
            .label("unknown name")
            .help(help),
    );
}
