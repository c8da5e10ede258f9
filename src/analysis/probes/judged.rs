//! What a result of a test says about its row of the plan.

use boundwalk_forwarding::Packet;
use boundwalk_load::ResultRow;

use super::predict::{Prediction, Unpredictable};

/// What came of a row.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Judgement {
    /// It was not sent.
    NotDone,
    /// As the model says.
    AsExpected,
    /// Not as the model says.
    Differs(ResultDifference),
    /// The model says nothing definite of this packet.
    Unclear(Unpredictable),
}

/// A row with what the model says of its packet.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Checked<'r> {
    /// The row.
    pub row: &'r ResultRow,
    /// Its packet.
    pub packet: Packet,
    /// What the model says.
    pub predicted: Result<Prediction, Unpredictable>,
    /// What came of it.
    pub judgement: Judgement,
    /// Whether the row names another expectation than the model has now.
    pub stale: bool,
}

/// In which way a result differs from what the model says.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum ResultDifference {
    /// It arrived and should have been stopped.
    Arrived,
    /// Somebody refused it, and it should have been dropped without a word.
    Refused,
    /// Nothing was seen of it, and it should have arrived.
    Nothing,
    /// It arrived, and no answer came back where one should.
    NoAnswer,
    /// An answer came back where the model knows no way for it.
    Answered,
}

impl ResultDifference {
    /// Whether more passes than the model says; else less.
    pub fn too_much(self) -> bool {
        !matches!(self, Self::Nothing | Self::NoAnswer)
    }
}
