//! Address groups, and lists of addresses wherever they stand.

use petgraph::graph::{DiGraph, NodeIndex};

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{AddressGroup, AddressMatch, AddressSet, Family};

use super::address_item::{Gatherer, Item, read as read_item};
use super::context::{Context, owned};
use super::kinds;
use super::name_index::NameIndex;
use super::names::NameTable;
use super::quote::shown;
use super::reader::Table;

/// The items of one group as they refer to others; `None` where one of them is wrong.
type Parts = Option<Vec<(Item, Span)>>;

/// Opens all groups, those first that others are made of.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    let mut parts: Vec<Parts> = Vec::with_capacity(outline.groups.len());
    for entry in &outline.groups {
        parts.push(read_parts(cx, entry));
    }
    let edges = parts.iter().enumerate().flat_map(|(number, parts)| {
        parts
            .iter()
            .flatten()
            .filter_map(move |(item, _)| match item {
                Item::Group(member) => Some((number, *member)),
                _ => None,
            })
    });
    let order = members_first(parts.len(), edges);
    for component in order {
        match component.as_slice() {
            [number] if !refers_to_itself(&parts[*number], *number) => open(cx, &parts, *number),
            several => report_cycle(&mut cx.report, &cx.groups, several),
        }
    }
    for (number, entry) in outline.groups.iter().enumerate() {
        let set = cx.group_states[number].set.clone().unwrap_or_default();
        cx.site.addresses.push(AddressGroup {
            name: owned(entry.name),
            set,
        });
    }
}

/// A list of addresses of a table; `None` where the key is not given, or once its mistake is reported.
pub(super) fn list(cx: &mut Context<'_>, table: &Table<'_>, key: &str) -> Option<AddressMatch> {
    let items = table.strings(&mut cx.report, key)?;
    let mut gatherer = Gatherer::default();
    let mut sound = true;
    for &text in &items {
        match read_item(cx, text) {
            Some(item) => sound &= gather(cx, item, text.span, &mut gatherer),
            None => sound = false,
        }
    }
    sound.then(|| AddressMatch {
        written: items.into_iter().map(owned).collect(),
        set: gatherer.finish(),
    })
}

/// Components of a graph of groups, members before the groups that hold them. Not recursive: a long chain
/// of groups would otherwise use up the stack.
pub(super) fn members_first(
    count: usize,
    edges: impl Iterator<Item = (usize, usize)>,
) -> Vec<Vec<usize>> {
    let mut graph: DiGraph<(), ()> = DiGraph::with_capacity(count, count);
    for _ in 0..count {
        graph.add_node(());
    }
    for (group, member) in edges {
        graph.add_edge(NodeIndex::new(group), NodeIndex::new(member), ());
    }
    let components = petgraph::algo::kosaraju_scc(&graph);
    components
        .into_iter()
        .map(|component| component.into_iter().map(NodeIndex::index).collect())
        .collect()
}

/// Says which groups hold each other, in the order of the file.
pub(super) fn report_cycle(
    report: &mut super::report::ProblemReport,
    names: &NameTable<'_>,
    members: &[usize],
) {
    let mut members = members.to_vec();
    members.sort_unstable();
    let first = names.name(members[0]);
    let message = if members.len() == 1 {
        format!("the {} `{}` holds itself", names.what, shown(first.value))
    } else {
        let listed: Vec<String> = members
            .iter()
            .take(8)
            .map(|&at| format!("`{}`", shown(names.name(at).value)))
            .collect();
        format!(
            "each of these {}s holds itself by way of the others: {}",
            names.what,
            listed.join(", ")
        )
    };
    let mut problem =
        Problem::at(&kinds::GROUP_CYCLE, first.span, message).label("part of the cycle");
    for &member in members[1..].iter().take(7) {
        problem = problem.note(names.name(member).span, "part of the cycle");
    }
    report.push(problem.help("take one of these names out of the group that it stands in"));
}

fn read_parts(cx: &mut Context<'_>, entry: &super::reader::Entry<'_>) -> Parts {
    let texts = entry.value.strings(&mut cx.report, entry.name.value)?;
    if texts.is_empty() {
        let message = format!("the address group `{}` is empty", shown(entry.name.value));
        let problem =
            Problem::at(&kinds::EMPTY_LIST, entry.value.span, message).label("holds nothing");
        cx.report(problem.help("put addresses in, or remove the group"));
        return None;
    }
    let mut parts = Vec::with_capacity(texts.len());
    let mut sound = true;
    for text in texts {
        match read_item(cx, text) {
            Some(item) => parts.push((item, text.span)),
            None => sound = false,
        }
    }
    sound.then_some(parts)
}

fn refers_to_itself(parts: &Parts, number: usize) -> bool {
    parts
        .iter()
        .flatten()
        .any(|(item, _)| *item == Item::Group(number))
}

fn open(cx: &mut Context<'_>, parts: &[Parts], number: usize) {
    let Some(items) = &parts[number] else { return };
    let mut gatherer = Gatherer::default();
    let mut sound = true;
    for &(item, span) in items {
        sound &= gather(cx, item, span, &mut gatherer);
    }
    if sound {
        cx.group_states[number].set = Some(gatherer.finish());
    }
}

/// Adds what an item stands for; false where that is broken.
fn gather(cx: &mut Context<'_>, item: Item, span: Span, into: &mut Gatherer) -> bool {
    match item {
        Item::Any => into.extend(&AddressSet {
            v4: Family::V4.full(),
            v6: Family::V6.full(),
        }),
        Item::Interval(family, interval) => into.add(family, interval),
        Item::Group(number) => {
            let state = &mut cx.group_states[number];
            state.used = true;
            let Some(set) = &state.set else { return false };
            into.extend(set);
            let parts = set.v4.intervals().len() + set.v6.intervals().len();
            return cx.spend(parts, span);
        }
        Item::Host(number) => return gather_host(cx, number, span, into),
        Item::Segment(number) => return gather_segment(cx, number, span, into),
    }
    true
}

fn gather_host(cx: &mut Context<'_>, number: usize, span: Span, into: &mut Gatherer) -> bool {
    let Some(host) = cx.site.hosts.get(number) else {
        return false;
    };
    let mut addresses = host
        .interfaces
        .iter()
        .flat_map(|interface| &interface.addresses)
        .peekable();
    if addresses.peek().is_none() {
        let message = format!("the host `{}` has no address", host.name.value);
        let problem =
            Problem::at(&kinds::NO_ADDRESSES, span, message).note(host.name.span, "described here");
        cx.report(problem.help("give one of its interfaces an address"));
        return false;
    }
    for address in addresses {
        let value = Family::value(address.value.address());
        into.add(
            address.value.family(),
            boundwalk_packet::Interval::point(value),
        );
    }
    true
}

fn gather_segment(cx: &mut Context<'_>, number: usize, span: Span, into: &mut Gatherer) -> bool {
    let Some(segment) = cx.site.segments.get(number) else {
        return false;
    };
    let name = Spanned::new(segment.name.value.clone(), segment.name.span);
    if segment.external {
        // Its prefixes are only the near end of it: taken for the whole, a rule would silently miss the rest.
        let message = format!(
            "the segment `{}` is external: its addresses are no list",
            name.value
        );
        let problem = Problem::at(&kinds::EXTERNAL_ADDRESSES, span, message)
            .note(name.span, "described here");
        cx.report(problem.help(format!(
            "put `{}` into `from` or `to`, or write the prefixes that are meant",
            name.value
        )));
        return false;
    }
    if segment.prefixes.is_empty() {
        return false; // Reported with the segment.
    }
    for prefix in &segment.prefixes {
        into.add(prefix.value.family(), prefix.value.interval());
    }
    true
}
