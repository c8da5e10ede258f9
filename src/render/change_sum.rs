//! What a change comes to, in one line, and what to weigh about it.

use boundwalk_analysis::IsolationVerdict;
use boundwalk_analysis::change::{IntentChange, IsolationChange, PairChange, Spot, Stood, Trend};
use boundwalk_checks::{Area, area};
use boundwalk_diagnostic::Severity;
use boundwalk_forwarding::Limit;
use boundwalk_model::SegmentId;

use super::change::{ChangeKind, ChangeShown, Stance, intent_words, is_better, is_worse};

impl ChangeShown<'_> {
    /// A limit that leaves something open.
    pub fn limit(&self) -> Option<Limit> {
        let verdict = |stood: &Stood| match stood.verdict {
            IsolationVerdict::Unknown { limit, .. } => Some(limit),
            _ => None,
        };
        let mut isolation = self.isolation.iter();
        self.reach.limit().or_else(|| {
            isolation.find_map(|one| {
                verdict(&one.after).or_else(|| one.before.as_ref().and_then(verdict))
            })
        })
    }

    /// Whether the versions differ in nothing but words, for certain.
    pub fn no_effect(&self) -> bool {
        self.reach.is_empty()
            && self.ways.is_empty()
            && self.isolation.is_empty()
            && self.limit().is_none()
    }

    /// One line that sums the change up.
    pub(super) fn summary(&self) -> String {
        let mut text = self.sum();
        if let Some(limit) = self.limit() {
            text.push_str(&format!(
                "; a limit was met ({limit}), so there may be more"
            ));
        }
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
                "; findings: {} new or worse, {} gone",
                new.len(),
                gone.len()
            ));
        }
        text
    }

    /// What opens and what closes, counted.
    fn sum(&self) -> String {
        let both = |stance| ChangeKind::BOTH.map(|kind| self.pairs(kind, stance).count());
        let [plain, hostile] = Stance::BOTH.map(both);
        let ways = ChangeKind::BOTH.map(|kind| kind.ways(self.ways).len());
        let isolated = ChangeKind::BOTH.map(|kind| self.isolated(kind).count());
        if [plain, hostile, ways, isolated] == [[0, 0]; 4] {
            let nothing = "nothing opens and nothing closes, nor for hostile devices";
            return match (self.no_effect(), self.limit()) {
                (true, _) => format!("{nothing}: no effect on who reaches what"),
                (false, None) => {
                    format!("{nothing}; isolation would end by other faults than before")
                }
                (false, Some(_)) => "nothing is known to open or to close".to_owned(),
            };
        }
        let mut text = format!(
            "opens something for {} of segments and closes something for {} (IPv4 and IPv6 counted apart)",
            pairs(plain[0]),
            pairs(plain[1])
        );
        if hostile != [0, 0] {
            text.push_str(&format!(
                "; for a hostile device it opens more for {} and closes more for {}",
                pairs(hostile[0]),
                pairs(hostile[1])
            ));
        }
        if ways != [0, 0] {
            text.push_str(&format!(
                "; ways round the gateway: {} new, {} gone",
                ways[0], ways[1]
            ));
        }
        if isolated != [0, 0] {
            text.push_str(&format!(
                "; isolation: worse for {}, better for {}",
                segments(isolated[0]),
                segments(isolated[1])
            ));
        }
        text
    }

    /// What somebody who agrees to the change should look at first.
    pub(super) fn risks(&self) -> Vec<String> {
        let mut risks = Vec::new();
        for stance in Stance::BOTH {
            let pairs = self.pairs(ChangeKind::Opens, stance);
            risks.extend(pairs.filter_map(|pair| self.risk(stance, pair)));
        }
        let ways = self.ways.opened.iter();
        risks.extend(ways.map(|way| format!("a way round the gateway, {}", self.way(way))));
        for one in self.intent.iter().filter(|one| is_worse(one)) {
            risks.push(intent_words(one));
        }
        if let Some((new, _)) = self.findings {
            // Expectations and needs that are newly broken stand above.
            let above = |subject: &String| {
                let mut broken = self.intent.iter().filter(|one| is_worse(one));
                broken.any(|one| one.name == *subject)
            };
            let grave = new.iter().filter(|finding| {
                let intent = area(finding.check) == Some(Area::Intent);
                let said = intent && finding.subjects.iter().all(above);
                finding.severity() > Severity::Note && !said
            });
            risks.extend(
                grave.map(|finding| format!("{}: {}", finding.check.name, finding.message)),
            );
        }
        let isolation = self
            .isolation
            .iter()
            .filter(|one| one.trend() != Trend::Better);
        risks.extend(isolation.map(|one| self.isolation_words(one)));
        risks
    }

    /// Why a pair for which something opens is a risk, if it is.
    fn risk(&self, stance: Stance, pair: &PairChange) -> Option<String> {
        let who = match stance {
            Stance::Configured => "",
            Stance::Hostile => ", for a hostile device",
        };
        let trust = |spot: Spot| Some(self.trust(spot.segment()?.new?));
        let name = self.pair(pair);
        match (pair.from, pair.to, trust(pair.from), trust(pair.to)) {
            (_, Spot::Router(_), ..) => Some(format!(
                "{} reaches the gateway itself with more{who}",
                self.spot(pair.from)
            )),
            (Spot::Unclaimed(_), ..) => Some(format!("{name}{who}")),
            (.., Some(from), Some(to)) if from < to => {
                Some(format!("{name}{who}: from trust {from} to trust {to}"))
            }
            _ => None,
        }
    }

    fn trust(&self, id: SegmentId) -> u8 {
        let site = self.site(1);
        site.zone(site.segment(id).zone).trust
    }

    pub(super) fn isolation_words(&self, one: &IsolationChange) -> String {
        let state = |stood: &Stood| {
            let word = match &stood.verdict {
                IsolationVerdict::ByDesign(_) => "isolated by design".to_owned(),
                IsolationVerdict::ByRule { .. } => "closed by rule only".to_owned(),
                IsolationVerdict::Reachable { .. } => return "reachable".to_owned(),
                IsolationVerdict::Unknown { limit, .. } => {
                    return format!("unknown: a limit was met ({limit})");
                }
            };
            let far = stood.distance.as_ref();
            match far.map(|far| (far.one.len(), far.two.len())) {
                None => word,
                Some((0, 0)) => format!("{word}, no single fault or pair ends it"),
                Some((0, 1)) => format!("{word}, 1 pair of faults ends it"),
                Some((0, two)) => format!("{word}, {two} pairs of faults end it"),
                Some((1, _)) => format!("{word}, 1 single fault ends it"),
                Some((one, _)) => format!("{word}, {one} single faults end it"),
            }
        };
        let name = &self.site(1).segment(one.segment).name.value;
        let before = one.before.as_ref().map_or("not there".to_owned(), state);
        format!("{name}: was {before}; now {}", state(&one.after))
    }
}

fn pairs(count: usize) -> String {
    match count {
        1 => "1 pair".to_owned(),
        count => format!("{count} pairs"),
    }
}

fn segments(count: usize) -> String {
    match count {
        1 => "1 segment".to_owned(),
        count => format!("{count} segments"),
    }
}
