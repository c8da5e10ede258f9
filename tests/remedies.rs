//! What findings say to do, done: alone, and two at a time.
//!
//! Each remedy that is one setting is carried out on random sites and on the demo, as a reader of the finding would.
//! Held against the version before: nothing opens, for devices that do as configured and for hostile ones, and no need
//! that was met is lost, unless the text of the finding or of its check says that it may. Rules that are to be removed
//! have a test of their own (`rule_advice.rs`), tighter rules too (`tighten_simulator.rs`), and so have the smallest
//! sets of settings that close a way (`cuts.rs`).

#[path = "agreement/blocks.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod blocks;
#[path = "agreement/drawn.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod drawn;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_fabric.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random_fabric;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/seeds.rs"]
mod seeds;

use std::collections::BTreeMap;

use boundwalk::analysis::change::{intent_changes, reach_change};
use boundwalk::analysis::intent::IntentStatus;
use boundwalk::checks::{find, run};
use boundwalk::diagnostic::Finding;
use boundwalk::forwarding::Network;
use boundwalk::model::{Action, Forwards, FrameTypes, PortVlans, Role, Site, SourceCheck, VlanId};

use drawn::{TODAY, drawn};
use random::Random;
use seeds::seeds;

/// Carries out what a finding says about one subject; false where the reader must know more than the file says.
type Remedy = fn(&mut Site, &Finding, &str) -> bool;

/// What each check says to do, where that is one setting.
const REMEDIES: [(&str, Remedy); 9] = [
    ("unused-port-live", disable),
    ("port-without-vlan", disable),
    ("ingress-filter-off", |site, _, name| {
        at_port(site, name, |vlans| vlans.ingress_filter = true)
    }),
    ("trunk-vlan-unused", take_off),
    ("tags-on-access-port", one_segment),
    ("source-check-off", check_sources),
    ("host-forwards", |site, _, name| {
        let host = site.hosts.iter_mut().find(|host| host.name.value == name);
        host.map(|host| host.forwards.value = Forwards::No)
            .is_some()
    }),
    ("default-permit", |site, _, name| {
        let mut routers = site.routers.iter_mut();
        let router = routers.find(|router| router.name.value == name);
        match router.map(|router| &mut router.role) {
            Some(Role::Gateway(filter)) => {
                filter.default.value = Action::Deny;
                true
            }
            _ => false,
        }
    }),
    ("deny-unlogged", log),
];

/// Checks whose text says that following it may cost traffic that is needed, by a word of that text.
const MAY_COST: [(&str, &str); 3] = [
    ("default-permit", "permit what is needed"),
    ("host-forwards", "where it must forward"),
    ("source-check-off", "where ways differ"),
];

/// Checks whose remedy turns what was modelled as a router or switch into a device that sends, by a word of their text:
/// what it sends itself, or a hostile one in its place, may well be more.
const NEW_PLACE: [(&str, &str); 1] = [("host-forwards", "sends and can be hostile itself")];

fn disable(site: &mut Site, _: &Finding, name: &str) -> bool {
    let mut done = false;
    for switch in &mut site.switches {
        for port in &mut switch.ports {
            if format!("{}:{}", switch.name.value, port.name.value) == name {
                port.enabled = false;
                done = true;
            }
        }
    }
    done
}

/// Changes the VLANs of a port or LAG.
fn at_port(site: &mut Site, name: &str, change: impl Fn(&mut PortVlans)) -> bool {
    for switch in &mut site.switches {
        let full = |own: &str| format!("{}:{own}", switch.name.value);
        for port in &mut switch.ports {
            if full(&port.name.value) == name
                && let Some(vlans) = &mut port.vlans
            {
                change(vlans);
                return true;
            }
        }
        for lag in &mut switch.lags {
            if full(&lag.name.value) == name {
                change(&mut lag.vlans);
                return true;
            }
        }
    }
    false
}

/// Takes the VLANs that the message names off a port.
fn take_off(site: &mut Site, finding: &Finding, name: &str) -> bool {
    let (_, what) = finding.message.split_once("carries ").unwrap_or_default();
    let what = what.split(", and no").next().unwrap_or(what);
    let named: Vec<VlanId> = what
        .split(|c: char| !c.is_ascii_alphanumeric() && c != '-')
        .filter_map(|word| word.parse().ok().and_then(VlanId::new))
        .collect();
    let known = std::cell::Cell::new(false);
    let found = at_port(site, name, |vlans| {
        for &vlan in &named {
            known.set(vlans.tagged.remove(vlan) | vlans.untagged.remove(vlan) | known.get());
        }
    });
    found && known.get()
}

/// Leaves a port in the one segment that it is in untagged, both ways. Where it is in none, the reader must know which.
fn one_segment(site: &mut Site, _: &Finding, name: &str) -> bool {
    let known: Vec<VlanId> = site
        .segments
        .iter()
        .filter_map(|one| Some(one.vlan?.value))
        .collect();
    let done = std::cell::Cell::new(false);
    at_port(site, name, |vlans| {
        let own = |pvid: &VlanId| {
            let untagged: Vec<VlanId> = vlans.untagged.iter().collect();
            known.contains(pvid) && untagged == [*pvid] && vlans.accept != FrameTypes::Tagged
        };
        let Some(pvid) = vlans.pvid.filter(own) else {
            return;
        };
        *vlans = PortVlans {
            pvid: Some(pvid),
            untagged: std::iter::once(pvid).collect(),
            ingress_filter: true,
            accept: FrameTypes::Untagged,
            ..PortVlans::default()
        };
        done.set(true);
    });
    done.get()
}

fn check_sources(site: &mut Site, _: &Finding, name: &str) -> bool {
    for router in &mut site.routers {
        for interface in &mut router.interfaces {
            if format!("{}:{}", router.name.value, interface.name.value) == name {
                interface.source_check = SourceCheck::Strict;
                return true;
            }
        }
    }
    false
}

fn log(site: &mut Site, _: &Finding, name: &str) -> bool {
    for router in &mut site.routers {
        let full = |own: &str| format!("{} \"{own}\"", router.name.value);
        if let Role::Gateway(filter) = &mut router.role {
            for rule in &mut filter.rules {
                if full(&rule.name.value) == name {
                    rule.log = true;
                    return true;
                }
            }
        }
    }
    false
}

/// What findings say to do about a site: the check, and the site once it is done.
fn followed(site: &Site) -> Vec<(&'static str, String, Remedy, Finding)> {
    let network = Network::new(site, TODAY);
    let mut all = Vec::new();
    for finding in run(&network) {
        let name = finding.check.name;
        let Some((_, remedy)) = REMEDIES.iter().find(|(check, _)| *check == name) else {
            continue;
        };
        for subject in &finding.subjects {
            all.push((name, subject.clone(), *remedy, finding.clone()));
        }
    }
    all
}

/// What got worse between two versions: pairs that open, and needs that are lost.
fn worse(old: &Site, new: &Site, checks: &[&str]) -> (Vec<String>, Vec<String>) {
    let place = NEW_PLACE.iter().any(|(check, _)| checks.contains(check));
    let [before, after] = Network::versions(old, new, TODAY);
    let reach = reach_change(&before, &after, &mut |_, _| {});
    let opened = reach
        .pairs
        .iter()
        .chain(&reach.hostile)
        .filter(|pair| !pair.opened.is_empty() && !place)
        .map(|pair| format!("{:?} -> {:?}", pair.from, pair.to));
    let lost = intent_changes(&before, &after).into_iter().filter(|one| {
        let broken = matches!(one.after, Some(IntentStatus::Broken(_)));
        one.need && broken && matches!(one.before, Some(IntentStatus::Held))
    });
    (opened.collect(), lost.map(|one| one.name).collect())
}

fn may_cost(check: &str) -> bool {
    MAY_COST.iter().any(|(known, _)| *known == check)
}

#[test]
fn checks_whose_remedy_costs_something_say_so() {
    for (name, word) in MAY_COST.into_iter().chain(NEW_PLACE) {
        let check = find(name).expect("a check");
        let text = [check.fine_when, check.remedy].join(" ");
        assert!(text.contains(word), "{name}: {text}");
    }
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was compared")]
fn what_a_finding_says_to_do_opens_nothing_and_loses_no_need() {
    let mut tried: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut pairs, mut left) = (0, 0);
    let mut wrong = Vec::new();
    for seed in seeds(120) {
        let text = drawn(seed);
        let site = drawn::site(&text);
        let mut all = followed(&site);
        let mut random = Random::new(seed ^ 0x4e3d);
        // A few of each site: the findings of one site are much alike.
        while all.len() > 5 {
            all.swap_remove(random.below(all.len()));
        }
        for (at, (check, subject, remedy, finding)) in all.iter().enumerate() {
            let mut after = site.clone();
            if !remedy(&mut after, finding, subject) {
                left += 1;
                continue;
            }
            *tried.entry(check).or_default() += 1;
            let (opened, lost) = worse(&site, &after, &[check]);
            if !opened.is_empty() || !(lost.is_empty() || may_cost(check)) {
                wrong.push(format!(
                    "seed {seed}: {check} of {subject}: {opened:?} {lost:?}\n{}",
                    finding.message
                ));
            }
            let Some((other, name, second, told)) = all.get(at + 1) else {
                continue;
            };
            if !second(&mut after, told, name) {
                continue;
            }
            pairs += 1;
            let (opened, lost) = worse(&site, &after, &[check, other]);
            let costs = may_cost(check) || may_cost(other);
            if !opened.is_empty() || !(lost.is_empty() || costs) {
                wrong.push(format!(
                    "seed {seed}: {check} of {subject} with {other} of {name}: {opened:?} {lost:?}"
                ));
            }
        }
    }
    eprintln!("{tried:?}, {pairs} in pairs; {left} need to be told more");
    let count = wrong.len();
    wrong.truncate(10);
    assert!(wrong.is_empty(), "{count}:\n{}", wrong.join("\n"));
    for (check, _) in REMEDIES {
        assert!(tried.contains_key(check), "never followed: {check}");
    }
    assert!(pairs > 50 && left < pairs / 5, "{pairs}, {left}");
}
