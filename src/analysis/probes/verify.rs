//! What people saw, held against what the model says.

use boundwalk_forwarding::{Network, Packet};
use boundwalk_load::{Observed, ResultRow};

use super::common::{Shared, shared};
use super::judged::{Checked, Judgement, ResultDifference};
use super::pick::CLIENT_PORT;
use super::predict::{Expect, asks, predict};

/// All rows, judged.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Verified<'r> {
    /// In the order of the file.
    pub rows: Vec<Checked<'r>>,
    /// Attributes that all failing rows share.
    pub shared: Vec<Shared>,
}

impl Verified<'_> {
    /// How many rows came to something.
    pub fn count(&self, judged: impl Fn(&Judgement) -> bool) -> usize {
        self.rows
            .iter()
            .filter(|row| judged(&row.judgement))
            .count()
    }

    /// Whether no row tells of a packet that was sent.
    #[must_use]
    pub fn nothing_sent(&self) -> bool {
        self.rows
            .iter()
            .all(|row| row.judgement == Judgement::NotDone)
    }

    /// Whether every row that was sent is as the model says.
    #[must_use]
    pub fn clean(&self) -> bool {
        self.count(|judged| matches!(judged, Judgement::Differs(_))) == 0
    }
}

/// Judges every row. The expectation is worked out anew for each, so rows may come from an older plan or from none.
#[must_use]
pub fn verify<'r>(network: &Network<'_>, rows: &'r [ResultRow]) -> Verified<'r> {
    let rows: Vec<Checked<'r>> = rows.iter().map(|row| check(network, row)).collect();
    Verified {
        shared: shared(&rows),
        rows,
    }
}

fn check<'r>(network: &Network<'_>, row: &'r ResultRow) -> Checked<'r> {
    let ports = row.protocol.has_ports();
    let packet = Packet {
        source: row.source,
        destination: row.destination,
        protocol: row.protocol,
        source_port: row
            .source_port
            .unwrap_or(if ports { CLIENT_PORT } else { 0 }),
        destination_port: row.destination_port,
    };
    let predicted = predict(network, row.from, &packet);
    let judgement = match (&predicted, row.result) {
        (Err(why), Some(_)) => Judgement::Unclear(*why),
        (_, None) => Judgement::NotDone,
        (Ok(predicted), Some(seen)) => match difference(predicted.expect, seen, &packet) {
            Some(difference) => Judgement::Differs(difference),
            None => Judgement::AsExpected,
        },
    };
    let now = predicted.as_ref().map(|predicted| predicted.expect.word());
    let stale = !row.expect.is_empty() && now.is_ok_and(|now| now != row.expect);
    Checked {
        row,
        packet,
        predicted,
        judgement,
        stale,
    }
}

/// In which way what was seen differs from what was to be expected.
fn difference(expect: Expect, seen: Observed, packet: &Packet) -> Option<ResultDifference> {
    use Observed::{Answered, Arrived, Nothing, Refused, Rejected};
    match (expect, seen) {
        // Who refuses has got it, and the answer has come back: only a listener is missing.
        (Expect::Answered, Answered | Refused) => None,
        (Expect::Answered, Arrived) => Some(ResultDifference::NoAnswer),
        (Expect::Answered | Expect::Arrives, Nothing | Rejected) => Some(ResultDifference::Nothing),
        (Expect::Arrives, Arrived) => None,
        (Expect::Arrives, Answered | Refused) => asks(packet).then_some(ResultDifference::Answered),
        (Expect::Nothing | Expect::Rejected, Nothing | Rejected) => None,
        (Expect::Nothing | Expect::Rejected, Answered | Arrived) => Some(ResultDifference::Arrived),
        (Expect::Nothing, Refused) => Some(ResultDifference::Refused),
        // A gateway may reject by a reset.
        (Expect::Rejected, Refused) => None,
    }
}
