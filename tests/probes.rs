//! Is a test plan what it says: does each probe do what it expects, and is nothing left out that could be touched?
//!
//! Expectations are recomputed by the naive simulator. What a plan calls out of reach is looked for among single
//! packets at the ends of everything that a site mentions.

#[path = "support/planned_checks.rs"]
mod planned_checks;
#[path = "support/probes.rs"]
mod pool;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/seeds.rs"]
mod seeds;
#[path = "oracles/simulator.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod simulator;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use boundwalk::analysis::Endpoint;
use boundwalk::analysis::probes::{
    Asked, Expect, Judgement, Obligation, ProbePlan, ResultDifference, Why, plan_probes, verify,
};
use boundwalk::analysis::rules::{Effort, Judge, RuleReview, RuleSpace, RuleStatus};
use boundwalk::forwarding::{Network, Sender};
use boundwalk::load::{Observed, ResultRow, load_path, load_text, read_results};
use boundwalk::model::{Action, Date, Family, RouterId, SegmentId, Site};
use boundwalk::render::{ProbesShown, probes_csv};

use planned_checks::{lives, wrong};
use pool::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Decision, Probe, Simulator, Spot, Stance};

/// Random sites that a usual run looks at.
const SITES: u64 = 800;

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);

fn everything(spare_devices: bool) -> Asked {
    Asked {
        families: Family::ALL.to_vec(),
        from: Vec::new(),
        to: Vec::new(),
        spare_devices,
    }
}

fn drawn(seed: u64) -> Site {
    let text = random_site::random_site(seed);
    let loaded = load_text("drawn", &text);
    loaded
        .site
        .unwrap_or_else(|| panic!("seed {seed}: {:#?}\n{text}", loaded.problems))
}

/// The demo and every example.
fn written() -> Vec<(String, Site)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let examples = std::fs::read_dir(root.join("examples")).expect("a folder");
    let mut paths: Vec<_> = examples
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.join("site.toml").exists())
        .collect();
    paths.push(root.join("policies/kettle-lane"));
    paths.sort();
    let sites = paths.into_iter().map(|path| {
        let site = load_path(&path).site;
        (path.display().to_string(), site.expect("a site that loads"))
    });
    sites.collect()
}

fn covered(plan: &ProbePlan) -> BTreeSet<Obligation> {
    plan.probes
        .iter()
        .flat_map(|probe| &probe.covers)
        .copied()
        .collect()
}

/// Everything that a plan knows of: touched, or named as out of reach.
fn known(plan: &ProbePlan) -> BTreeSet<Obligation> {
    let untouched = plan.untouched.iter().map(|one| one.obligation);
    covered(plan).into_iter().chain(untouched).collect()
}

#[test]
fn each_rule_that_can_permit_is_touched_or_named_with_the_reason() {
    let mut touched = 0;
    for (name, site) in written() {
        let network = Network::new(&site, Date::constant(2026, 11, 25));
        let plan = plan_probes(&network, &everything(true));
        assert!(plan.complete, "{name}");
        let (covered, known) = (covered(&plan), known(&plan));
        for router in (0..site.routers.len()).map(RouterId) {
            let Some(space) = RuleSpace::new(&network, router) else {
                continue;
            };
            let review = RuleReview::new(&Judge::new(&space, Effort::default()));
            for (rule, status) in review.rules.iter().enumerate() {
                let permits = |family| Obligation::Permits {
                    router,
                    rule,
                    family,
                };
                let somewhere = |set: &BTreeSet<Obligation>| {
                    Family::ALL
                        .into_iter()
                        .any(|family| set.contains(&permits(family)))
                };
                let filter = site.router(router).filter().expect("rules");
                let permitting = filter.rules[rule].action.value == Action::Permit;
                match status {
                    RuleStatus::Decides { .. } if permitting => {
                        assert!(somewhere(&known), "{name}: rule {rule}");
                        touched += usize::from(somewhere(&covered));
                    }
                    RuleStatus::Decides { .. } | RuleStatus::Unknown => {}
                    RuleStatus::Off | RuleStatus::Irrelevant | RuleStatus::Dead(_) => {
                        assert!(!somewhere(&covered), "{name}: rule {rule}");
                    }
                }
            }
        }
    }
    assert!(30 < touched, "{touched}");
}

#[test]
fn the_demo_is_touched_but_for_rules_that_nothing_can_pass_by() {
    let site = load_path(&Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane"));
    let site = site.site.expect("the demo");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let plan = plan_probes(&network, &everything(true));
    for one in &plan.untouched {
        assert!(
            matches!(one.obligation, Obligation::Permits { .. })
                && matches!(one.why, Why::Idle | Why::NobodySends),
            "{one:?}"
        );
    }
    let claims: BTreeSet<_> = covered(&plan)
        .into_iter()
        .filter(|one| {
            matches!(
                one,
                Obligation::NothingLeaves(..) | Obligation::NothingEnters(..)
            )
        })
        .collect();
    // The management segment has addresses of one family only.
    assert_eq!(claims.len(), 2);
}

#[test]
fn each_expectation_holds_in_the_simulator_on_random_sites() {
    let mut counts: BTreeMap<Expect, usize> = BTreeMap::new();
    let (mut translated, mut from_hosts) = (0, 0);
    for seed in seeds(SITES) {
        let site = drawn(seed);
        let network = Network::new(&site, TODAY);
        let simulator = Simulator::new(&site, TODAY);
        for spare_devices in [true, false] {
            let plan = plan_probes(&network, &everything(spare_devices));
            assert!(plan.complete, "seed {seed}");
            assert!(plan.probes.len() <= plan.required, "seed {seed}");
            for probe in &plan.probes {
                if let Some(wrong) = wrong(&simulator, &site, probe) {
                    panic!("seed {seed}: {wrong}");
                }
                *counts.entry(probe.predicted.expect).or_default() += 1;
                let seen = probe.predicted.arrives_as;
                translated += usize::from(seen.is_some_and(|seen| seen != probe.packet));
                from_hosts += usize::from(matches!(probe.predicted.sender, Sender::Host(_)));
            }
        }
    }
    let varied = counts.len() == 4 && counts.values().all(|&count| 20 < count);
    assert!(
        varied && 20 < translated && 100 < from_hosts,
        "{counts:?} {translated} {from_hosts}"
    );
}

/// What was held against plans, for a test that compares nothing must not pass.
#[derive(Default, Debug)]
struct Held {
    rules: usize,
    pairs: usize,
    unused: usize,
}

/// Every single packet that a plain device can send must fit the plan: a permitting rule by which it arrives is not
/// called unused, and a pair between which it is stopped is known.
#[test]
fn nothing_is_called_out_of_reach_that_a_single_packet_reaches() {
    let mut held = Held::default();
    for seed in seeds(SITES) {
        let site = drawn(seed);
        let network = Network::new(&site, TODAY);
        let simulator = Simulator::new(&site, TODAY);
        let plan = plan_probes(&network, &everything(true));
        let (pool, mut random) = (Probes::new(&site), Random::new(seed ^ 0x9a));
        for from in site.segment_ids() {
            for family in Family::ALL {
                for _ in 0..40 {
                    let likely = |address| simulator.lives_on(from, address);
                    let packet = pool.draw(&mut random, family, likely);
                    if simulator.may_send(from, packet, Stance::Configured) {
                        let unknown = unknown(&simulator, &site, &plan, (from, packet), &mut held);
                        assert!(unknown.is_empty(), "seed {seed}: {packet:?}: {unknown:?}");
                    }
                }
            }
        }
        held.unused += unused(&plan).len();
    }
    let enough = 300 < held.rules && 300 < held.pairs && 20 < held.unused;
    assert!(enough, "{held:?}");
}

/// What a plan says that no honest device's packet passes by.
fn unused(plan: &ProbePlan) -> BTreeSet<Obligation> {
    plan.untouched
        .iter()
        .filter(|one| matches!(one.why, Why::NobodySends | Why::Idle))
        .map(|one| one.obligation)
        .collect()
}

/// What one packet shows and the plan does not know, or calls unused.
fn unknown(
    simulator: &Simulator<'_>,
    site: &Site,
    plan: &ProbePlan,
    (from, packet): (SegmentId, Probe),
    held: &mut Held,
) -> Vec<Obligation> {
    let family = Family::of(packet.source);
    let ways = simulator.send(from, packet, Stance::Configured);
    // What a device puts out for an address of nobody's is no receiver's.
    let somebody = ways.iter().filter(|way| {
        let mut segments = site.segment_ids();
        matches!(way.place, Spot::Router(_))
            || segments.any(|to| simulator.lives_on(to, way.arrived.destination))
    });
    let mut shown: Vec<Obligation> = somebody
        .flat_map(|way| &way.hops)
        .filter_map(|hop| match hop.decided {
            Some(Decision::Rule(rule)) => Some(Obligation::Permits {
                router: RouterId(hop.device),
                rule,
                family,
            }),
            _ => None,
        })
        .collect();
    held.rules += shown.len();
    // An address that somebody on the sender's own segment may have is not sent elsewhere.
    let near = lives(simulator, site, from, &packet);
    let mut others = site.segment_ids().filter(|&to| to != from && !near);
    let to = others.find(|&to| lives(simulator, site, to, &packet));
    if let (Some(to), true) = (to, ways.is_empty()) {
        held.pairs += 1;
        shown.push(Obligation::Stops { from, to, family });
    }
    let (known, unused) = (known(plan), unused(plan));
    shown.retain(|one| !known.contains(one) || unused.contains(one));
    shown
}

#[test]
fn plans_repeat_and_hold_no_probe_too_many() {
    for seed in 0..40 {
        let site = drawn(seed);
        let plan = plan_probes(&Network::new(&site, TODAY), &everything(true));
        let again = plan_probes(&Network::new(&site, TODAY), &everything(true));
        assert_eq!(plan, again, "seed {seed}");
        for left_out in 0..plan.probes.len() {
            let mut rest = plan.clone();
            rest.probes.remove(left_out);
            let fewer = covered(&rest)
                .into_iter()
                .filter(|one| one.required())
                .count();
            let all = covered(&plan)
                .into_iter()
                .filter(|one| one.required())
                .count();
            assert!(
                fewer < all,
                "seed {seed}: probe {left_out} shows nothing of its own"
            );
        }
        // Whoever walks comes to each place once.
        let send_points: Vec<SegmentId> = plan
            .probes
            .iter()
            .map(|probe| probe.predicted.send_point)
            .collect();
        let mut places = send_points.clone();
        places.dedup();
        let once: BTreeSet<SegmentId> = send_points.into_iter().collect();
        assert_eq!(places.len(), once.len(), "seed {seed}");
    }
}

#[test]
fn limits_leave_only_what_was_asked_for() {
    let site = load_path(&Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane"));
    let site = site.site.expect("the demo");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let office = site
        .segment_ids()
        .find(|&one| site.segment(one).name.value == "office");
    let (office, all) = (office.expect("a segment"), everything(true));
    let from = plan_probes(
        &network,
        &Asked {
            from: vec![Endpoint::Segment(office)],
            ..all.clone()
        },
    );
    assert!(!from.probes.is_empty());
    assert!(
        from.probes
            .iter()
            .all(|probe| probe.predicted.send_point == office)
    );
    let to = plan_probes(
        &network,
        &Asked {
            to: vec![Endpoint::Segment(office)],
            families: vec![Family::V6],
            ..all
        },
    );
    assert!(!to.probes.is_empty());
    for probe in &to.probes {
        assert_eq!(probe.to, Endpoint::Segment(office));
        assert!(probe.packet.source.is_ipv6());
    }
}

/// The word that whoever tests writes where all is as the model says.
fn as_expected(expect: Expect) -> Observed {
    match expect {
        Expect::Answered => Observed::Answered,
        Expect::Arrives => Observed::Arrived,
        Expect::Nothing => Observed::Nothing,
        Expect::Rejected => Observed::Rejected,
    }
}

/// The plan as CSV with results filled in, read back.
fn filled(site: &Site, network: &Network<'_>, plan: &ProbePlan) -> Vec<ResultRow> {
    let shown = ProbesShown {
        network,
        plan,
        notes: &[],
    };
    let blank = read_results(probes_csv(&shown).as_bytes(), site);
    let blank = blank.unwrap_or_else(|faults| panic!("{faults:?}"));
    assert_eq!(blank.len(), plan.probes.len());
    let rows = blank.into_iter().zip(&plan.probes).map(|(row, probe)| {
        assert_eq!(row.result, None);
        assert_eq!(row.expect, probe.predicted.expect.word());
        ResultRow {
            result: Some(as_expected(probe.predicted.expect)),
            ..row
        }
    });
    rows.collect()
}

#[test]
fn results_as_expected_verify_and_each_flipped_one_alone_differs() {
    let mut flipped = 0;
    for seed in seeds(SITES).take(150) {
        let site = drawn(seed);
        let network = Network::new(&site, TODAY);
        let plan = plan_probes(&network, &everything(true));
        let rows = filled(&site, &network, &plan);
        let verified = verify(&network, &rows);
        assert!(
            verified.clean() && verified.shared.is_empty(),
            "seed {seed}: {verified:#?}"
        );
        assert!(verified.rows.iter().all(|row| !row.stale), "seed {seed}");
        let good = verified.count(|judged| *judged == Judgement::AsExpected);
        assert_eq!(good, plan.probes.len(), "seed {seed}: {verified:#?}");
        for (at, probe) in plan.probes.iter().enumerate().take(12) {
            let mut changed = rows.clone();
            let (result, wanted) = if probe.predicted.expect.arrives() {
                (Observed::Nothing, ResultDifference::Nothing)
            } else {
                (Observed::Arrived, ResultDifference::Arrived)
            };
            changed[at].result = Some(result);
            let verified = verify(&network, &changed);
            for (row, checked) in verified.rows.iter().enumerate() {
                let wanted = if row == at {
                    Judgement::Differs(wanted)
                } else {
                    Judgement::AsExpected
                };
                assert_eq!(checked.judgement, wanted, "seed {seed}, row {row}");
            }
            flipped += 1;
        }
    }
    assert!(300 < flipped, "{flipped}");
}
