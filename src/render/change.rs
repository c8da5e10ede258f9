//! What a change does, in words that every format shares.

use crate::analysis::change::{
    Changed, Edit, EditKind, IntentChange, IsolationChange, PairChange, ReachChange, Spot, Twin,
};
use crate::analysis::intent::{Standing, stopped};
use crate::analysis::{DecidedBy, rule_name, rule_span};
use crate::analysis::{Distance, Naming, Verdict};
use crate::checks::{Area, area};
use crate::diagnostic::{Finding, Severity, Sources};
use crate::forwarding::{Network, Stop};
use crate::model::{HostId, RouterId, SegmentId, Site};

/// What is shown of a change. Pairs are of the old version, then of the new one.
pub struct ChangeShown<'a> {
    /// What the versions are called.
    pub names: [String; 2],
    /// The versions.
    pub networks: &'a [Network<'a>; 2],
    /// Their texts.
    pub sources: [&'a Sources; 2],
    /// Their names: of each version IPv4, then IPv6.
    pub namings: [[Naming<'a>; 2]; 2],
    /// What opens and closes.
    pub reach: &'a ReachChange,
    /// What was edited.
    pub edits: &'a [Edit],
    /// Expectations and needs that stand otherwise.
    pub intent: &'a [IntentChange],
    /// Segments whose isolation stands otherwise.
    pub isolation: &'a [IsolationChange],
    /// Findings that are new; `None`: not asked for.
    pub findings: Option<(&'a [Finding], &'a [Finding])>,
    /// What the answers rest on.
    pub notes: &'a [String],
}

/// Whether something opens or closes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Course {
    Opens,
    Closes,
}

impl Course {
    pub(super) const BOTH: [Self; 2] = [Self::Opens, Self::Closes];

    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Opens => "opens",
            Self::Closes => "closes",
        }
    }

    /// The version in which the packets pass.
    pub(super) fn passes_in(self) -> usize {
        match self {
            Self::Opens => 1,
            Self::Closes => 0,
        }
    }

    pub(super) fn of(self, pair: &PairChange) -> &[Changed] {
        match self {
            Self::Opens => &pair.opened,
            Self::Closes => &pair.closed,
        }
    }
}

/// One set of packets that opens or closes, in words.
pub(super) struct FlowWords {
    pub services: String,
    pub source: String,
    pub destination: String,
    pub passes_by: String,
    pub stopped: String,
    pub packet: String,
}

impl ChangeShown<'_> {
    fn site(&self, version: usize) -> &Site {
        self.networks[version].site
    }

    /// The name of a segment; a new name is told with the old one.
    pub(super) fn segment(&self, twin: Twin<SegmentId>) -> String {
        let old = twin.old.map(|id| &self.site(0).segment(id).name.value);
        let new = twin.new.map(|id| &self.site(1).segment(id).name.value);
        named(old, new)
    }

    pub(super) fn spot(&self, spot: Spot) -> String {
        match spot {
            Spot::Segment(twin) => self.segment(twin),
            Spot::Router(twin) => {
                let old = twin.old.map(|id| &self.site(0).router(id).name.value);
                let new = twin.new.map(|id| &self.site(1).router(id).name.value);
                format!("{} itself", named(old, new))
            }
        }
    }

    /// The names of both ends in the old and in the new version; `None`: it is not there.
    pub(super) fn names_of(&self, pair: &PairChange) -> [(Option<String>, Option<String>); 2] {
        let side = |version: usize| {
            let site = self.site(version);
            let segment = |twin: Twin<SegmentId>| {
                let id = if version == 0 { twin.old } else { twin.new };
                id.map(|id| site.segment(id).name.value.clone())
            };
            let to = match pair.to {
                Spot::Segment(twin) => segment(twin),
                Spot::Router(twin) => {
                    let id = if version == 0 { twin.old } else { twin.new };
                    id.map(|id| site.router(id).name.value.clone())
                }
            };
            (segment(pair.from), to)
        };
        [side(0), side(1)]
    }

    /// The names of both ends in the new version; of what is gone, in the old one.
    pub(super) fn new_names(&self, pair: &PairChange) -> (String, String) {
        let [old, new] = self.names_of(pair);
        (
            new.0.or(old.0).unwrap_or_default(),
            new.1.or(old.1).unwrap_or_default(),
        )
    }

    pub(super) fn pair(&self, pair: &PairChange) -> String {
        let (from, to) = (self.segment(pair.from), self.spot(pair.to));
        format!("{from} -> {to}, {}", pair.family.word())
    }

    /// Pairs with something that opens, or closes.
    pub(super) fn pairs(&self, course: Course) -> impl Iterator<Item = &PairChange> {
        let pairs = self.reach.pairs.iter();
        pairs.filter(move |pair| !course.of(pair).is_empty())
    }

    pub(super) fn flow(&self, course: Course, pair: &PairChange, changed: &Changed) -> FlowWords {
        let here = course.passes_in();
        let naming = &self.namings[here][pair.family as usize];
        FlowWords {
            services: naming.services(&changed.packets.services),
            source: naming.addresses(&changed.packets.source),
            destination: naming.addresses(&changed.packets.destination),
            passes_by: match changed.passes_by.is_empty() {
                true => "undecided by any gateway".to_owned(),
                false => self.deciders(here, &changed.passes_by),
            },
            stopped: self.stopped(1 - here, course, pair, changed),
            packet: changed
                .packet
                .map_or(String::new(), |packet| packet.to_string()),
        }
    }

    fn deciders(&self, version: usize, deciders: &[DecidedBy]) -> String {
        let one = |&(router, rule): &DecidedBy| {
            let place = rule_span(self.site(version), router, rule);
            let place = place.map(|span| self.sources[version].place(span));
            let name = rule_name(&self.networks[version], router, rule);
            format!("{name} ({})", place.unwrap_or_default())
        };
        deciders.iter().map(one).collect::<Vec<_>>().join(", ")
    }

    fn stopped(
        &self,
        version: usize,
        course: Course,
        pair: &PairChange,
        changed: &Changed,
    ) -> String {
        let why = self.why_not(version, course, pair, changed);
        match (changed.stop, changed.stopped_by.is_empty()) {
            (Some(Stop::Denied(_)), false) => {
                format!("{why} by {}", self.deciders(version, &changed.stopped_by))
            }
            _ => why,
        }
    }

    /// Why it does not pass in a version, without the rules that deny it.
    pub(super) fn why_not(
        &self,
        version: usize,
        course: Course,
        pair: &PairChange,
        changed: &Changed,
    ) -> String {
        let missing = |twin: Option<SegmentId>, name: String| {
            twin.is_none().then(|| {
                format!(
                    "there {} no segment {name}",
                    if version == 0 { "was" } else { "is" }
                )
            })
        };
        let side = |twin: Twin<SegmentId>| if version == 0 { twin.old } else { twin.new };
        let from = missing(side(pair.from), self.segment(pair.from));
        let to = match pair.to {
            Spot::Segment(twin) => missing(side(twin), self.segment(twin)),
            Spot::Router(_) => None,
        };
        if let Some(text) = from.or(to) {
            return text;
        }
        let why = match changed.stop {
            Some(Stop::Denied(_)) => "denied",
            Some(stop) => stopped(stop),
            None => match course {
                Course::Opens => "did not arrive there",
                Course::Closes => "does not arrive there",
            },
        };
        why.to_owned()
    }

    /// Names of hosts that have an address at either end of what opens or closes.
    pub(super) fn hosts_affected(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for (course, version) in [(Course::Closes, 0), (Course::Opens, 1)] {
            let network = &self.networks[version];
            for (number, host) in network.site.hosts.iter().enumerate() {
                let mut pairs = self.pairs(course);
                let met = pairs.any(|pair| {
                    let plan = network.plan(pair.family);
                    let own = &plan.device(plan.host_index(HostId(number))).own;
                    let mut sets = course.of(pair).iter().map(|changed| &changed.packets);
                    sets.any(|set| set.source.overlaps(own) || set.destination.overlaps(own))
                });
                if met && !names.contains(&host.name.value.as_str()) {
                    names.push(&host.name.value);
                }
            }
        }
        names
    }

    /// Whether an edit of a rule plays a part in what opens or closes; `None` for other edits.
    pub(super) fn has_effect(&self, edit: &Edit) -> Option<bool> {
        let rule = edit.rule?;
        let spot = |version: usize| if version == 0 { rule.old } else { rule.new };
        let plays = |course: Course, changed: &Changed| {
            let here = spot(course.passes_in());
            let there = spot(1 - course.passes_in());
            let is = |spot: Option<(RouterId, usize)>, &(router, at): &DecidedBy| {
                spot.is_some() && spot == at.map(|at| (router, at))
            };
            changed.passes_by.iter().any(|by| is(here, by))
                || changed.stopped_by.iter().any(|by| is(there, by))
                || matches!((changed.stop, there), (Some(Stop::Denied(Some(rule))), Some((_, own))) if rule == own)
        };
        let mut pairs = self.reach.pairs.iter();
        Some(pairs.any(|pair| {
            let mut any = Course::BOTH
                .into_iter()
                .flat_map(|course| course.of(pair).iter().map(move |one| (course, one)));
            any.any(|(course, changed)| plays(course, changed)) || !pair.complete
        }))
    }

    /// Places of an edit, the new one first.
    pub(super) fn edit_place(&self, edit: &Edit) -> String {
        match (edit.new, edit.old) {
            (Some(new), _) => self.sources[1].place(new),
            (None, Some(old)) => self.sources[0].place(old),
            (None, None) => String::new(),
        }
    }

    /// One line that sums the change up.
    pub(super) fn summary(&self) -> String {
        let count = |course| self.pairs(course).count();
        let (opens, closes) = (count(Course::Opens), count(Course::Closes));
        let mut text = match (opens, closes) {
            (0, 0) if self.reach.complete() => {
                "nothing opens and nothing closes: no effect on who reaches what".to_owned()
            }
            _ => format!(
                "opens something for {} of segments and closes something for {} (IPv4 and IPv6 counted apart)",
                pairs(opens),
                pairs(closes)
            ),
        };
        let count = |test: fn(&IntentChange) -> bool| {
            let found = self.intent.iter().filter(|one| test(one)).count();
            match found {
                1 => "1 expectation or need".to_owned(),
                more => format!("{more} expectations and needs"),
            }
        };
        if self.intent.iter().any(is_worse) {
            text.push_str(&format!("; {} newly broken", count(is_worse)));
        }
        if self.intent.iter().any(is_better) {
            text.push_str(&format!("; {} repaired", count(is_better)));
        }
        if let Some((new, gone)) = self.findings {
            text.push_str(&format!(
                "; findings: {} new, {} gone",
                new.len(),
                gone.len()
            ));
        }
        text
    }

    /// What somebody who agrees to the change should look at first.
    pub(super) fn risks(&self) -> Vec<String> {
        let mut risks = Vec::new();
        for pair in self.pairs(Course::Opens) {
            let from = pair.from.new.map(|id| self.trust(id));
            let to = match pair.to {
                Spot::Segment(twin) => twin.new.map(|id| self.trust(id)),
                Spot::Router(_) => {
                    risks.push(format!(
                        "{} reaches the gateway itself with more",
                        self.segment(pair.from)
                    ));
                    continue;
                }
            };
            if let (Some(from), Some(to)) = (from, to)
                && from < to
            {
                let name = self.pair(pair);
                risks.push(format!("{name}: from trust {from} to trust {to}"));
            }
        }
        for one in self.intent.iter().filter(|one| is_worse(one)) {
            risks.push(intent_words(one));
        }
        if let Some((new, _)) = self.findings {
            // Expectations and needs are told above.
            let grave = new.iter().filter(|finding| {
                finding.severity() > Severity::Note && area(finding.check) != Some(Area::Intent)
            });
            risks.extend(
                grave.map(|finding| format!("{}: {}", finding.check.name, finding.message)),
            );
        }
        for one in self.isolation {
            risks.push(self.isolation_words(one));
        }
        risks
    }

    fn trust(&self, id: SegmentId) -> u8 {
        let site = self.site(1);
        site.zone(site.segment(id).zone).trust
    }

    pub(super) fn isolation_words(&self, one: &IsolationChange) -> String {
        let state = |(verdict, far): &(Verdict, Distance)| {
            let word = match verdict {
                Verdict::ByDesign(_) => "isolated by design",
                Verdict::ByRule { .. } => "closed by rule only",
                Verdict::Reachable { .. } => "reachable",
                Verdict::Unknown { .. } => "unknown: a limit was met",
            };
            let far = match (verdict, far.one.len(), far.two.len()) {
                (Verdict::Reachable { .. } | Verdict::Unknown { .. }, ..) => String::new(),
                (_, 0, 0) => ", no single fault or pair ends it".to_owned(),
                (_, 0, two) => format!(", {two} pairs of faults end it"),
                (_, one, _) => format!(", {one} single faults end it"),
            };
            format!("{word}{far}")
        };
        let name = &self.site(1).segment(one.segment).name.value;
        let before = one.before.as_ref().map_or("not there".to_owned(), state);
        format!("{name}: was {before}; now {}", state(&one.after))
    }
}

fn named(old: Option<&String>, new: Option<&String>) -> String {
    match (old, new) {
        (Some(old), Some(new)) if old != new => format!("{new} (was {old})"),
        (_, Some(name)) | (Some(name), None) => name.clone(),
        (None, None) => String::new(),
    }
}

fn pairs(count: usize) -> String {
    match count {
        1 => "1 pair".to_owned(),
        count => format!("{count} pairs"),
    }
}

pub(super) fn is_worse(one: &IntentChange) -> bool {
    !matches!(one.before, Some(Standing::Broken(_)))
        && matches!(one.after, Some(Standing::Broken(_)))
}

pub(super) fn is_better(one: &IntentChange) -> bool {
    matches!(one.before, Some(Standing::Broken(_))) && matches!(one.after, Some(Standing::Held))
}

/// `the expectation "guests stay out" held and is broken now`.
pub(super) fn intent_words(one: &IntentChange) -> String {
    let state = |side: &Option<Standing>| {
        side.as_ref()
            .map_or("not there", |side| standing(one.need, side))
    };
    format!(
        "the {} \"{}\": was {}, is {}",
        if one.need { "need" } else { "expectation" },
        one.name,
        state(&one.before),
        state(&one.after)
    )
}

/// How an expectation or a need stands, in a word.
pub(super) fn standing(need: bool, standing: &Standing) -> &'static str {
    match (standing, need) {
        (Standing::Held, true) => "met",
        (Standing::Held, false) => "held",
        (Standing::Broken(_), true) => "unmet",
        (Standing::Broken(_), false) => "broken",
        (Standing::Vacuous, _) => "vacuous",
        (Standing::Unknown(_), _) => "unknown",
    }
}

/// `added`, or `changed (services, log)`.
pub(super) fn edit_kind(kind: &EditKind) -> String {
    match kind {
        EditKind::Added => "added".to_owned(),
        EditKind::Removed => "removed".to_owned(),
        EditKind::Moved => "moved".to_owned(),
        EditKind::Renamed(old) => format!("renamed (was \"{old}\")"),
        EditKind::Changed(settings) => format!("changed ({})", settings.join(", ")),
    }
}
