//! Rules that the review calls dead, irrelevant or off must not have decided anything in the lab.

use boundwalk::analysis::rules::{Effort, Judge, RuleReview, RuleSpace, RuleStatus};
use boundwalk::forwarding::Network;
use boundwalk::model::RouterId;

use crate::seen::Sight;
use crate::topology::router_space;

/// Idle rules that decided a probe all the same, one a line; and how many rules were idle, how many decided.
pub fn that_decided(network: &Network<'_>, sight: &Sight) -> (Vec<String>, [usize; 2]) {
    let (mut lines, mut counts) = (Vec::new(), [0; 2]);
    for router in (0..network.site.routers.len()).map(RouterId) {
        let Some(space) = RuleSpace::new(network, router) else {
            continue;
        };
        let review = RuleReview::new(&Judge::new(&space, Effort::default()));
        for (number, status) in review.rules.iter().enumerate() {
            let counter = (router_space(router), format!("rule{number}"));
            let mut probes = sight.probes.values();
            let decided = probes.any(|seen| seen.decided.contains(&counter));
            let idle = matches!(
                status,
                RuleStatus::Off | RuleStatus::Irrelevant | RuleStatus::Dead(_)
            );
            counts[0] += usize::from(idle);
            counts[1] += usize::from(decided);
            if idle && decided {
                lines.push(format!("{counter:?} decided a probe and is {status:?}"));
            }
        }
    }
    (lines, counts)
}
