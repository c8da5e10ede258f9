//! What the rules of a gateway do and do not do: one file a question.

mod between;
mod cleaned;
mod compare;
mod complexity;
mod dead;
mod effort;
mod gateway_review;
mod judge;
mod largest;
mod no_match_reason;
mod packet;
mod pairs;
mod ranks;
mod redundant;
mod review;
mod rule_boxes;
mod shares;
mod sheet;
mod space;
mod translated_away;
mod universe;

pub use between::{BetweenSegments, SegmentDestinations, SegmentSources};
pub use cleaned::{Cleaned, Kept, Merge};
pub use compare::{After, Comparison};
pub use complexity::Complexity;
pub use dead::{Against, Dead};
pub use effort::{Effort, MOST_CUTS, MOST_LOOKS};
pub use gateway_review::{GatewayReview, Tally, gateway_reviews};
pub use judge::Judge;
pub use no_match_reason::{Departure, Obstacle};
pub use packet::RulePacket;
pub use pairs::{MOST_PAIRS, Rank, Relation, RulePair, RulePairs, denies_the_rest, is_backstop};
pub use review::{RuleReview, RuleStatus, Without};
pub use shares::{Part, Share, Shares};
pub use sheet::{Hidden, Opened, RuleSheet};
pub use space::RuleSpace;
