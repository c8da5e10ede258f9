//! LAGs of switches and what their cables lead to, as the file describes them.

use boundwalk_analysis::{CableEnd, Equipment};
use boundwalk_diagnostic::Span;
use boundwalk_model::{Lag, SwitchId};

use super::view::CheckContext;

/// A LAG of a switch.
pub(super) struct LagEnd<'s> {
    pub(super) switch: SwitchId,
    /// Its number at that switch.
    pub(super) number: usize,
    pub(super) lag: &'s Lag,
    /// What its cables lead to: a LAG stands for its members, and each end is there once.
    pub(super) far: Vec<CableEnd<'s>>,
}

impl LagEnd<'_> {
    /// `SWITCH:LAG`.
    pub(super) fn name(&self, view: &CheckContext<'_>) -> String {
        let switch = &view.site.switches[self.switch.0].name.value;
        format!("{switch}:{}", self.lag.name.value)
    }

    /// Whether it forms with what it leads to.
    pub(super) fn forms(&self, view: &CheckContext<'_>) -> bool {
        view.fabric.forms(self.switch, self.number)
    }
}

/// All LAGs of switches, in the order of the site.
pub(super) fn lags<'s>(view: &CheckContext<'s>) -> Vec<LagEnd<'s>> {
    let mut found = Vec::new();
    for (at, switch) in view.site.switches.iter().enumerate() {
        let switch_id = SwitchId(at);
        for (number, lag) in switch.lags.iter().enumerate() {
            let end = CableEnd {
                device: Equipment::Switch(switch_id),
                port: &lag.name.value,
            };
            found.push(LagEnd {
                switch: switch_id,
                number,
                lag,
                far: far_ends(view, end),
            });
        }
    }
    found
}

/// What the cables of a LAG lead to.
pub(super) fn far_ends<'s>(view: &CheckContext<'s>, lag: CableEnd<'s>) -> Vec<CableEnd<'s>> {
    let mut ends: Vec<CableEnd<'s>> = Vec::new();
    for (_, far) in view.cabling.of_whole(lag) {
        let far = view.cabling.whole(far);
        if !ends.contains(&far) {
            ends.push(far);
        }
    }
    ends
}

/// Where the name of a LAG stands.
pub(super) fn place(view: &CheckContext<'_>, end: CableEnd<'_>) -> Option<Span> {
    match end.device {
        Equipment::Switch(id) => {
            let switch = &view.site.switches[id.0];
            Some(switch.lags[switch.lag(end.port)?].name.span)
        }
        Equipment::Router(id) => {
            let router = view.site.router(id);
            Some(router.lags[router.lag(end.port)?].name.span)
        }
        Equipment::Host(_) => None,
    }
}
