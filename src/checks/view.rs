//! What checks look at, computed once and only where a check asks for it.

use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;

use boundwalk_analysis::intent::{JudgedExpectation, JudgedNeed, judge_expectations, judge_needs};
use boundwalk_analysis::privilege::{Privilege, privilege};
use boundwalk_analysis::rules::GatewayReview;
use boundwalk_analysis::{
    By, Cabling, Cascade, Denial, Equipment, Matrix, PortKey, Question, ServiceLabels, Wasted,
    messages, numbered_vlan_at, segments_at, wasted,
};
use boundwalk_diagnostic::Check;
use boundwalk_forwarding::layer2::{Fabric, PortId, PortName};
use boundwalk_forwarding::{Limit, Network, WalkCoverage};
use boundwalk_model::{Family, Forwards, PerFamily, RouterId, SegmentId, Site, VlanId};

use super::permit::PermitRule;
use super::reviewed::Reviewed;
use super::translation::Published;
use super::words::listed;
use super::zones_around::ZonesAround;

/// A site with what several checks need of it.
pub(super) struct CheckContext<'a> {
    pub(super) network: &'a Network<'a>,
    /// The names of all checks.
    pub(super) names: Vec<&'static str>,
    pub(super) site: &'a Site,
    /// Switches, ports and cables as frames meet them.
    pub(super) fabric: &'a Fabric,
    /// Cables and LAGs as they are described.
    pub(super) cabling: Cabling<'a>,
    /// Whether any host routes.
    pub(super) hosts_route: bool,
    matrices: PerFamily<OnceCell<Matrix>>,
    wasted: OnceCell<Vec<Wasted>>,
    gateway_reviews: &'a [GatewayReview<'a>],
    /// Asked by [`CheckContext::permits`].
    pub(super) permits: OnceCell<Vec<PermitRule<'a>>>,
    /// Asked by [`zone_pairs`](super::zone_pairs::zone_pairs).
    pub(super) zones_around: OnceCell<Vec<ZonesAround<'a>>>,
    /// Asked by [`CheckContext::published`].
    pub(super) published: OnceCell<Vec<Published<'a>>>,
    expectations: OnceCell<Vec<JudgedExpectation<'a>>>,
    needs: OnceCell<Vec<JudgedNeed<'a>>>,
    namings: OnceCell<PerFamily<ServiceLabels<'a>>>,
    privilege: OnceCell<Privilege>,
    /// Checks that met a limit, each with the first.
    limits: RefCell<BTreeMap<&'static str, Limit>>,
}

impl<'a> CheckContext<'a> {
    pub(super) fn new(
        network: &'a Network<'a>,
        gateway_reviews: &'a [GatewayReview<'a>],
        names: Vec<&'static str>,
    ) -> Self {
        let mut hosts = network.site.hosts.iter();
        Self {
            network,
            names,
            site: network.site,
            fabric: &network.fabric,
            cabling: Cabling::new(network.site, &network.fabric),
            hosts_route: hosts.any(|host| host.forwards.value == Forwards::Routes),
            matrices: PerFamily::default(),
            wasted: OnceCell::new(),
            gateway_reviews,
            permits: OnceCell::new(),
            zones_around: OnceCell::new(),
            published: OnceCell::new(),
            expectations: OnceCell::new(),
            needs: OnceCell::new(),
            namings: OnceCell::new(),
            privilege: OnceCell::new(),
            limits: RefCell::default(),
        }
    }

    /// Notes that a check may have found less than there is.
    pub(super) fn met(&self, check: &Check, coverage: WalkCoverage) {
        if let Some(limit) = coverage.limit() {
            self.limits.borrow_mut().entry(check.name).or_insert(limit);
        }
    }

    /// Checks that met a limit, by name.
    pub(super) fn limits(&self) -> Vec<(&'static str, Limit)> {
        let limits = self.limits.borrow();
        limits
            .iter()
            .map(|(check, limit)| (*check, *limit))
            .collect()
    }

    /// `SWITCH:PORT` of a live port; of a member of a LAG that of the LAG, whose settings it has.
    pub(super) fn name(&self, id: PortId) -> String {
        let name = self.fabric.port(id).name;
        PortKey::of(self.site, name).map_or_else(String::new, |key| key.name(self.site))
    }

    /// The same by the port's own name, where a device is plugged in.
    pub(super) fn port_name(&self, id: PortId) -> String {
        match self.fabric.port(id).name {
            PortName::Port(switch, port) => PortKey::Port(switch, port).name(self.site),
            _ => self.name(id),
        }
    }

    /// The LAG that a port is, or is a member of.
    pub(super) fn lag_of(&self, name: PortName) -> Option<PortKey> {
        let key = PortKey::of(self.site, name);
        key.filter(|key| matches!(key, PortKey::Lag(..)))
    }

    /// Whether somebody has said what a port is for.
    pub(super) fn is_described(&self, id: PortId) -> bool {
        match self.fabric.port(id).name {
            PortName::Port(switch, port) => {
                let port = &self.site.switches[switch.0].ports[port];
                !port.description.is_empty()
            }
            _ => false,
        }
    }

    /// The gateway or router that a port leads to, and the name of its port or LAG there; also one that has no
    /// interface there.
    pub(super) fn router_at(&self, id: PortId) -> Option<(RouterId, String)> {
        let link = self.fabric.port(id).link?;
        let mut routers =
            self.cabling.cables[link]
                .ends
                .iter()
                .filter_map(|&end| match end.device {
                    Equipment::Router(router) => {
                        Some((router, self.cabling.whole(end).name(self.site)))
                    }
                    Equipment::Switch(_) | Equipment::Host(_) => None,
                });
        routers.next()
    }

    /// Segments that a VLAN is at the switch of a port.
    pub(super) fn segments_at(&self, port: PortId, vlan: VlanId) -> &'a [SegmentId] {
        segments_at(self.fabric, self.fabric.port(port).node, vlan)
    }

    /// `VLAN 90 (management)`, as the switch of a port has it.
    pub(super) fn vlan_name(&self, port: PortId, vlan: VlanId) -> String {
        self.vlans(port, &[vlan])
    }

    /// `VLANs 60 (brewhouse) and 70 (cameras)`, as the switch of a port has them; of many the first few.
    pub(super) fn vlans(&self, port: PortId, vlans: &[VlanId]) -> String {
        let switch = self.fabric.port(port).node;
        listed(vlans, |vlan| {
            numbered_vlan_at(self.site, self.fabric, switch, vlan)
        })
    }

    /// What the rules of each gateway do, in the order of the file.
    pub(super) fn reviewed(&self) -> impl Iterator<Item = Reviewed<'a>> {
        self.gateway_reviews.iter().map(Reviewed)
    }

    /// The expectations of the site, judged.
    pub(super) fn expectations(&self) -> &[JudgedExpectation<'a>] {
        self.expectations
            .get_or_init(|| judge_expectations(self.network))
    }

    /// The needs of the site, judged.
    pub(super) fn needs(&self) -> &[JudgedNeed<'a>] {
        self.needs.get_or_init(|| judge_needs(self.network))
    }

    /// What of the permits the needs take.
    pub(super) fn privilege(&self) -> &Privilege {
        self.privilege.get_or_init(|| privilege(self.network, &[]))
    }

    /// Names of services.
    pub(super) fn namings(&self) -> &PerFamily<ServiceLabels<'a>> {
        self.namings
            .get_or_init(|| PerFamily::new(|family| ServiceLabels::new(self.network, family)))
    }

    /// Permits that come to nothing because another gateway on the way denies it.
    pub(super) fn wasted(&self, denial: Denial) -> impl Iterator<Item = &Wasted> {
        let all = self
            .wasted
            .get_or_init(|| wasted(self.network, &Cascade::new(self.network)));
        all.iter().filter(move |one| one.denial == denial)
    }

    /// Who reaches what by segment, as configured, without the messages of ICMP and ICMPv6: what people use, not
    /// what tells of its failing.
    pub(super) fn matrix(&self, family: Family) -> &Matrix {
        self.matrices[family].get_or_init(|| {
            let question = Question {
                services: Some(
                    self.network
                        .classes
                        .all()
                        .difference(&messages(self.network)),
                ),
                ..Question::all(By::Segment, family, false)
            };
            Matrix::new(self.network, &question, &mut |_done, _total| {})
        })
    }
}
