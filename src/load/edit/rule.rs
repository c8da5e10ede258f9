//! Rules in the text: what belongs to one, and where its fields stand.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use boundwalk_model::{RouterId, Site};

use super::cuts::Cuts;
use super::list::List;
use super::plan::{Wish, Wishes, rules};
use super::text::{Holds, Text};
use super::value::{Quotes, ValuePlace, Written};
use super::{EditError, RuleCopy, RuleField};

/// The new text of a file.
pub(super) fn edit(
    site: &Site,
    text: &str,
    wishes: &[(RouterId, &Wishes<'_>)],
) -> Result<String, EditError> {
    let root = DeTable::parse(text).map_err(|_| EditError::OtherTexts)?;
    let text = Text::new(text);
    let mut cuts = Cuts::default();
    for &(router, wishes) in wishes {
        let gateway = &site.router(router).name.value;
        let list = rule_list(root.get_ref(), gateway).ok_or(EditError::OtherTexts)?;
        let found = rules_in(&list.1).ok_or(EditError::OtherTexts)?;
        if !same_names(&found, site, router) {
            return Err(EditError::OtherTexts);
        }
        add_copies(&text, (site, router), &found, wishes, &mut cuts)?;
        edit_list(&text, list.0, &found, wishes, &mut cuts);
    }
    cuts.join(&text)
}

/// Writes copies of rules behind them.
fn add_copies(
    text: &Text<'_>,
    (site, router): (&Site, RouterId),
    found: &[Found<'_>],
    wishes: &Wishes<'_>,
    cuts: &mut Cuts,
) -> Result<(), EditError> {
    for (&number, wish) in wishes.iter().filter(|(_, wish)| !wish.copies.is_empty()) {
        let rule = &found[number];
        if text.text[rule.range.start..].starts_with('{') {
            let rule = rules(site, router)[number].name.value.clone();
            return Err(EditError::InBraces { rule });
        }
        let last = rule
            .table
            .iter()
            .map(|(_, value)| value.span().end)
            .fold(rule.range.end, usize::max);
        let line = text.lines[text.line_at(last - 1)].range.clone();
        let open = !text.text[line.clone()].ends_with('\n');
        let header = text.lines[text.line_at(rule.range.start)].range.clone();
        let header = text.text[header].trim_end();
        let header = header.split_once("]]").map_or(header, |(before, _)| before);
        let line_break = text.line_break(rule.range.start);
        let mut added = String::new();
        for copy in wish.copies {
            added.push_str(&copied(text, rule, copy, (header, line_break)));
        }
        if open {
            added.insert_str(0, line_break);
        }
        cuts.add(line.end, added);
    }
    Ok(())
}

/// A copy of a rule as lines: a blank one, its header, its keys in their order without comments.
fn copied(
    text: &Text<'_>,
    rule: &Found<'_>,
    copy: &RuleCopy,
    (header, line_break): (&str, &str),
) -> String {
    let mut entries: Vec<(&str, Range<usize>)> = rule
        .table
        .iter()
        .map(|(key, value)| (key.get_ref().as_ref(), value.span()))
        .collect();
    entries.sort_by_key(|(_, value)| value.start);
    let indent = text.indent(rule.range.start);
    let mut out = format!("{line_break}{header}]]{line_break}");
    let mut line = |key: &str, value: &str| {
        out.push_str(&format!("{indent}{key} = {value}{line_break}"));
    };
    let list = |items: &[String]| {
        let items: Vec<String> = items.iter().map(|item| quoted(item)).collect();
        format!("[{}]", items.join(", "))
    };
    for (key, value) in entries {
        let field = RuleField::ALL.into_iter().find(|field| field.key() == key);
        match field.and_then(|field| copy.fields.get(&field)) {
            Some(items) if items.is_empty() => {}
            Some(items) => line(key, &list(items)),
            None if key == "name" => line(key, &quoted(&copy.name)),
            None => line(key, &text.text[value]),
        }
        if key == "name" {
            for (field, items) in &copy.fields {
                if rule.table.get(field.key()).is_none() && !items.is_empty() {
                    line(field.key(), &list(items));
                }
            }
        }
    }
    out
}

/// A text as a basic string (TOML 1.0.0, string).
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// The strings that the fields of each rule of a gateway hold.
pub(super) fn written_fields(
    root: &DeTable<'_>,
    gateway: &str,
) -> Option<Vec<BTreeMap<RuleField, Vec<String>>>> {
    let Some((_, items)) = rule_list(root, gateway) else {
        return Some(Vec::new());
    };
    let fields = |rule: &Found<'_>| {
        let there = RuleField::ALL.into_iter().filter_map(|field| {
            let written = Written::read(rule.table.get(field.key())?)?;
            Some((field, written.strings().map(str::to_owned).collect()))
        });
        there.collect()
    };
    Some(rules_in(&items)?.iter().map(fields).collect())
}

/// A rule in the text.
struct Found<'a> {
    table: &'a DeTable<'a>,
    /// From its header or opening brace on.
    range: Range<usize>,
}

/// The list of rules of a gateway, and where it stands.
fn rule_list<'a>(
    root: &'a DeTable<'a>,
    gateway: &str,
) -> Option<(Range<usize>, Vec<&'a toml::Spanned<DeValue<'a>>>)> {
    let table = |value: &'a toml::Spanned<DeValue<'a>>| match value.get_ref() {
        DeValue::Table(table) => Some(table),
        _ => None,
    };
    let gateways = table(root.get("gateways")?)?;
    let rules = table(gateways.get(gateway)?)?.get("rules")?;
    match rules.get_ref() {
        DeValue::Array(items) => Some((rules.span(), items.iter().collect())),
        _ => None,
    }
}

fn rules_in<'a>(items: &[&'a toml::Spanned<DeValue<'a>>]) -> Option<Vec<Found<'a>>> {
    let found = items.iter().map(|item| match item.get_ref() {
        DeValue::Table(table) => Some(Found {
            table,
            range: item.span(),
        }),
        _ => None,
    });
    found.collect()
}

fn same_names(found: &[Found<'_>], site: &Site, router: RouterId) -> bool {
    let names = found.iter().map(
        |rule| match rule.table.get("name").map(toml::Spanned::get_ref) {
            Some(DeValue::String(name)) => name.as_ref(),
            _ => "",
        },
    );
    names.eq(rules(site, router)
        .iter()
        .map(|rule| rule.name.value.as_str()))
}

fn edit_list(
    text: &Text<'_>,
    range: Range<usize>,
    found: &[Found<'_>],
    wishes: &Wishes<'_>,
    cuts: &mut Cuts,
) {
    let removed = |number: &usize| wishes.get(number).is_some_and(|wish| wish.removed);
    let in_braces = |rule: &Found<'_>| text.text[rule.range.start..].starts_with('{');
    if found.iter().all(in_braces) {
        let gone: Vec<bool> = (0..found.len()).map(|number| removed(&number)).collect();
        if gone.contains(&true) {
            let items = found.iter().map(|rule| rule.range.clone()).collect();
            let list = List {
                range,
                items,
                open_end: true,
            };
            list.take_out(text, &gone, cuts);
        }
    } else {
        for number in (0..found.len()).filter(removed) {
            cuts.lines(lines_of(text, &found[number]));
        }
    }
    for (&number, wish) in wishes.iter().filter(|(_, wish)| !wish.removed) {
        if in_braces(&found[number]) {
            set_in_braces(text, &found[number], wish, cuts);
        } else {
            set_in_lines(text, &found[number], wish, cuts);
        }
    }
}

/// The lines of a rule with a header, comments that belong to it among them: those directly above the header;
/// and behind the last value those that a blank line, or the end of the text, parts from what follows.
fn lines_of(text: &Text<'_>, rule: &Found<'_>) -> Range<usize> {
    let last = rule
        .table
        .iter()
        .map(|(_, value)| value.span().end)
        .fold(rule.range.end, usize::max);
    let mut first = text.line_at(rule.range.start);
    let mut end = text.line_at(last - 1) + 1;
    let holds = |line: usize| text.lines.get(line).map(|line| line.holds);
    while first > 0 && holds(first - 1) == Some(Holds::Comment) {
        first -= 1;
    }
    let mut behind = end;
    while holds(behind) == Some(Holds::Comment) {
        behind += 1;
    }
    if holds(behind) != Some(Holds::Content) {
        end = behind;
    }
    first..end
}

/// A key with its value.
#[derive(Clone)]
struct Entry {
    key: Range<usize>,
    value: Range<usize>,
}

fn entry(table: &DeTable<'_>, key: &str) -> Option<Entry> {
    let (key, value) = table.get_key_value(key)?;
    Some(Entry {
        key: key.span(),
        value: value.span(),
    })
}

/// What a wish comes to: new lists for fields that are there, fields that go, and new fields, each with the
/// entry that it comes behind.
#[derive(Default)]
struct Sorted<'e> {
    changed: Vec<(Written, &'e [String])>,
    gone: Vec<Entry>,
    new: Vec<(Entry, RuleField, &'e [String])>,
}

fn sort<'e>(rule: &Found<'_>, wish: &Wish<'e>) -> Sorted<'e> {
    let mut sorted = Sorted::default();
    let mut anchor = entry(rule.table, "name");
    for field in RuleField::ALL {
        let there = entry(rule.table, field.key());
        match (wish.fields.get(&field), there) {
            (None, Some(entry)) => anchor = Some(entry),
            (Some([]), Some(entry)) => sorted.gone.push(entry),
            (Some(items), Some(entry)) => {
                let value = rule.table.get(field.key()).and_then(Written::read);
                sorted.changed.extend(value.map(|value| (value, *items)));
                anchor = Some(entry);
            }
            (Some(items), None) if !items.is_empty() => {
                sorted
                    .new
                    .extend(anchor.clone().map(|anchor| (anchor, field, *items)));
            }
            (_, None) => {}
        }
    }
    sorted
}

/// The quotes that the lists of a rule have, else those of its name.
fn quotes_of(text: &Text<'_>, rule: &Found<'_>) -> Quotes {
    let mut values = RuleField::ALL
        .iter()
        .map(|field| field.key())
        .chain(["name"])
        .filter_map(|key| rule.table.get(key));
    let first = values.find_map(|value| Written::read(value)?.quotes(text));
    first.unwrap_or(Quotes::Double)
}

fn place<'t>(text: &Text<'t>, at: usize, may_break: bool) -> ValuePlace<'t> {
    let before = &text.text[text.line_start(at)..at];
    ValuePlace {
        indent: text.indent(at),
        column: before.chars().count(),
        line_break: text.line_break(at),
        may_break,
    }
}

/// Changes fields of a rule with a header: one key on its lines.
fn set_in_lines(text: &Text<'_>, rule: &Found<'_>, wish: &Wish<'_>, cuts: &mut Cuts) {
    let quotes = quotes_of(text, rule);
    let sorted = sort(rule, wish);
    for (value, items) in sorted.changed {
        let place = place(text, value.start(), true);
        value.set(text, items, (place, quotes), cuts);
    }
    for entry in sorted.gone {
        cuts.lines(text.line_at(entry.key.start)..text.line_at(entry.value.end - 1) + 1);
    }
    for (anchor, field, items) in sorted.new {
        let line = &text.lines[text.line_at(anchor.value.end - 1)];
        let mut place = place(text, anchor.key.start, true);
        let start = format!("{}{} = ", place.indent, field.key());
        place.column = start.chars().count();
        let (written, line_break) = (place.list(items, quotes), place.line_break);
        let open = !text.text[line.range.clone()].ends_with('\n');
        cuts.add(
            line.range.end,
            if open {
                format!("{line_break}{start}{written}")
            } else {
                format!("{start}{written}{line_break}")
            },
        );
    }
}

/// Changes fields of a rule in braces: keys parted by commas. New lists stay on one line there.
fn set_in_braces(text: &Text<'_>, rule: &Found<'_>, wish: &Wish<'_>, cuts: &mut Cuts) {
    let quotes = quotes_of(text, rule);
    let sorted = sort(rule, wish);
    for (value, items) in sorted.changed {
        let place = place(text, value.start(), false);
        value.set(text, items, (place, quotes), cuts);
    }
    for (anchor, field, items) in sorted.new {
        let place = place(text, anchor.key.start, false);
        let alone = text.line_start(anchor.key.start) + place.indent.len() == anchor.key.start;
        let gap = if alone && anchor.key.start > rule.range.start {
            format!("{}{}", place.line_break, place.indent)
        } else {
            " ".to_owned()
        };
        let written = place.list(items, quotes);
        cuts.add(
            anchor.value.end,
            format!(",{gap}{} = {written}", field.key()),
        );
    }
    if !sorted.gone.is_empty() {
        take_out_keys(text, rule, &sorted.gone, cuts);
    }
}

fn take_out_keys(text: &Text<'_>, rule: &Found<'_>, gone: &[Entry], cuts: &mut Cuts) {
    let mut items: Vec<Range<usize>> = rule
        .table
        .iter()
        .map(|(key, value)| key.span().start..value.span().end)
        .collect();
    items.sort_by_key(|item| item.start);
    let starts = |item: &Range<usize>| gone.iter().any(|entry| entry.key.start == item.start);
    let gone: Vec<bool> = items.iter().map(starts).collect();
    let list = List {
        range: rule.range.clone(),
        items,
        open_end: false,
    };
    list.take_out(text, &gone, cuts);
}
