//! What checks look at, computed once and only where a check asks for it.

use std::cell::OnceCell;

use crate::analysis::intent::{JudgedExpectation, JudgedNeed, judge_expectations, judge_needs};
use crate::analysis::privilege::{Privilege, privilege};
use crate::analysis::rules::RuleBook;
use crate::analysis::{By, Cascade, Course, Matrix, Naming, Question, Wasted, messages, wasted};
use crate::forwarding::Network;
use crate::model::{Family, Forwards, Site};

use super::permits::{Permit, permits};
use super::reviewed::Reviewed;
use super::wiring::Wiring;

/// A site with what several checks need of it.
pub(super) struct View<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) site: &'a Site,
    pub(super) wiring: Wiring<'a>,
    /// Whether any host routes.
    pub(super) hosts_route: bool,
    matrices: [OnceCell<Matrix>; 2],
    wasted: OnceCell<Vec<Wasted>>,
    books: &'a [RuleBook<'a>],
    permits: OnceCell<Vec<Permit<'a>>>,
    expectations: OnceCell<Vec<JudgedExpectation<'a>>>,
    needs: OnceCell<Vec<JudgedNeed<'a>>>,
    namings: OnceCell<[Naming<'a>; 2]>,
    privilege: OnceCell<Privilege>,
}

impl<'a> View<'a> {
    pub(super) fn new(network: &'a Network<'a>, books: &'a [RuleBook<'a>]) -> Self {
        let mut hosts = network.site.hosts.iter();
        Self {
            network,
            site: network.site,
            wiring: Wiring::new(network.site),
            hosts_route: hosts.any(|host| host.forwards.value == Forwards::Routes),
            matrices: [const { OnceCell::new() }; 2],
            wasted: OnceCell::new(),
            books,
            permits: OnceCell::new(),
            expectations: OnceCell::new(),
            needs: OnceCell::new(),
            namings: OnceCell::new(),
            privilege: OnceCell::new(),
        }
    }

    /// What the rules of each gateway do, in the order of the file.
    pub(super) fn reviewed(&self) -> impl Iterator<Item = Reviewed<'a>> {
        self.books.iter().map(Reviewed)
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

    /// Names: IPv4, then IPv6.
    pub(super) fn namings(&self) -> &[Naming<'a>; 2] {
        self.namings
            .get_or_init(|| Family::ALL.map(|family| Naming::new(self.network, family)))
    }

    /// Permits that come to nothing because another gateway on the way denies it.
    pub(super) fn wasted(&self, course: Course) -> impl Iterator<Item = &Wasted> {
        let all = self
            .wasted
            .get_or_init(|| wasted(self.network, &Cascade::new(self.network)));
        all.iter().filter(move |one| one.course == course)
    }

    /// Permits of all gateways that decide packets, in the order of the file.
    pub(super) fn permits(&self) -> &[Permit<'a>] {
        self.permits.get_or_init(|| permits(self))
    }

    /// Who reaches what by segment, as configured, without the messages of ICMP and ICMPv6: what people use, not
    /// what tells of its failing.
    pub(super) fn matrix(&self, family: Family) -> &Matrix {
        let at = match family {
            Family::V4 => 0,
            Family::V6 => 1,
        };
        self.matrices[at].get_or_init(|| {
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
