//! Ways round the gateway, for people and for programs.

use serde::Serialize;

use boundwalk_analysis::{Bypass, Bypasses, CableEnd, Closing, Equipment, Setting, origin_name};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::{Network, Origin};
use boundwalk_model::Site;

use super::document::{Document, Mark, Rank};
use super::frames::way_lines;
use super::json::{JsonPlace, json_place};
use super::json_text::to_text;

/// Said where there is no set that closes all ways.
pub(super) const NOT_FOUND: &str = "What closes them all was not found within the limit: begin with the settings named, \
    and ask again.";

/// Ways shown in full before the rest is only listed.
const MOST_SHOWN: usize = 6;

/// All ways round. With `all`, each is shown in full.
pub fn bypass_document<'a>(
    network: &'a Network<'_>,
    sources: &Sources,
    found: &Bypasses,
    notes: &'a [String],
    all: bool,
) -> Document<'a> {
    let mut out = Document::new("Ways round the gateway", &network.site.name);
    let view = BypassView { network, sources };
    if found.pairs.is_empty() {
        let pairs = match found.asked {
            1 => "the 1 ordered pair".to_owned(),
            more => format!("all {more} ordered pairs"),
        };
        let text = format!(
            "No way round: between {pairs} of segments of different zones, every path crosses a filtering gateway or \
             there is none."
        );
        out.plain(0, text);
        out.notes(notes);
        return out;
    }
    let title = format!(
        "{} of {} ordered pairs of segments of different zones have a way round the gateway",
        found.pairs.len(),
        found.asked
    );
    out.plain(0, title);
    let most = if all { usize::MAX } else { MOST_SHOWN };
    for pair in found.pairs.iter().take(most) {
        view.pair(&mut out, pair);
    }
    let rest = found.pairs.get(most..).unwrap_or_default();
    if !rest.is_empty() {
        out.heading(Rank::Part, "Further pairs (--all shows each way)");
        rest.iter().for_each(|pair| out.plain(2, view.title(pair)));
    }
    match &found.closing {
        Some(closing) => view.closing(&mut out, closing),
        None => out.plain(0, NOT_FOUND),
    }
    out.notes(notes);
    out
}

struct BypassView<'a> {
    network: &'a Network<'a>,
    sources: &'a Sources,
}

impl BypassView<'_> {
    fn site(&self) -> &Site {
        self.network.site
    }

    fn origin(&self, origin: Origin) -> std::borrow::Cow<'_, str> {
        origin_name(self.site(), &self.network.fabric, origin)
    }

    fn title(&self, pair: &Bypass) -> String {
        format!(
            "{} -> {}: {}",
            self.origin(pair.from),
            self.origin(pair.to),
            kind_text(pair)
        )
    }

    fn pair(&self, out: &mut Document<'_>, pair: &Bypass) {
        out.heading(Rank::Part, self.title(pair));
        out.steps(way_lines(self.network, &pair.way));
        match pair.opened_by {
            Some(setting) => {
                let text = format!("{} ({})", setting.fact(self.site()), self.place(setting));
                out.labelled(2, "opened by: ", text);
            }
            None => out.plain(2, "no setting could close it: the wiring joins the two"),
        }
    }

    fn place(&self, setting: Setting) -> String {
        self.sources.place(setting.place(self.site()))
    }

    fn closing(&self, out: &mut Document<'_>, closing: &Closing) {
        let site = self.site();
        let count = closing.sets.first().map_or(0, Vec::len);
        let least = if closing.smallest {
            "the smallest set of settings that closes every way"
        } else {
            "a small set of settings that closes every way (not proved to be the smallest)"
        };
        let title = format!("To close: {least}, tried on the model ({count})");
        out.gap();
        out.plain(0, title);
        for (number, set) in closing.sets.iter().enumerate() {
            if number > 0 {
                out.plain(2, "or, as small:");
            }
            for group in groups(set, site) {
                let first = group[0];
                let needed = group.iter().any(|setting| closing.needed.contains(setting));
                let note = if needed {
                    "; this cuts traffic inside a segment as well"
                } else {
                    ""
                };
                let ports: Vec<String> = group
                    .iter()
                    .filter_map(|setting| setting.port())
                    .map(|port| port.name(site))
                    .collect();
                let remedy = first.remedy_at(site, &ranges(&ports));
                let text = format!("{remedy} ({}){note}", self.place(first));
                out.line(2, Mark::Bullet, text);
            }
        }
        out.bullets(stays_open(self.network, closing));
    }
}

/// Pairs that no setting can close, a line each.
pub(super) fn stays_open(network: &Network<'_>, closing: &Closing) -> Vec<String> {
    let stay = closing.stay.iter();
    let name = |origin| origin_name(network.site, &network.fabric, origin);
    let line = |&(from, to): &(Origin, Origin)| {
        let (from, to) = (name(from), name(to));
        format!("{from} -> {to} stays open: no setting closes it")
    };
    stay.map(line).collect()
}

/// What to change at which device, so that a set of settings is gone.
pub fn cuts(site: &Site, set: &[Setting]) -> Vec<(Equipment, String)> {
    let mut cuts = Vec::new();
    for group in groups(set, site) {
        let names: Vec<String> = group
            .iter()
            .filter_map(|setting| setting.port())
            .map(|port| port.name(site))
            .collect();
        let text = group[0].remedy_at(site, &ranges(&names));
        let mut devices: Vec<Equipment> = Vec::new();
        for setting in &group {
            devices.extend(match setting {
                Setting::Forwards(host) | Setting::Home(host, _) => vec![Equipment::Host(*host)],
                Setting::NoRules(router) => vec![Equipment::Router(*router)],
                Setting::Plugged(link) => site.links[*link]
                    .ends
                    .iter()
                    .map(|end| CableEnd::of(&end.value).device)
                    .collect(),
                other => other
                    .port()
                    .map(|port| Equipment::Switch(port.switch()))
                    .into_iter()
                    .collect(),
            });
        }
        devices.dedup();
        cuts.extend(devices.into_iter().map(|device| (device, text.clone())));
    }
    cuts
}

/// Settings of one line of the file that say the same of several ports, together.
fn groups(set: &[Setting], site: &Site) -> Vec<Vec<Setting>> {
    let mut groups: Vec<Vec<Setting>> = Vec::new();
    for &setting in set {
        let same = |group: &&mut Vec<Setting>| {
            setting.alike(group[0]) && setting.place(site) == group[0].place(site)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(setting),
            None => groups.push(vec![setting]),
        }
    }
    groups
}

/// Names of ports, three or more plain numbers of one switch in a row as a range: `core:1-6, core:9`.
fn ranges(names: &[String]) -> String {
    let number = |name: &str| -> Option<(String, u32)> {
        let (switch, port) = name.split_once(':')?;
        Some((switch.to_owned(), port.parse().ok()?))
    };
    let mut out: Vec<String> = Vec::new();
    let mut at = 0;
    while at < names.len() {
        let mut end = at;
        while let (Some((switch, here)), Some(Some((other, next)))) = (
            number(&names[end]),
            names.get(end + 1).map(|name| number(name)),
        ) {
            if switch != other || next != here + 1 {
                break;
            }
            end += 1;
        }
        let last = number(&names[end]).map_or(0, |(_, port)| port);
        match end - at {
            0 | 1 => out.extend(names[at..=end].iter().cloned()),
            _ => out.push(format!("{}-{last}", names[at])),
        }
        at = end + 1;
    }
    out.join(", ")
}

/// What kind of way it is.
fn kind_text(pair: &Bypass) -> String {
    let back = match pair.two_way {
        Some(true) => "two-way",
        Some(false) => "one-way",
        None => "answers unknown (a limit was met)",
    };
    let who = if pair.configured {
        "a plain device goes this way"
    } else {
        "a hostile device can"
    };
    let tags = match pair.way.sent().len() {
        0 => String::new(),
        1 => ", with a tag of its own".to_owned(),
        _ => ", with two tags".to_owned(),
    };
    format!("{back}, {who}{tags}")
}

#[derive(Serialize)]
struct JsonBypasses<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    pairs_asked: usize,
    bypasses: Vec<JsonBypass<'a>>,
    closing: Option<JsonClosing<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonBypass<'a> {
    from: std::borrow::Cow<'a, str>,
    to: std::borrow::Cow<'a, str>,
    two_way: Option<bool>,
    configured: bool,
    tags: &'a [u16],
    way: Vec<String>,
    settings: Vec<JsonSetting>,
    opened_by: Option<JsonSetting>,
}

#[derive(Serialize)]
struct JsonClosing<'a> {
    smallest: bool,
    sets: Vec<Vec<JsonSetting>>,
    stay_open: Vec<[std::borrow::Cow<'a, str>; 2]>,
}

#[derive(Serialize)]
struct JsonSetting {
    fact: String,
    remedy: String,
    place: Option<JsonPlace>,
}

/// All ways round as a JSON document.
pub fn bypass_json(
    network: &Network<'_>,
    sources: &Sources,
    found: &Bypasses,
    notes: &[String],
) -> String {
    let site = network.site;
    let setting = |setting: Setting| JsonSetting {
        fact: setting.fact(site),
        remedy: setting.remedy(site),
        place: json_place(sources, setting.place(site)),
    };
    let name = |origin| origin_name(site, &network.fabric, origin);
    let bypasses = found.pairs.iter().map(|pair| JsonBypass {
        from: name(pair.from),
        to: name(pair.to),
        two_way: pair.two_way,
        configured: pair.configured,
        tags: pair.way.sent(),
        way: way_lines(network, &pair.way),
        settings: pair.settings.iter().copied().map(setting).collect(),
        opened_by: pair.opened_by.map(setting),
    });
    let closing = found.closing.as_ref().map(|closing| JsonClosing {
        smallest: closing.smallest,
        sets: closing
            .sets
            .iter()
            .map(|set| set.iter().copied().map(setting).collect())
            .collect(),
        stay_open: closing
            .stay
            .iter()
            .map(|&(from, to)| [name(from), name(to)])
            .collect(),
    });
    to_text(&JsonBypasses {
        document: "boundwalk-bypass",
        version: 1,
        site: &site.name,
        pairs_asked: found.asked,
        bypasses: bypasses.collect(),
        closing,
        notes,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ports_in_a_row_are_a_range() {
        let shown = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
            ranges(&names)
        };
        assert_eq!(
            shown(&["a:1", "a:2", "a:3", "a:5", "b:6", "b:7"]),
            "a:1-3, a:5, b:6, b:7"
        );
        assert_eq!(shown(&["a:up", "a:1", "a:2", "a:3", "a:4"]), "a:up, a:1-4");
        assert_eq!(shown(&[]), "");
    }
}
