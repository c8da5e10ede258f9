//! Switches with their ports and LAGs.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Lag, Port, PortVlans, Speed, Switch};

use super::context::{Context, owned};
use super::keys;
use super::kinds;
use super::name_index::NameIndex;
use super::port_vlans::{self, VLAN_KEYS};
use super::ports::{LagDraft, expand, read_lags, read_speed};
use super::quote::shown;
use super::reader::{Entry, Table};

/// Reads all switches.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for entry in &outline.switches {
        let switch = read_switch(cx, entry);
        cx.site.switches.push(switch);
    }
}

/// LAGs of a switch by what stands in the file about them.
struct Lags {
    drafts: Vec<LagDraft>,
    /// LAG by name.
    names: FxHashMap<String, usize>,
    /// LAG by member port.
    members: FxHashMap<String, usize>,
    /// VLANs and isolation, once given.
    settings: Vec<Option<(PortVlans, bool, Span)>>,
}

/// A switch while its ports are read.
struct Draft {
    switch: Switch,
    lags: Lags,
    /// Where each port is described.
    seen: FxHashMap<String, Span>,
}

/// What one line of `ports` says of each port that its key names.
struct PortLine<'t> {
    table: Table<'t>,
    vlans: PortVlans,
    isolated: bool,
    enabled: bool,
    speed: Option<Speed>,
    description: String,
    /// Whether it says anything that a LAG's member can't have of its own.
    own: bool,
}

fn read_switch(cx: &mut Context<'_>, entry: &Entry<'_>) -> Switch {
    let mut switch = Switch {
        name: owned(entry.name),
        vlan_aware: true,
        ports: Vec::new(),
        lags: Vec::new(),
        named: Vec::new(),
        description: String::new(),
    };
    cx.named_segments.clear();
    let Some(table) = Table::open(&mut cx.report, entry.value, &keys::SWITCH) else {
        return switch;
    };
    if let Some(aware) = table.flag(&mut cx.report, "vlan_aware") {
        switch.vlan_aware = aware.value;
    }
    switch.description = table.prose(&mut cx.report, "description");
    let lags = read_lag_drafts(cx, &table);
    let seen = FxHashMap::default();
    let mut draft = Draft { switch, lags, seen };
    for entry in table.entries(&mut cx.report, "ports") {
        read_ports(cx, &mut draft, &entry);
    }
    let Draft {
        mut switch,
        lags,
        seen,
    } = draft;
    add_silent_members(&mut switch, &lags, &seen);
    switch.lags = finish_lags(cx, &switch.name.value, lags, switch.vlan_aware);
    switch.named = std::mem::take(&mut cx.named_segments);
    switch.named.sort_unstable();
    switch.named.dedup();
    switch
}

fn read_lag_drafts(cx: &mut Context<'_>, table: &Table<'_>) -> Lags {
    let drafts = read_lags(&mut cx.report, table, &keys::SWITCH_LAG);
    let mut names = FxHashMap::default();
    let mut members = FxHashMap::default();
    for (number, draft) in drafts.iter().enumerate() {
        names.insert(draft.name.value.clone(), number);
        members.extend(draft.ports.iter().map(|port| (port.value.clone(), number)));
    }
    let settings = vec![None; drafts.len()];
    Lags {
        drafts,
        names,
        members,
        settings,
    }
}

/// One line of `ports`: all ports that its key names.
fn read_ports(cx: &mut Context<'_>, draft: &mut Draft, entry: &Entry<'_>) {
    let names = expand(&mut cx.report, entry.name);
    let Some(table) = Table::open(&mut cx.report, entry.value, &keys::PORT) else {
        return;
    };
    let says_vlans = VLAN_KEYS.iter().any(|key| table.get(key).is_some());
    if says_vlans && !draft.switch.vlan_aware {
        let name = shown(&draft.switch.name.value);
        let message = format!("VLANs on a port of the switch `{name}`, which knows none");
        let problem = Problem::at(&kinds::VLAN_UNAWARE, entry.name.span, message);
        cx.report(problem.help("remove the VLANs, or `vlan_aware = false`"));
    }
    let vlans = port_vlans::read(cx, &table);
    let report = &mut cx.report;
    let isolated = table.flag(report, "isolated");
    let enabled = table.flag(report, "enabled");
    let line = PortLine {
        table,
        vlans,
        isolated: isolated.is_some_and(|flag| flag.value),
        enabled: enabled.is_none_or(|flag| flag.value),
        speed: read_speed(report, &table),
        description: table.prose(report, "description"),
        own: says_vlans || table.get("isolated").is_some(),
    };
    for name in names {
        if !cx.count_port(name.span) {
            return;
        }
        place_port(cx, draft, &line, name);
    }
}

/// Gives what a line says to one port or LAG.
fn place_port(cx: &mut Context<'_>, draft: &mut Draft, line: &PortLine<'_>, name: Spanned<String>) {
    if let Some(&first) = draft.seen.get(&name.value) {
        let message = format!("the port `{}` is described twice", shown(&name.value));
        let problem = Problem::at(&kinds::PORT_TWICE, name.span, message);
        cx.report(
            problem
                .note(first, "first here")
                .help("take it out of one of the ranges"),
        );
        return;
    }
    draft.seen.insert(name.value.clone(), name.span);
    if let Some(&lag) = draft.lags.names.get(&name.value) {
        check_lag_keys(cx, line, &name);
        draft.lags.settings[lag] = Some((line.vlans.clone(), line.isolated, name.span));
        return;
    }
    let lag = draft.lags.members.get(&name.value);
    if let Some(&lag) = lag.filter(|_| line.own) {
        let lag = &draft.lags.drafts[lag].name;
        let (port, bundle) = (shown(&name.value), &lag.value);
        let message = format!("the port `{port}` is a member of the LAG `{bundle}`");
        let problem = Problem::at(&kinds::LAG_MEMBER_VLANS, name.span, message);
        let help = format!("give these settings to `{bundle}`");
        cx.report(problem.note(lag.span, "the LAG").help(help));
    }
    draft.switch.ports.push(Port {
        name,
        vlans: lag.is_none().then(|| line.vlans.clone()),
        isolated: line.isolated,
        enabled: line.enabled,
        speed: line.speed,
        description: line.description.clone(),
    });
}

fn check_lag_keys(cx: &mut Context<'_>, line: &PortLine<'_>, name: &Spanned<String>) {
    let mut keys = ["enabled", "speed", "description"].into_iter();
    let Some(key) = keys.find(|key| line.table.get(key).is_some()) else {
        return;
    };
    let message = format!("`{key}` on the LAG `{}`", shown(&name.value));
    let problem = Problem::at(&kinds::CONFLICTING_KEYS, line.table.key_span(key), message);
    cx.report(problem.help("say that of its member ports, each by its own name"));
}

/// Member ports that only their LAG names are ports all the same.
fn add_silent_members(switch: &mut Switch, lags: &Lags, seen: &FxHashMap<String, Span>) {
    for port in lags.drafts.iter().flat_map(|lag| &lag.ports) {
        if !seen.contains_key(&port.value) {
            switch.ports.push(Port {
                name: port.clone(),
                vlans: None,
                isolated: false,
                enabled: true,
                speed: None,
                description: String::new(),
            });
        }
    }
}

fn finish_lags(cx: &mut Context<'_>, switch: &str, lags: Lags, vlan_aware: bool) -> Vec<Lag> {
    let mut finished = Vec::with_capacity(lags.drafts.len());
    for (draft, settings) in lags.drafts.into_iter().zip(lags.settings) {
        if settings.is_none() && vlan_aware {
            let message = format!(
                "nothing says which VLANs the LAG `{}` carries",
                draft.name.value
            );
            let subject = format!("{switch}:{}", draft.name.value);
            let problem =
                Problem::at(&kinds::LAG_WITHOUT_VLANS, draft.name.span, message).about(subject);
            cx.report(problem.help(format!(
                "add a line to `ports`: \"{}\" = {{ tagged = [\"…\"] }}",
                draft.name.value
            )));
        }
        let nothing = || (PortVlans::default(), false, draft.name.span);
        let (vlans, isolated, place) = settings.unwrap_or_else(nothing);
        finished.push(Lag {
            name: draft.name,
            ports: draft.ports,
            lacp: draft.lacp,
            speed: draft.speed,
            vlans,
            place,
            isolated,
        });
    }
    finished
}
